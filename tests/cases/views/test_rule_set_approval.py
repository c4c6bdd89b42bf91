"""From draft to force in the browser: two managers, every refusal named, impact."""

from datetime import timedelta

import pytest

from cases import clock
from cases.models import RuleSetPublication
from cases.services import rule_set_impact
from cases.services import rule_sets as services
from cases.services.rule_set_impact import LANES, impact_slice
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.cases.views.managers import (
    copied,
    fresh,
    proposed,
    published,
    second_browser,
)
from tests.cases.views.test_rule_set_drafts import page_of, settings_of
from tests.cases.views.test_rule_sets import body, queries
from tests.play import sufficient_unit, unit


def today() -> str:
    return clock.now().date().isoformat()


def test_two_managers_bring_a_set_into_force(desk: Desk):
    first, second = desk.browser("lab_manager"), second_browser(desk)
    draft = copied(desk, label="2031-1")
    first.post(page_of(draft, "settings/"), {**settings_of(draft), "k": "2"})
    asked = {"version": draft.version + 1, "effective_from": today(), "note": "See k."}
    assert first.post(page_of(draft, "propose/"), asked).status_code == 302
    own = body(first.get(page_of(draft)))
    assert "Waits for another manager" in own
    assert "/approve/" not in own

    theirs = body(second.get(page_of(draft)))
    assert "Waits for your approval" in theirs
    assert "See k." in theirs
    assert "The guard factor k is 2.0 instead of 1.645" in theirs
    assert "Not computed yet" in theirs
    version = {"version": draft.version + 2}
    assert second.post(page_of(draft, "approve/"), version).status_code == 302
    version = {"version": draft.version + 3}
    assert first.post(page_of(draft, "publish/"), version).status_code == 302

    shown = body(first.get("/rule-sets/"))
    assert "2031-1" in shown
    assert "Second Test" in shown
    assert "never changes" in body(first.get(page_of(draft)))


def test_one_does_not_approve_what_one_edited(desk: Desk):
    draft = proposed(desk, copied(desk))
    browser = desk.browser("lab_manager")
    alone = body(browser.get(page_of(draft)))
    assert "Nobody can approve it" in alone
    assert "Invite another laboratory manager" in alone

    refused = browser.post(page_of(draft, "approve/"), {"version": draft.version})

    assert refused.status_code == 409
    assert "no other manager" in body(refused)
    assert fresh(desk, draft).status == "proposed"


def test_a_manager_who_is_alone_is_told_before_proposing(desk: Desk):
    draft = copied(desk)
    page = page_of(draft, "propose/")
    assert "no second manager" in body(desk.browser("lab_manager").get(page))
    second_browser(desk)
    assert "no second manager" not in body(desk.browser("lab_manager").get(page))


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"effective_from": ""}, "Enter the day it should hold from."),
        ({"effective_from": "soon"}, "Enter a date, like"),
        ({"effective_from": "2001-01-01"}, "never holds for the past"),
        ({"note": "x" * 1001}, "at most 1000"),
    ],
)
def test_a_proposal_is_refused_at_its_field(
    desk: Desk, fields: dict[str, str], said: str
):
    draft = copied(desk)
    sent = {"version": draft.version, "effective_from": today(), **fields}

    answer = desk.browser("lab_manager").post(page_of(draft, "propose/"), sent)

    assert answer.status_code == 422
    assert said in body(answer)
    assert fresh(desk, draft).status == "editing"


def test_a_day_already_taken_is_named(desk: Desk):
    published(desk, label="1")
    draft = copied(desk, label="2")
    sent = {"version": draft.version, "effective_from": today()}

    answer = desk.browser("lab_manager").post(page_of(draft, "propose/"), sent)

    assert answer.status_code == 422
    assert "Another rule set of your laboratory holds from this day" in body(answer)


def test_a_draft_goes_back_with_a_reason(desk: Desk):
    draft = proposed(desk, copied(desk))
    second = second_browser(desk)
    silent = second.post(
        page_of(draft, "return/"), {"version": draft.version, "reason": " "}
    )
    assert silent.status_code == 422
    assert "Say briefly why it goes back to editing." in body(silent)

    sent = {"version": draft.version, "reason": "k is too wide."}
    assert second.post(page_of(draft, "return/"), sent).status_code == 302

    shown = body(desk.browser("lab_manager").get(page_of(draft)))
    assert "Returned:" in shown
    assert "k is too wide." in shown
    assert "Propose for approval" in shown


@pytest.mark.parametrize("step", ["approve/", "publish/", "return/"])
def test_who_comes_late_is_told_and_nothing_happens(desk: Desk, step: str):
    draft = proposed(desk, copied(desk))
    second = second_browser(desk)
    old = {"version": draft.version - 1, "reason": "Late."}

    answer = second.post(page_of(draft, step), old)

    assert answer.status_code == 412
    assert "changed this rule set after you had opened it" in body(answer)
    assert fresh(desk, draft).status == "proposed"


@pytest.mark.parametrize("step", ["approve/", "publish/", "return/"])
def test_a_step_out_of_turn_is_a_conflict(desk: Desk, step: str):
    draft = copied(desk)
    sent = {"version": draft.version, "reason": "Early."}

    answer = second_browser(desk).post(page_of(draft, step), sent)

    assert answer.status_code == 409
    assert fresh(desk, draft).status == "editing"


def test_published_twice_it_is_published_once(desk: Desk):
    draft = proposed(desk, copied(desk))
    second = second_browser(desk)
    second.post(page_of(draft, "approve/"), {"version": draft.version})
    version = {"version": draft.version + 1}

    assert second.post(page_of(draft, "publish/"), version).status_code == 302
    assert second.post(page_of(draft, "publish/"), version).status_code == 412

    with acting(desk.personas.lab_manager.actor):
        assert RuleSetPublication.objects.count() == 1


def test_a_day_that_passed_while_it_waited_is_named(desk: Desk, monkeypatch):
    draft = proposed(desk, copied(desk))
    second = second_browser(desk)
    later = clock.now() + timedelta(days=3)
    monkeypatch.setattr(clock, "now", lambda: later)

    answer = second.post(page_of(draft, "approve/"), {"version": draft.version})

    assert answer.status_code == 422
    assert "never holds for the past" in body(answer)


def test_a_draft_is_discarded_after_asking(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    page = page_of(draft, "discard/")
    assert "put aside for good" in body(browser.get(page))

    assert browser.post(page, {"version": draft.version}).status_code == 302

    assert fresh(desk, draft).status == "discarded"
    assert browser.get(page).status_code == 409
    assert browser.post(page, {"version": draft.version + 1}).status_code == 409


def changed_draft(desk: Desk):
    """Copy the set and ask for half a millimetre more of metal-ceramic."""
    draft = copied(desk)
    actor = desk.personas.lab_manager.actor
    lines = []
    for need in draft.document["needs"]:
        if need["material"] == "metal_ceramic":
            need.pop("max_mm", None)
            for key in ("min_mm", "target_mm"):
                need[key] = str(float(need[key]) + 0.5)
            lines.append(need)
    with acting(actor):
        return services.draft_lines_save(
            actor=actor,
            code=draft.code,
            version=None,
            material="metal_ceramic",
            lines=lines,
            at=clock.now(),
        )


def begun(desk: Desk, draft):
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        return rule_set_impact.impact_start(
            actor=actor, code=draft.code, at=clock.now()
        )


def worked(impact) -> None:
    for lane in LANES:
        impact_slice(
            organisation_id=impact.laboratory_id,
            impact_code=impact.code,
            lane=lane,
            at=clock.now(),
            seconds=60,
        )


def test_impact_is_started_watched_and_read(desk: Desk):
    open_case = desk.play.at_check(sufficient_unit())
    desk.play.at_check(unit())
    draft = changed_draft(desk)
    browser = desk.browser("lab_manager")

    started = browser.post(page_of(draft, "impact/"))
    path = started["Location"]
    running = body(browser.get(path))
    assert "0 of 2 cases looked at" in running
    assert '<progress class="progress" max="2" value="0"' in running
    assert 'hx-trigger="every 2s"' in running
    assert f'href="{path}"' in running
    part = body(browser.get(path, headers={"HX-Request": "true"}))
    assert part.lstrip().startswith('<div class="stack" id="impact"')
    assert "<html" not in part

    worked(begun(desk, draft))
    done = body(browser.get(path))
    assert "hx-trigger" not in done
    assert f"/cases/{open_case.code}/" in done
    assert "36 Buccal cusps, clearance" in done
    assert "sufficient" in done
    assert "becomes" in done
    assert 'aria-current="true">All' in done
    assert "None of this kind." in body(browser.get(f"{path}?which=past"))
    assert open_case.code in body(browser.get(f"{path}?which=open"))
    assert "open and 0 past ones would be judged otherwise" in body(
        browser.get(page_of(draft))
    )


def test_a_comparison_is_stale_once_the_draft_changed(desk: Desk):
    desk.play.at_check(sufficient_unit())
    draft = changed_draft(desk)
    impact = begun(desk, draft)
    worked(impact)
    browser = desk.browser("lab_manager")
    path = f"/rule-sets/impact/{impact.code}/"
    assert "The draft has changed since" not in body(browser.get(path))

    browser.post(page_of(draft, "settings/"), {**settings_of(draft), "k": "2"})

    assert "The draft has changed since" in body(browser.get(path))
    assert "Compute again" in body(browser.get(path))
    assert "The draft has changed since" in body(browser.get(page_of(draft)))


def test_a_comparison_is_stale_once_another_set_came_into_force(desk: Desk):
    draft = changed_draft(desk)
    impact = begun(desk, draft)
    worked(impact)
    published(desk, label="other", k="3")

    shown = body(desk.browser("lab_manager").get(f"/rule-sets/impact/{impact.code}/"))

    assert "Another rule set has come into force since" in shown


def test_nothing_changed_is_said_and_a_strange_cursor_is_not_found(desk: Desk):
    draft = copied(desk)
    impact = begun(desk, draft)
    worked(impact)
    browser = desk.browser("lab_manager")
    path = f"/rule-sets/impact/{impact.code}/"

    assert "No case would be judged otherwise" in body(browser.get(path))
    assert browser.get(f"{path}?after=cake").status_code == 404
    assert browser.get(f"{path}?which=cake").status_code == 200


def test_a_published_draft_is_not_compared_any_more(desk: Desk):
    published(desk)
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        draft = RuleSetPublication.objects.select_related("draft").get().draft

    answer = desk.browser("lab_manager").post(page_of(draft, "impact/"))

    assert answer.status_code == 409
    assert "Only a draft is compared with the cases." in body(answer)


def test_too_many_comparisons_at_once_are_refused_on_the_drafts_page(desk: Desk):
    desk.play.at_check(sufficient_unit())
    browser = desk.browser("lab_manager")
    answers = []
    for label in "abcdefgh":
        draft = copied(desk, label=label)
        answers.append(browser.post(page_of(draft, "impact/")))

    assert answers[0].status_code == 302
    assert answers[-1].status_code == 409
    assert "Which cases it would change" in body(answers[-1])


def test_the_result_asks_no_more_for_three_cases_than_for_one(desk: Desk):
    draft = changed_draft(desk)
    desk.play.at_check(sufficient_unit())
    one = begun(desk, draft)
    worked(one)
    single = queries(desk, "lab_manager", f"/rule-sets/impact/{one.code}/")
    for _each in range(2):
        desk.play.at_check(sufficient_unit())
    three = begun(desk, draft)
    assert three.code != one.code
    worked(three)

    assert queries(desk, "lab_manager", f"/rule-sets/impact/{three.code}/") == single
