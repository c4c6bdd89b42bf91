"""The cases behind the audit's numbers, over facts as the database keeps them."""

import re
from datetime import UTC, datetime
from html import unescape

import pytest
from django.test import Client

from cases import clock
from cases.models import User
from cases.services import audit_set_up
from cases.tenancy import Actor, acting
from tests.audit_stage import Stage, build_stage
from tests.personas import client_of

pytestmark = pytest.mark.django_db(transaction=True)
AT = datetime(2026, 6, 15, 9, 30, tzinfo=UTC)
PERIOD = "from=2025-11&to=2026-04"
# A number with its link, as the tables have it: "12", or "12 of 96" of two periods.
NUMBER = re.compile(r'<a href="(/audit/cases/[^"]*)">([0-9,]+)(?: of [0-9,]+)?</a>')


@pytest.fixture
def stage(monkeypatch: pytest.MonkeyPatch, settings) -> Stage:
    settings.REQUIRE_SECOND_FACTOR = False
    monkeypatch.setattr(clock, "now", lambda: AT)
    return build_stage()


def browser(actor: Actor) -> Client:
    return client_of(User.objects.get(pk=actor.user_id))


def listed(client: Client, address: str) -> int:
    """Return how many restorations a list says it has."""
    answer = client.get(address)
    assert answer.status_code == 200, address
    return int(answer.context["n"])


@pytest.mark.parametrize(
    "page",
    [
        "",
        "rates/",
        "rates/?measure=internal",
        "rates/?measure=opposing_adjusted",
        "clearance/",
        "clinics/",
        "compare/",
    ],
)
def test_every_number_is_as_many_cases_as_it_leads_to(stage: Stage, page: str):
    client = browser(stage.lab_manager)
    address = f"/audit/{page}{'&' if '?' in page else '?'}{PERIOD}"
    html = client.get(address).content.decode()
    links = NUMBER.findall(html)

    assert len(links) > 1
    wrong = {
        (link, said): n
        for link, said in dict.fromkeys(links)
        if (n := listed(client, unescape(link))) != int(said.replace(",", ""))
    }
    assert wrong == {}


def test_a_clinicians_numbers_lead_to_own_cases(stage: Stage):
    client = browser(stage.world.dentist)
    html = client.get(f"/audit/?{PERIOD}").content.decode()
    links = NUMBER.findall(html)

    assert links
    for link, said in links:
        assert listed(client, unescape(link)) == int(said.replace(",", ""))


def test_too_few_cases_are_not_listed(stage: Stage):
    manager = stage.lab_manager
    client = browser(manager)
    narrow = f"/audit/cases/?{PERIOD}&outcome=remade&tooth_class=molar&kind=crown"
    n = listed(client, narrow)
    assert n > 3
    with acting(manager):
        audit_set_up.settings_save(
            actor=manager,
            small_number=n + 1,
            least_cases=n + 1,
            compare_people=False,
            monthly_digest=True,
            currency="EUR",
            at=AT,
        )
    answer = client.get(narrow)
    html = answer.content.decode()

    assert answer.status_code == 200
    assert f"Fewer than {n + 1}: not listed" in html
    assert "data-row" not in html
    assert not re.search(rf">\s*{n}\b", html)


def test_a_list_says_nothing_that_is_hidden_in_the_figures(stage: Stage):
    html = browser(stage.lab_manager).get(f"/audit/cases/?{PERIOD}").content.decode()
    table = html[html.index("<table") : html.index("</table>")]

    for word in ("Remade", "As delivered", "Fracture", "Shade", "Re-preparation"):
        assert word not in table
    own = browser(stage.world.dentist).get(f"/audit/cases/?{PERIOD}").content.decode()
    assert "Fitted as delivered" in own


def test_pages_follow_each_other_without_gap_or_repeat(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("cases.views.audit_cases.PAGE", 7)
    client = browser(stage.lab_manager)
    address = f"/audit/cases/?{PERIOD}&tooth_class=molar"
    n, seen, pages = listed(client, address), 0, 0
    while address:
        answer = client.get(address)
        seen += len(answer.context["rows"])
        pages += 1
        address = answer.context["next_href"]

    assert seen == n
    assert pages == -(-n // 7)


def test_a_place_no_list_gave_begins_anew(stage: Stage):
    client = browser(stage.lab_manager)
    first = client.get(f"/audit/cases/?{PERIOD}").context["rows"]
    assert client.get(f"/audit/cases/?{PERIOD}&after=!!").context["rows"] == first


def test_nobody_is_told_of_anothers_clinic(stage: Stage):
    manager = stage.clinic_manager
    theirs = stage.world.outsider.organisation_code
    client = browser(manager)
    answers = [
        client.get(f"/audit/{page}?{PERIOD}&clinic={code}")
        for page in ("", "rates/", "cases/", "compare/")
        for code in (theirs, "ABCDE12345")
    ]

    assert {answer.status_code for answer in answers} == {404}
    # The same answer, word for word, but for the token of its forms.
    bodies = {
        re.sub(r'(csrf\w*"[^"]*"|X-CSRFToken": ")[^"]*"', "", a.content.decode())
        for a in answers
    }
    assert len({re.sub(r'value="[^"]*"', "", body) for body in bodies}) == 1


def test_a_person_is_asked_for_only_where_people_are_compared(stage: Stage):
    client = browser(stage.lab_manager)
    person = stage.world.dentist.user_id
    assert client.get(f"/audit/?{PERIOD}&clinician={person}").status_code == 403
    assert client.get(f"/audit/cases/?{PERIOD}&clinician={person}").status_code == 403
