"""The fit on a phone in three taps; an adjustment, a remake, and both sides' views."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.hands import move, press, sign_in, state
from tests.browser.windows import PHONE, Windows
from tests.cases.services.remade import built_at_risk, delivered
from tests.permissions.states import dispatched
from tests.play import Play

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]


class Taps:
    """Taps what stands on the first screen, and counts."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.count = 0

    def tap(self, target: Locator) -> None:
        """Tap what is reached without scrolling."""
        box = target.bounding_box()
        assert box is not None
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= PHONE["height"]
        # At least what WCAG 2.2, success criterion 2.5.8, asks of a target: 24 px.
        assert min(box["height"], box["width"]) >= 24
        target.tap()
        self.count += 1


def test_fitted_as_delivered_takes_three_taps(play: Play, windows: Windows):
    case = dispatched(play)
    phone = windows.phone()
    sign_in(phone, play.world.assistant)
    taps = Taps(phone)
    taps.tap(phone.get_by_role("link", name=re.compile("^P-100")))
    taps.tap(phone.get_by_role("link", name="Report the fit"))
    taps.tap(phone.get_by_role("button", name="Fitted as delivered"))
    expect(state(phone)).to_have_text("fitted")
    assert taps.count == 3
    assert play.fresh(case).state == "fitted"


@pytest.mark.parametrize("script", [True, False])
def test_where_the_other_arch_was_adjusted_is_asked_when_ticked(
    play: Play, windows: Windows, script: bool
):
    case = dispatched(play)
    phone = windows.phone(script=script)
    sign_in(phone, play.world.assistant)
    phone.goto(f"/cases/{case.code}/")
    move(phone, "Report the fit")
    where = phone.get_by_role("group", name="Where, in the opposing arch")
    expect(where).to_be_hidden()
    phone.get_by_role("radio", name="Fitted", exact=True).check()
    phone.get_by_role("checkbox", name="Opposing tooth adjusted").check()
    expect(where).to_be_visible()
    expect(phone.locator("main")).to_contain_text("without the patient's consent")
    where.get_by_role("checkbox", name="26").check()
    phone.get_by_label("About how much").fill("0,2")
    phone.get_by_label("Minutes of adjusting").fill("6")
    press(phone, "Report the fit")
    expect(state(phone)).to_have_text("fitted")
    told = phone.get_by_role("region", name="Outcome")
    expect(told).to_contain_text("Opposing tooth adjusted: 26; by about 0.20 mm")


def test_a_remake_is_recorded_stated_and_corrected(play: Play, windows: Windows):
    case = delivered(play, built_at_risk(play))
    clinic, bench = windows.phone(), windows.desk()
    sign_in(clinic, play.world.dentist)
    clinic.goto(f"/cases/{case.code}/")
    move(clinic, "Open a remake")
    clinic.get_by_label("Cause").select_option(label="Perforation")
    clinic.get_by_label("Attribution, as the clinic").select_option(label="Shared")
    clinic.get_by_label("Cost in EUR").fill("90")
    press(clinic, "Open a remake")
    expect(clinic.locator("main")).to_contain_text("A new draft with the same")

    sign_in(bench, play.world.technician)
    bench.goto(f"/cases/{case.code}/")
    bench.get_by_role("region", name="Outcome").get_by_role(
        "link", name="Remake"
    ).click()
    main = bench.locator("main")
    expect(main).to_contain_text("drawn by the portal")
    expect(main).to_contain_text("Accept with documented risk")
    expect(bench.get_by_label("Cost in EUR")).to_have_value("")
    bench.get_by_label("The remake goes back to").select_option(label="Disputed")
    press(bench, "State for Laboratory L")
    expect(main).to_contain_text("Stated.")
    bench.get_by_text("This is wrong").click()
    bench.get_by_label("Why the remake does not go back to it").fill("Broken lower.")
    press(bench, "Withdraw this line")
    expect(main).to_contain_text("Withdrawn by Technician")

    clinic.goto(f"/cases/{case.code}/")
    expect(clinic.get_by_role("region", name="Outcome")).to_contain_text(
        "Clinic's view: Shared · laboratory's view: Disputed"
    )
