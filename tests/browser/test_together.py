"""Two people at the same case: one wins, the other loses no text."""

import pytest
from playwright.sync_api import expect

from tests.browser.hands import move, press, reading, sign_in, state
from tests.browser.windows import Windows
from tests.play import Play, sufficient_unit, unit

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]
TYPED = "Please look at the distal margin as well."


def test_a_query_typed_while_a_colleague_acted(play: Play, windows: Windows):
    windows.watch.expect(409, 412)
    case = play.at_check(unit())
    mine, theirs = windows.desk(), windows.desk()
    sign_in(mine, play.world.technician)
    sign_in(theirs, play.world.responsible)
    for page in (mine, theirs):
        page.goto(f"/cases/{case.code}/")
        move(page, "Raise a query")

    question = mine.get_by_label("Question to the clinician")
    question.fill(TYPED)
    press(theirs, "Raise a query")
    expect(state(theirs)).to_have_text("on hold")
    press(mine, "Raise a query")

    summary = mine.locator("[data-errors]")
    expect(summary).to_be_focused()
    expect(summary).to_contain_text("Nothing was stored")
    expect(summary).to_contain_text("on hold")
    expect(summary).to_contain_text("Query raised")
    expect(question).to_have_value(TYPED)

    press(mine, "I have looked: use the present state")
    expect(question).to_have_value(TYPED)
    press(mine, "Raise a query")
    expect(mine.locator("main")).to_contain_text(TYPED)


def test_a_step_that_is_gone_keeps_the_words(play: Play, windows: Windows):
    windows.watch.expect(409, 412)
    case = play.at_check(sufficient_unit())
    play.clear(case)
    play.release(case)
    mine, theirs = windows.desk(), windows.desk()
    sign_in(mine, play.world.technician)
    sign_in(theirs, play.world.responsible)
    for page in (mine, theirs):
        page.goto(f"/cases/{case.code}/")
    move(mine, "Send for try-in")
    mine.get_by_label("Note").fill(TYPED)
    move(theirs, "Dispatch")
    press(theirs, "Dispatch")
    expect(state(theirs)).to_have_text("dispatched")
    press(mine, "Send for try-in")

    expect(mine.locator("[data-errors]")).to_contain_text("dispatched")
    expect(mine.get_by_label("Note")).to_have_value(TYPED)


def test_a_draft_says_what_a_colleague_changed(play: Play, windows: Windows):
    windows.watch.expect(409)
    case = play.draft(unit())
    mine, theirs = windows.desk(), windows.desk()
    sign_in(mine, play.world.assistant)
    sign_in(theirs, play.world.dentist)
    for page in (mine, theirs):
        page.goto(f"/cases/{case.code}/edit/")

    lingual = reading(theirs, "Lingual cusps")
    lingual.get_by_label("Is held").fill("2")
    lingual.get_by_label("Is held").blur()
    expect(theirs.locator("#draft-state")).to_contain_text("Saved")
    notes = mine.get_by_label("Notes to the laboratory")
    notes.fill(TYPED)
    notes.blur()

    changed = mine.locator("#draft-state")
    expect(changed).to_contain_text("A colleague saved this draft meanwhile")
    expect(changed).to_contain_text("1 mm slides freely, 2 mm is held")
    expect(notes).to_have_value(TYPED)
    press(mine, "Save mine over it")
    expect(mine.locator("#draft-state")).to_contain_text("Saved")
    expect(notes).to_have_value(TYPED)
