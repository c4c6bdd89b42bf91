"""The same readings give the same verdict on the page, by the API and in the case."""

import json
from datetime import timedelta

from django.test import Client
from django.utils.crypto import get_random_string

from cases import clock
from cases.canonical import secret_hash
from cases.models import ApiToken, Check
from cases.tenancy import acting
from rules.check import run_check
from rules.loader import shipped_rule_set
from rules.payload import check_json, parse_check
from tests.play import Play, unit


def _token(play: Play) -> str:
    who = play.world.dentist
    secret, at = get_random_string(43), clock.now()
    with acting(who):
        ApiToken.objects.create(
            organisation_id=who.organisation_id,
            membership_id=who.membership_id,
            name="test",
            token_hash=secret_hash(secret),
            created_at=at,
            expires_at=at + timedelta(days=1),
        )
    return secret


def test_api_case_and_core_agree_to_the_last_figure(play: Play):
    body = {"units": [unit()]}
    rule_set = shipped_rule_set()
    core = check_json(run_check(rule_set, parse_check(body, rule_set=rule_set)))

    case = play.at_check(unit())
    with acting(play.world.dentist):
        assert Check.objects.get(pk=case.current_check_id or 0).result == core

    call = Client(headers={"authorization": f"Bearer {_token(play)}"})
    answer = call.post("/api/v1/check", json.dumps(body), "application/json")
    assert answer.status_code == 200
    assert answer.json() == core
    stored = call.get(f"/api/v1/cases/{case.code}/check").json()
    assert stored["verdict"] == core["verdict"]
    assert stored["units"] == core["units"]
