"""The audit's pages: what they say of figures, and what they keep to themselves."""

import re
from collections.abc import Callable
from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases import clock
from cases.audit.figures import Figures
from cases.audit.filters import AuditFilters
from cases.services import audit_report, audit_set_up
from cases.tenancy import acting
from tests.cases.views.audit_figures import AT, invented, no_figures
from tests.cases.views.conftest import Desk

PAGES = ("", "rates/", "clearance/", "queries/", "compare/")
ALL_PAGES = (*PAGES, "clinics/")
Told = Callable[..., None]


@pytest.fixture(autouse=True)
def _at(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(clock, "now", lambda: AT)


@pytest.fixture
def told(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Told:
    """Let the database count what a test says: two clinics, two materials."""

    def tell(one=(40, 8, 6), other=(60, 9, 7), materials=None, causes=None, harm=True):
        people = desk.personas
        by = {
            "clinic": {str(people.clinic_a.pk): one, str(people.clinic_b.pk): other},
            "material": materials or {"zirconia_3y": one, "metal_ceramic": other},
        }

        def count(*, actor, filters: AuditFilters, at) -> Figures:
            return invented(filters, by, causes=causes, harm=harm)

        monkeypatch.setattr(audit_report, "audit_figures", count)

    return tell


@pytest.fixture
def nothing(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        audit_report, "audit_figures", lambda *, actor, filters, at: no_figures(filters)
    )


def page(
    desk: Desk, path: str = "", who: str = "lab_manager", status: int = 200
) -> str:
    response = desk.browser(who).get(f"/audit/{path}")
    assert response.status_code == status
    return response.content.decode()


def text(html: str) -> str:
    """Return what one reads: no markup, drawings or blanks beyond one."""
    body = re.sub(r"<(svg|script|style)\b.*?</\1>", " ", html, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body)).replace("\xa0", " ")


@pytest.mark.parametrize("path", ALL_PAGES)
def test_a_page_says_period_moment_and_cautions(desk: Desk, told: Told, path: str):
    told()
    said = text(page(desk, path))

    assert "June 2025" in said
    assert "20 May 2026" in said
    for caution in (
        "Decision support only: the clinician who prescribes decides",
        "the instructions for use of the material and batch overrule them",
        "Local dental, device and privacy law applies",
        "Statistics show variation, not fault.",
    ):
        assert caution in said


def test_figures_open_with_what_to_act_on(desk: Desk, told: Told):
    told()
    html = page(desk)

    assert html.index('id="findings"') < html.index('id="headline"')
    assert html.count("<svg") > 2


def test_what_stands_out_is_said_with_its_certainty_and_cases(desk: Desk, told: Told):
    told()
    html = page(desk)

    findings = html[html.index('id="findings"') : html.index('id="headline"')]
    assert 1 <= findings.count("<li>") <= 3
    assert findings.count("See the cases") == findings.count("<li>")
    assert "corrected for" in findings


def test_nothing_stands_out_and_says_what_was_asked(desk: Desk, told: Told):
    told(one=(60, 3, 3), other=(60, 3, 3), harm=False)
    said = text(page(desk, "?from=2026-03&to=2026-03"))

    assert "No difference here is sure enough to act on." in said
    assert "Asked: has the remake rate changed" in said


@pytest.mark.parametrize("path", ALL_PAGES)
def test_an_empty_period_says_so_and_what_to_do(desk: Desk, nothing, path: str):
    said = text(page(desk, path))

    if path == "queries/":
        assert "No query about clearance was raised in this period" in said
    elif path != "compare/":
        assert "No restoration was dispatched in this period" in said
        assert "dispatch from the bench" in said


def test_filters_that_match_nothing_say_so(desk: Desk, nothing):
    html = page(desk, "?material=full_metal&from=2026-01&to=2026-03")

    assert "Nothing fits these filters" in html
    assert 'href="/audit/?from=2026-01&amp;to=2026-03"' in html


@pytest.mark.parametrize("path", [*ALL_PAGES, "cases/"])
def test_a_wrong_period_is_told_at_its_field_and_the_rest_is_kept(desk: Desk, path):
    html = page(desk, f"{path}?from=2026-05&to=2026-01&kind=crown", status=422)

    assert 'href="#id_to"' in html
    assert "The period ends before it begins." in html
    assert re.search(r'name="from"[^>]*value="2026-05"', html) or re.search(
        r'value="2026-05"[^>]*name="from"', html
    )
    assert '<option value="crown" selected>' in html
    assert "<title>Error: " in html


def test_a_period_without_days_or_of_nonsense_is_refused(desk: Desk):
    assert "Enter a month like 2026-05." in page(
        desk, "?from=May&to=2026-05", status=422
    )
    assert "begins in the future" in page(desk, "?from=2027-01&to=2027-01", status=422)


def test_filters_round_trip_through_form_links_and_chips(desk: Desk, told: Told):
    told()
    query = "from=2025-01&to=2026-03&material=zirconia_3y&kind=crown&method=scan"
    html = page(desk, f"rates/?{query}&tooth_class=molar&cause=shade")
    expected = {
        **{name: value[0] for name, value in parse_qs(query).items()},
        "tooth_class": "molar",
        "cause": "shade",
    }

    for name, value in expected.items():
        chosen = f'<option value="{value}" selected>'
        select = re.search(rf'<select name="{name}".*?</select>', html, re.S)
        typed = re.search(rf'<input[^>]*name="{name}"[^>]*>', html)
        if select:
            assert chosen in select[0], name
        else:
            assert typed, name
            assert f'value="{value}"' in typed[0], name
    links = re.findall(r'href="(/audit/(?:clearance|queries|clinics)/\?[^"]*)"', html)
    assert len(links) == 3
    for link in links:
        got = parse_qs(urlsplit(link.replace("&amp;", "&")).query)
        assert {name: value[0] for name, value in got.items()} == expected
    chip = re.search(r'<a href="([^"]*)"><span>Kind of restoration: <b>Crown</b>', html)
    assert chip
    assert "kind=" not in chip[1]
    assert "material=zirconia_3y" in chip[1]


def test_every_number_shown_leads_to_its_cases(desk: Desk, told: Told):
    told()
    html = page(desk, "rates/?from=2026-01&to=2026-03&kind=crown")
    row = re.search(r"<tr>(?:(?!</tr>).)*Clinic A.*?</tr>", html, re.S)
    assert row
    links = [
        parse_qs(urlsplit(x.replace("&amp;", "&")).query)
        for x in re.findall(r'href="(/audit/cases/[^"]*)"', row[0])
    ]

    code = desk.personas.clinic_a.code
    shared = {
        "from": ["2026-01"],
        "to": ["2026-03"],
        "kind": ["crown"],
        "clinic": [code],
    }
    assert links == [shared, {**shared, "outcome": ["remade"]}]


def test_small_counts_are_neither_said_nor_linked(desk: Desk, told: Told):
    """3 of 57 and 8 of 89: the 3 is small, and 11 less 8 would tell it."""
    told(
        one=(57, 3, 9),
        other=(89, 8, 9),
        materials={"zirconia_3y": (57, 3, 9), "metal_ceramic": (89, 8, 9)},
    )
    html = page(desk, "rates/?from=2026-01&to=2026-01")

    for name, n in (("Clinic A", 57), ("Clinic B", 89)):
        row = re.search(rf"<tr>(?:(?!</tr>).)*{name}.*?</tr>", html, re.S)
        assert row
        assert f">{n}<" in row[0]
        assert "href" not in row[0]
        assert not re.search(r">[38]<|5\.3|9\.0", row[0])
    assert "Counts from 1 to 4 are not shown" in html
    code = desk.personas.clinic_a.code
    assert f"clinic={code}" not in html


@pytest.mark.parametrize("path", ALL_PAGES)
def test_no_small_count_reaches_any_page(desk: Desk, told: Told, path: str):
    """With all counts at 2 no count, share or link of remakes may be found."""
    told(
        one=(41, 2, 0),
        other=(0, 0, 0),
        causes={"shade": 2},
        materials={"zirconia_3y": (41, 2, 0)},
    )
    html = page(desk, f"{path}?from=2026-01&to=2026-01")

    assert "outcome=remade" not in html
    assert "4.9\xa0%" not in html
    assert "cause=shade" not in html


def test_a_clinician_sees_own_small_numbers(desk: Desk, told: Told):
    told(one=(41, 2, 0), other=(0, 0, 0), materials={"zirconia_3y": (41, 2, 0)})
    html = page(desk, "rates/?from=2026-01&to=2026-01", who="clinician")

    assert "outcome=remade" in html
    assert "4.9\xa0%" in html
    assert "Counts from 1 to" not in html


def test_the_threshold_is_the_organisations(desk: Desk, told: Told):
    told(one=(57, 6, 9), other=(89, 8, 9))
    manager = desk.personas.lab_manager.actor
    with acting(manager):
        audit_set_up.settings_save(
            actor=manager,
            small_number=7,
            least_cases=10,
            compare_people=False,
            monthly_digest=True,
            currency="EUR",
            at=AT,
        )
    html = page(desk, "rates/?from=2026-01&to=2026-01")

    assert "Counts from 1 to 6 are not shown" in html


def test_people_are_named_only_where_they_are_compared(desk: Desk, told: Told):
    told()
    assert 'name="clinician"' not in page(desk)
    manager = desk.personas.lab_manager.actor
    with acting(manager):
        audit_set_up.settings_save(
            actor=manager,
            small_number=5,
            least_cases=10,
            compare_people=True,
            monthly_digest=True,
            currency="EUR",
            at=AT,
        )
    assert 'name="technician"' in page(desk)


def test_a_clinic_has_no_page_of_clinics(desk: Desk, told: Told):
    told()
    assert "/audit/clinics/" not in page(desk, who="clinic_manager")
    page(desk, "clinics/", who="clinic_manager", status=403)


def test_measures_are_chosen_by_the_address(desk: Desk, told: Told):
    told()
    html = page(desk, "rates/?measure=internal&kind=crown")

    assert "<h1>Made again before dispatch</h1>" in html
    assert '<input type="hidden" name="measure" value="internal">' in html
    assert "<h1>Remade after dispatch</h1>" in page(desk, "rates/?measure=nonsense")
    assert "measure=internal" not in page(desk, "rates/", who="clinic_manager")


def test_two_periods_stand_right_behind_each_other_by_default(desk: Desk, told: Told):
    told()
    html = page(desk, "compare/?from=2026-01&to=2026-03")

    assert re.search(r'value="2025-10"', html)
    assert re.search(r'value="2025-12"', html)


def test_a_wrong_second_period_is_told_at_its_own_field(desk: Desk):
    html = page(desk, "compare/?from2=2026-05&to2=2026-01", status=422)
    assert 'href="#id_to2"' in html
    html = page(desk, "compare/?from2=2026-01", status=422)
    assert 'href="#id_to2"' in html


def test_a_saved_view_is_offered_and_opens(desk: Desk, told: Told):
    told()
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        audit_set_up.view_save(
            actor=actor, name="Molars", page="rates", query="tooth_class=molar", at=AT
        )
    html = page(desk)

    assert 'href="/audit/rates/?tooth_class=molar">Molars</a>' in html
    assert "Tooth: <b>Molar</b>" in page(desk, "rates/?tooth_class=molar")


def _queries(desk: Desk, path: str) -> int:
    browser = desk.browser("lab_manager")
    browser.get(f"/audit/{path}")
    with CaptureQueriesContext(connection) as found:
        assert browser.get(f"/audit/{path}").status_code == 200
    return len(found)


@pytest.mark.parametrize("path", ALL_PAGES)
def test_queries_do_not_grow_with_months_or_rows(desk: Desk, told: Told, path: str):
    told(materials={"zirconia_3y": (100, 17, 13)})
    few = _queries(desk, f"{path}?from=2026-01&to=2026-01")
    told(
        materials=dict.fromkeys(
            ("zirconia_3y", "metal_ceramic", "full_metal", "feldspathic"), (25, 4, 3)
        )
    )
    many = _queries(desk, f"{path}?from=2024-01&to=2026-04")

    assert many == few


def test_words_of_people_are_never_markup(desk: Desk, told: Told):
    told()
    manager = desk.personas.lab_manager.actor
    with acting(manager):
        audit_set_up.note_add(
            actor=manager, on=AT.date(), text="<b>bold</b> & 'so'", at=AT
        )
    html = page(desk)
    assert "<b>bold</b>" not in html


def test_a_chart_without_limits_offers_a_longer_period(desk: Desk, told: Told):
    told()
    short = page(desk, "?from=2025-12&to=2026-05")
    assert "Limits need 10 complete periods" in short
    assert 'href="/audit/?from=2024-06&amp;to=2026-05">Look at 24 months</a>' in short
    long = page(desk, "?from=2024-06&to=2026-05")
    assert "Limits after Laney" in long
    assert "Look at" not in long


def test_months_too_early_to_judge_are_said_beside_the_figures(desk: Desk, told: Told):
    told()
    said = text(page(desk))
    # April and May 2026 of a hundred each; the last day of April is less than 30 days ago.
    assert "200 of these restorations were dispatched too lately to judge" in said
    assert "too lately to judge" not in text(page(desk, "?from=2025-06&to=2025-11"))


def test_causes_that_are_all_too_few_are_said_not_drawn(desk: Desk, told: Told):
    told(one=(60, 3, 3), other=(60, 3, 3), causes={"shade": 3, "marginal_fit": 3})
    html = page(desk, "?from=2026-03&to=2026-03")
    assert "Which cause comes first cannot be told" in html
    assert "<svg" not in html[html.index('id="causes"') :]


def test_few_clinics_do_not_say_how_much_clinics_differ(desk: Desk, told: Told):
    told()
    said = text(page(desk, "clinics/"))
    assert "cannot be said of fewer than 10" in said
    assert "too narrow" not in said
