"""What a refused form does: focus on the summary, links to fields, words kept."""

import pytest
from playwright.sync_api import Page, expect

from cases.lifecycle import AnswerKind
from tests.browser.hands import press, sign_in, state
from tests.browser.judge import overflow, violations
from tests.browser.windows import Windows
from tests.play import Play, sufficient_unit, unit

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]


def assert_tells(page: Page) -> None:
    """The summary has the focus, its links lead to fields, axe has nothing to say."""
    summary = page.locator("[data-errors]").first
    expect(summary).to_be_focused()
    assert page.title().startswith("Error: ")
    assert violations(page) == []
    assert overflow(page) == []
    summary.get_by_role("link").first.click()
    focused = page.evaluate("document.activeElement.id")
    assert focused
    assert focused != "main"


def test_sign_in_with_a_wrong_password(play: Play, windows: Windows):
    windows.watch.expect(422)
    page = windows.phone()
    page.goto("/")
    page.get_by_label("E-mail").fill("nobody@example.org")
    page.get_by_label("Password").fill("wrong")
    press(page, "Sign in")

    expect(page.locator("[data-errors]")).to_be_focused()
    expect(page.get_by_label("E-mail")).to_have_value("nobody@example.org")
    assert violations(page) == []


def test_a_new_case_for_nobody(play: Play, windows: Windows):
    windows.watch.expect(422)
    page = windows.phone()
    sign_in(page, play.world.assistant)
    page.goto("/cases/new/")
    press(page, "Begin the draft")

    assert_tells(page)


def test_a_query_without_a_word(play: Play, windows: Windows):
    windows.watch.expect(422)
    case = play.at_check(unit())
    page = windows.phone()
    sign_in(page, play.world.technician)
    page.goto(f"/cases/{case.code}/flag/")
    page.get_by_label("Question to the clinician").fill("")
    press(page, "Raise a query")

    assert_tells(page)


def test_an_empty_message_is_refused_in_its_place(play: Play, windows: Windows):
    windows.watch.expect(422)
    case = play.at_check(unit())
    page = windows.desk()
    sign_in(page, play.world.technician)
    page.goto(f"/cases/{case.code}/")
    press(page, "Send")

    expect(page.locator("#conversation [data-errors]")).to_be_focused()
    assert violations(page) == []
    page.get_by_label("Message", exact=True).fill("<b>bold</b> & plain")
    press(page, "Send")
    thread = page.get_by_role("region", name="Conversation")
    expect(thread).to_contain_text("<b>bold</b> & plain")


def test_a_wrong_password_signs_nothing(play: Play, windows: Windows):
    windows.watch.expect(403, 422)
    case = play.draft(unit())
    page = windows.phone()
    sign_in(page, play.world.dentist)
    page.goto(f"/cases/{case.code}/submit/")
    page.get_by_label("Your password").fill("wrong")
    press(page, "Sign and send")

    assert_tells(page)
    assert play.fresh(case).state == "draft"


def test_the_chair_check_speaks_while_one_types(play: Play, windows: Windows):
    windows.watch.expect(422)
    page = windows.phone()
    sign_in(page, play.world.dentist)
    page.goto("/chair/")
    page.locator("label.tooth", has_text="36").tap()
    page.get_by_label("Material").select_option(label="Zirconia 3Y")
    fossa = page.get_by_role("group", name="Central fossa").get_by_label(
        "Slides freely"
    )
    fossa.fill("0,5")
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("undecided")
    fossa.fill("x")
    error = page.get_by_role("group", name="Central fossa").locator(".error")
    expect(error).to_contain_text("is no number here")
    assert violations(page) == []
    fossa.fill("0.7")
    expect(error).to_be_empty()
    assert overflow(page) == []


def test_a_step_too_late_leads_back_to_the_case(play: Play, windows: Windows):
    windows.watch.expect(409)
    case = play.at_check(sufficient_unit())
    play.clear(case)
    page = windows.desk()
    sign_in(page, play.world.technician)
    page.goto(f"/cases/{case.code}/clear/")
    page.get_by_role("link", name="Open the case").click()

    expect(state(page)).to_have_text("cleared")


def test_a_refused_new_reading_is_named_in_the_summary(play: Play, windows: Windows):
    windows.watch.expect(422)
    case = play.at_check(unit())
    play.answer(play.flag(case), AnswerKind.RE_PREPARATION)
    page = windows.phone()
    sign_in(page, play.world.assistant)
    page.goto(f"/cases/{case.code}/records/")
    lingual = page.get_by_role("group", name="Lingual cusps maximal intercuspation")
    lingual.get_by_label("Slides freely").fill("1,5,0")
    press(page, "Send the new records")

    summary = page.locator("[data-errors]").first
    expect(summary).to_contain_text("36, Lingual cusps, maximal intercuspation: ")
    assert_tells(page)
