"""The set-up of the audit, notes on its charts, saved views: as people use them."""

import re

import pytest

from cases.models import AuditNote, AuditSettings, AuditView
from cases.tenancy import acting
from tests.cases.views.conftest import Desk

GOOD = {"small_number": "7", "least_cases": "12", "currency": "chf"}


def test_a_manager_sets_up_and_finds_it_so(desk: Desk):
    browser = desk.browser("lab_manager")
    fresh = browser.get("/audit/set-up/").content.decode()
    assert re.search(r'name="small_number" value="5"', fresh)
    assert re.search(r'name="monthly_digest"[^>]*checked', fresh)

    answer = browser.post("/audit/set-up/", {**GOOD, "compare_people": "on"})

    assert answer["Location"] == "/audit/set-up/"
    page = browser.get("/audit/set-up/").content.decode()
    assert re.search(r'name="small_number" value="7"', page)
    assert re.search(r'name="compare_people"[^>]*checked', page)
    assert not re.search(r'name="monthly_digest"[^>]*checked', page)
    assert "CHF" in page
    assert "Last changed by Lab Manager Test" in page


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"small_number": "2"}, "small_number"),
        ({"small_number": "1_0"}, "small_number"),
        ({"small_number": ""}, "small_number"),
        ({"least_cases": "6"}, "least_cases"),
        ({"currency": "€"}, "currency"),
    ],
)
def test_what_cannot_be_is_told_at_its_field_and_kept(desk: Desk, changes, field):
    browser = desk.browser("lab_manager")
    answer = browser.post("/audit/set-up/", {**GOOD, **changes})
    html = answer.content.decode()

    assert answer.status_code == 422
    assert f'href="#id_{field}"' in html
    assert f'value="{changes[field]}"' in html or not changes[field]
    with acting(desk.personas.lab_manager.actor):
        assert not AuditSettings.objects.exists()


def test_comparing_people_comes_with_a_caution(desk: Desk):
    html = desk.browser("clinic_manager").get("/audit/set-up/").content.decode()
    assert html.index("never who is at fault") < html.index('name="compare_people"')


def test_a_note_is_added_and_taken_off(desk: Desk):
    browser = desk.browser("lab_manager")
    sent = browser.post(
        "/audit/notes/", {"on": "2026-03-02", "text": "Training <held>"}
    )
    assert sent.status_code == 302
    html = browser.get("/audit/notes/").content.decode()
    assert "Training &lt;held&gt;" in html
    with acting(desk.personas.lab_manager.actor):
        note = AuditNote.objects.get()

    browser.post(f"/audit/notes/{note.code}/remove/")

    assert "Training" not in browser.get("/audit/notes/").content.decode()


def test_a_note_that_says_nothing_keeps_its_day(desk: Desk):
    browser = desk.browser("lab_manager")
    answer = browser.post("/audit/notes/", {"on": "2026-03-02", "text": " "})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert 'href="#id_text"' in html
    assert 'value="2026-03-02"' in html


def test_a_clinician_reads_notes_and_has_no_form(desk: Desk):
    manager = desk.browser("clinic_manager")
    manager.post("/audit/notes/", {"on": "2026-03-02", "text": "New scanner"})
    html = desk.browser("clinician").get("/audit/notes/").content.decode()
    assert "New scanner" in html
    assert 'name="text"' not in html
    assert "Take off" not in html
    assert "/audit/set-up/" not in html


def test_a_note_of_the_laboratory_is_not_the_clinics(desk: Desk):
    desk.browser("lab_manager").post(
        "/audit/notes/", {"on": "2026-03-02", "text": "Training held"}
    )
    html = desk.browser("clinic_manager").get("/audit/notes/").content.decode()
    assert "Training held" not in html


def test_a_view_is_saved_from_a_page_and_opened_again(desk: Desk):
    browser = desk.browser("clinician")
    offered = browser.get("/audit/views/?page=rates&from=2026-01&to=2026-03&kind=crown")
    html = offered.content.decode()
    query = re.search(r'name="query" value="([^"]*)"', html)
    assert query
    fields = {
        "name": "Crowns",
        "page": "rates",
        "query": query[1].replace("&amp;", "&"),
    }
    assert browser.post("/audit/views/", fields).status_code == 302
    listed = browser.get("/audit/views/").content.decode()

    assert 'href="/audit/rates/?from=2026-01&amp;to=2026-03&amp;kind=crown"' in listed
    assert (
        browser.get("/audit/rates/?from=2026-01&to=2026-03&kind=crown").status_code
        == 200
    )


def test_a_rolling_view_keeps_no_period(desk: Desk):
    browser = desk.browser("clinician")
    browser.post(
        "/audit/views/",
        {
            "name": "Crowns",
            "page": "rates",
            "query": "from=2026-01&to=2026-03&kind=crown",
            "rolling": "on",
        },
    )
    with acting(desk.personas.clinician.actor):
        assert AuditView.objects.get().query == "kind=crown"


def test_a_name_in_use_is_told_and_kept(desk: Desk):
    browser = desk.browser("clinician")
    fields = {"name": "Crowns", "page": "rates", "query": "kind=crown"}
    browser.post("/audit/views/", fields)
    answer = browser.post("/audit/views/", fields)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert 'href="#id_name"' in html
    assert 'value="Crowns"' in html
    assert 'value="kind=crown"' in html


def test_views_are_removed_by_their_owner(desk: Desk):
    browser = desk.browser("clinician")
    browser.post("/audit/views/", {"name": "Crowns", "page": "rates", "query": ""})
    with acting(desk.personas.clinician.actor):
        view = AuditView.objects.get()
    other = desk.browser("colleague").post(f"/audit/views/{view.code}/remove/")
    assert other.status_code == 404
    assert browser.post(f"/audit/views/{view.code}/remove/").status_code == 302
    assert "Crowns" not in browser.get("/audit/views/").content.decode()


def test_the_menu_shows_the_audit_to_those_who_have_it(desk: Desk):
    for who, path in (("lab_manager", "/bench/"), ("clinician", "/work/")):
        assert 'href="/audit/"' in desk.browser(who).get(path).content.decode()
    for who, path in (("technician", "/bench/"), ("assistant", "/work/")):
        assert 'href="/audit/"' not in desk.browser(who).get(path).content.decode()
