"""Rule sets to read: list, whole set, file; each for those who may."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases import clock
from cases.services import rule_sets as services
from cases.tenancy import acting
from rules.loader import shipped_rule_set
from rules.parse import parse_toml
from tests.cases.views.conftest import Desk
from tests.cases.views.managers import copied, published, second_manager
from tests.factories import make_organisation, make_partnership


def body(response) -> str:
    return response.content.decode()


def test_a_laboratory_without_own_set_works_by_the_shipped_one(desk: Desk):
    shown = body(desk.browser("technician").get("/rule-sets/"))

    shipped = shipped_rule_set()
    assert f"{shipped.name}, {shipped.version}" in shown
    assert "it came with Chairbench" in shown
    assert "Copy to a draft" not in shown
    assert "Drafts" not in shown


def test_a_manager_sees_drafts_and_what_waits_for_whom(desk: Desk):
    draft = copied(desk, label="2031-1")
    page = desk.browser("lab_manager").get("/rule-sets/")
    assert "Being edited" in body(page)
    assert f"/rule-sets/drafts/{draft.code}/" in body(page)
    assert "the only manager here" in body(page)

    second_manager(desk)
    assert "the only manager here" not in body(
        desk.browser("lab_manager").get("/rule-sets/")
    )


@pytest.mark.parametrize("who", ["technician", "lab_manager", "clinician", "assistant"])
def test_a_set_in_force_shows_source_and_uncertainty_to_both_sides(
    desk: Desk, who: str
):
    rule_set = published(desk)
    address = f"/rule-sets/published/{desk.personas.laboratory.code}/{rule_set.digest}/"

    shown = body(desk.browser(who).get(address))

    assert "common practice, no source" in shown
    assert "0.5 + 0.05 + 0.15 = 0.70" in shown
    assert "Wax and caliper" in shown
    assert "0.18" in shown
    assert rule_set.digest in shown
    assert "Sites that must be read" in shown


def test_a_set_says_what_it_changed_against_the_one_before(desk: Desk):
    published(desk, label="2031-1", days=0)
    later = published(desk, label="2031-2", days=1, k="2")
    address = f"/rule-sets/published/{desk.personas.laboratory.code}/{later.digest}/"

    shown = body(desk.browser("technician").get(address))

    assert "The guard factor k is 2.0 instead of 1.645" in shown
    assert "holds from" in shown


def test_the_list_says_what_holds_what_comes_and_what_held(desk: Desk):
    published(desk, label="2031-1", days=0)
    published(desk, label="2031-2", days=1, k="2")

    shown = body(desk.browser("technician").get("/rule-sets/"))

    assert "Coming" in shown
    assert "2031-2" in shown
    assert "until" in shown


def test_a_clinic_sees_the_sets_of_its_laboratories(desk: Desk):
    rule_set = published(desk, label="2031-1")
    shown = body(desk.browser("clinician").get("/rule-sets/"))

    assert "Laboratory L" in shown
    assert "2031-1" in shown
    assert rule_set.digest[:12] in shown
    assert "Laboratory M" not in shown


def test_a_clinic_without_laboratory_is_told_how_one_comes(desk: Desk):
    with acting(desk.personas.clinic_manager.actor):
        desk.personas.partnership.ended_at = clock.now()
        desk.personas.partnership.save(update_fields=["ended_at"])

    shown = body(desk.browser("clinician").get("/rule-sets/"))

    assert "once you work together" in shown


def test_outsiders_find_no_set_of_a_laboratory(desk: Desk):
    rule_set = published(desk)
    code = desk.personas.laboratory.code
    stranger = desk.browser("technician_m")
    for digest in (rule_set.digest, shipped_rule_set().digest, "0" * 64, "x"):
        for more in ("", "toml/"):
            path = f"/rule-sets/published/{code}/{digest}/{more}"
            assert stranger.get(path).status_code == 404
    own = f"/rule-sets/published/{code}/{'0' * 64}/"
    assert desk.browser("technician").get(own).status_code == 404
    nobody = f"/rule-sets/published/{'Z' * 10}/{shipped_rule_set().digest}/"
    assert desk.browser("clinician").get(nobody).status_code == 404


def test_the_file_is_the_set_and_nothing_a_browser_runs(desk: Desk):
    rule_set = published(desk, name="<script>x</script>")
    code = desk.personas.laboratory.code
    answer = desk.browser("clinician").get(
        f"/rule-sets/published/{code}/{rule_set.digest}/toml/"
    )

    assert answer["Content-Type"] == "application/toml"
    assert (
        answer["Content-Disposition"] == 'attachment; filename="scriptxscript-1.toml"'
    )
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert parse_toml(body(answer)).digest == rule_set.digest
    page = f"/rule-sets/published/{code}/{rule_set.digest}/"
    assert "<script>x" not in body(desk.browser("clinician").get(page))


def queries(desk: Desk, who: str, path: str) -> int:
    browser = desk.browser(who)
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert browser.get(path).status_code == 200
    return len(captured)


def test_the_list_asks_no_more_for_three_drafts_than_for_one(desk: Desk):
    copied(desk, label="a")
    one = queries(desk, "lab_manager", "/rule-sets/")
    copied(desk, label="b")
    copied(desk, label="c")

    assert queries(desk, "lab_manager", "/rule-sets/") == one


def test_a_clinics_list_asks_no_more_for_three_laboratories(desk: Desk):
    one = queries(desk, "clinician", "/rule-sets/")
    for name in ("N", "O"):
        other = make_organisation("laboratory", f"Laboratory {name}")
        make_partnership(desk.personas.clinic_a, other)

    assert queries(desk, "clinician", "/rule-sets/") == one


def test_a_discarded_draft_stays_to_be_seen(desk: Desk):
    draft = copied(desk, label="gone")
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        services.draft_discard(actor=actor, code=draft.code, version=None)

    shown = body(desk.browser("lab_manager").get("/rule-sets/"))

    assert "Discarded drafts" in shown
    page = desk.browser("lab_manager").get(f"/rule-sets/drafts/{draft.code}/")
    assert "nobody can edit or publish it" in body(page)
