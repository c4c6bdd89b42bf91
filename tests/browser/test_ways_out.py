"""Other ways out of a short site: another material, and a documented risk."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from cases.models import Case
from tests.browser.hands import move, press, sign, sign_in, state
from tests.browser.windows import Windows
from tests.play import Play, unit

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]


@pytest.fixture
def asked(play: Play) -> Case:
    """A case on hold: lingually short, the query is out."""
    case = play.at_check(unit())
    play.flag(case)
    return play.fresh(case)


def open_as(page: Page, actor, case: Case) -> None:
    """Sign in and open the case."""
    sign_in(page, actor)
    page.goto(f"/cases/{case.code}/")


def way(page: Page, words: str) -> Locator:
    """Return the way out whose title begins so."""
    return page.get_by_role("radio", name=re.compile(f"^{words}", re.IGNORECASE))


def choose(page: Page, words: str) -> None:
    """Choose a way out and look at what will be signed."""
    way(page, words).check()
    press(page, "Look at what you sign")


def clear_and_release(page: Page) -> None:
    """The technician clears and releases."""
    page.reload()
    move(page, "Clear for fabrication")
    press(page, "Clear for fabrication")
    move(page, "Release the work order")
    press(page, "Release the work order")
    expect(state(page)).to_have_text("in fabrication")


def test_another_material_is_a_new_revision_and_fits(
    play: Play, asked: Case, windows: Windows
):
    clinic, bench = windows.desk(), windows.desk()
    open_as(clinic, play.world.dentist, asked)
    move(clinic, "Answer the query")
    choose(clinic, "Zirconia 3Y, conventional")
    expect(clinic.locator("main")).to_contain_text("Prescription, revision 2")
    after = clinic.get_by_role("complementary", name="After the change")
    expect(after).to_contain_text("sufficient")
    sign(clinic, "Sign the answer")
    expect(state(clinic)).to_have_text("at check")

    open_as(bench, play.world.technician, asked)
    expect(bench.locator(".page-head")).to_contain_text("sufficient")
    expect(bench.locator("main")).to_contain_text("Zirconia 3Y")
    clear_and_release(bench)


def test_a_risk_waits_for_the_responsible_technician(
    play: Play, asked: Case, windows: Windows
):
    clinic, bench = windows.desk(), windows.phone()
    windows.watch.expect(422)
    open_as(clinic, play.world.dentist, asked)
    move(clinic, "Answer the query")
    choose(clinic, "Accept with documented risk")
    expect(clinic.locator("[data-errors]")).to_be_focused()
    assert clinic.title().startswith("Error: ")
    expect(way(clinic, "Accept with documented risk")).to_be_checked()

    clinic.get_by_label(re.compile("^Grounds")).fill("The pulp is near.")
    clinic.get_by_label("The patient was informed and consented").check()
    press(clinic, "Look at what you sign")
    sign(clinic, "Sign the answer")
    expect(state(clinic)).to_have_text("on hold")

    open_as(bench, play.world.technician, asked)
    expect(bench.get_by_role("link", name="Countersign")).to_have_count(0)
    bench.context.clear_cookies()
    open_as(bench, play.world.responsible, asked)
    move(bench, "Countersign")
    expect(bench.locator("main")).to_contain_text("The pulp is near.")
    sign(bench, "Countersign")
    expect(state(bench)).to_have_text("at check")
    clear_and_release(bench)
    expect(bench.locator("main")).to_contain_text("Accept with documented risk")
