"""How a verdict came about: exactly the stored check, for those who see the case."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.models import Case, Check
from cases.tenancy import acting
from rules.check import run_check
from rules.loader import shipped_rule_set
from rules.payload import parse_check
from tests.cases.views.conftest import Desk
from tests.cases.views.test_chair import body as chair_body
from tests.play import reading, unit


@pytest.fixture
def case(desk: Desk) -> Case:
    return desk.play.at_check(unit())


def why(case: Case, site: str = "lingual_cusps", quantity: str = "clearance") -> str:
    return f"/cases/{case.code}/why/36/{site}/{quantity}/"


def steps_of(page: str) -> list[str]:
    listed = page[page.index('class="steps-said"') :]
    return re.findall(r"<li[^>]*>(.*?)</li>", listed[: listed.index("</ol>")])


def test_every_site_leads_to_its_derivation(desk: Desk, case: Case):
    page = desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    for site in ("buccal_cusps", "lingual_cusps", "central_fossa"):
        assert f'hx-get="{why(case, site)}"' in page
        assert f'<a href="{why(case, site)}">' in page


def test_it_leads_to_the_rule_set_it_was_judged_by(desk: Desk, case: Case):
    for who in ("clinician", "technician"):
        page = desk.browser(who).get(why(case)).content.decode()
        (address,) = re.findall(r'href="(/rule-sets/published/[^"]+)"', page)
        read = desk.browser(who).get(address)
        assert read.status_code == 200
        assert shipped_rule_set().digest in read.content.decode()


def test_the_derivation_is_the_cores_own(desk: Desk, case: Case):
    page = desk.browser("clinician").get(why(case)).content.decode()
    with acting(desk.personas.clinician.actor):
        request = Check.objects.get(case=case).request
    again = run_check(
        shipped_rule_set(),
        parse_check({**request, "explain": True}, rule_set=shipped_rule_set()),
    )
    (site,) = [s for s in again.units[0].sites if s.site == "lingual_cusps"]
    told = [message.text() for message in site.derivation]
    assert steps_of(page) == told
    assert len(told) > 4
    assert "Computed again just now from what was stored: the same." in page
    assert "verdict-insufficient" in page


def test_where_sources_disagree_the_verdict_of_each_stands_beside_it(desk: Desk):
    rows = [
        reading("buccal_cusps", passes_mm="2.0"),
        reading("lingual_cusps", passes_mm="1.3", held_mm="1.5"),
        reading("central_fossa", passes_mm="1.5"),
    ]
    case = desk.play.at_check(unit(readings=rows))
    page = desk.browser("technician").get(why(case)).content.decode()
    table = page[page.index("<tbody>") : page.index("</tbody>")]
    found = re.findall(
        r'scope="row">([\d.]+)</th>.*?verdict-(\w+)', table, flags=re.DOTALL
    )
    # 1.3 slid, 1.5 was held: enough for 1.3, short of 1.5 and of 2.0.
    assert found == [
        ("1.3", "sufficient"),
        ("1.5", "insufficient"),
        ("2.0", "insufficient"),
    ]
    chosen = table[table.index('class="is-current"') :]
    assert chosen.index(">1.5<") < chosen.index("Chosen here:")
    assert "Goodacre, Campagni, Aquilino" in table


def test_htmx_gets_the_part_alone(desk: Desk, case: Case):
    part = (
        desk.browser("technician")
        .get(why(case), headers={"HX-Request": "true"})
        .content.decode()
    )
    assert part.lstrip().startswith('<section class="derivation"')
    assert "<html" not in part


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("36/lingual_cusps/reduction", "clinician"),
        ("36/mesial_wall/reduction", "clinician"),
        ("37/lingual_cusps/clearance", "clinician"),
        ("36/nose/clearance", "clinician"),
        ("36/lingual_cusps/clearance", "clinician_b"),
        ("36/lingual_cusps/clearance", "technician_m"),
    ],
)
def test_what_is_not_there_or_not_ones_own_is_not_found(
    desk: Desk, case: Case, path: str, name: str
):
    url = f"/cases/{case.code}/why/{path}/"
    assert desk.browser(name).get(url).status_code == 404


def test_a_draft_has_no_verdict_to_explain(desk: Desk):
    case = desk.play.draft(unit())
    assert desk.browser("clinician").get(why(case)).status_code == 404


def test_a_stored_verdict_that_does_not_come_out_again_is_said(desk: Desk, case: Case):
    with acting(desk.personas.technician.actor):
        stored = Check.objects.get(case=case)
        for site in stored.result["units"][0]["sites"]:
            site["verdict"] = "sufficient"
        # A stored check cannot be changed; one like it can be put beside it.
        stored.pk = None
        stored.save(force_insert=True)
        Case.objects.filter(pk=case.pk).update(current_check=stored)
    page = desk.browser("technician").get(why(case)).content.decode()
    assert "The stored verdict counts" in page
    assert "verdict-insufficient" in page
    same = desk.browser("technician").get(why(case, "buccal_cusps")).content.decode()
    assert "Computed again just now from what was stored: the same." in same


def test_the_chair_check_derives_without_storing(desk: Desk):
    page = desk.browser("assistant").post("/chair/", chair_body()).content.decode()
    assert "How these verdicts came about" in page
    assert len(steps_of(page)) > 4
    assert "/why/" not in page


def test_opening_one_asks_the_database_as_often_for_one_unit_as_for_three(desk: Desk):
    def asked(case: Case) -> int:
        browser = desk.browser("technician")
        browser.get(why(case))
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(why(case)).status_code == 200
        return len(queries)

    one = desk.play.at_check(unit())
    three = desk.play.at_check(unit(), unit(tooth="46"), unit(tooth="37"))
    assert asked(one) == asked(three)
