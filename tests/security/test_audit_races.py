"""Reports, remakes, statements and readers of the audit at once: nobody waits in a ring."""

from typing import Any

import pytest
from django.core.cache import cache

from cases.models import FitReport
from cases.tenancy import acting
from tests.cases.api.conftest import Api
from tests.personas import client_of, make_personas
from tests.security.test_misuse import together

REMAKE = {"cause": "perforation", "attribution": "undetermined"}


@pytest.mark.django_db(transaction=True)
def test_of_two_reports_at_once_one_is_told() -> None:
    cache.clear()
    api = Api(make_personas())
    code = api.dispatched()
    match = api.clinician.version(code)
    asked = {"fitted": True, "findings": ["as_delivered"]}
    assert together(
        lambda: api.clinician.post(f"cases/{code}/fit", asked, match=match),
        lambda: api.assistant.post(f"cases/{code}/fit", asked, match=match),
    ) in ([200, 409], [200, 412])
    with acting(api.clinician.persona.actor):
        assert FitReport.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_sides_and_readers_at_once() -> None:
    cache.clear()
    api = Api(make_personas())
    codes = [api.dispatched() for _ in range(3)]
    for code in codes[:2]:
        api.clinician.do(code, "fit", {"fitted": False, "findings": ["perforated"]})
        api.clinician.do(code, "remake", REMAKE, expect=201)
    remakes = {code: api.clinician.case(code)["remakes"][0]["id"] for code in codes[:2]}
    readers = [
        client_of(api.personas.lab_manager),
        client_of(api.personas.clinic_manager),
    ]
    chair, bench = api.clinician, api.technician
    said = {"attribution": "laboratory"}

    def state(who: Any, code: str) -> Any:
        path = f"cases/{code}/remakes/{remakes[code]}/statements"
        return who.post(path, said, match=who.version(code))

    def fit(code: str) -> Any:
        body = {"fitted": True, "findings": ["opposing_adjusted"]}
        return chair.post(f"cases/{code}/fit", body, match=chair.version(code))

    def again(code: str) -> Any:
        return chair.post(f"cases/{code}/remake", REMAKE, match=chair.version(code))

    for _ in range(3):
        found = together(
            lambda: state(chair, codes[0]),
            lambda: state(bench, codes[1]),
            lambda: state(bench, codes[0]),
            lambda: again(codes[1]),
            lambda: again(codes[0]),
            lambda: fit(codes[2]),
            *(lambda one=one: one.get("/audit/") for one in readers),
            *(lambda one=one: one.get("/audit/rates/") for one in readers),
        )
        assert set(found) <= {200, 201, 409, 412}, found
        assert len(found) == 10
