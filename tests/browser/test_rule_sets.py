"""A laboratory's rule set in the browser: sums live, without script, by keyboard."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from cases.enums import Role
from cases.models import Organisation
from cases.services import rule_sets as services
from cases.tenancy import Actor, acting, tenant
from tests.browser.hands import press, sign_in
from tests.browser.windows import Windows
from tests.factories import actor_of, make_membership, make_user
from tests.play import AT, Play

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]

THICKNESS = "#id_groups-0-lines-0-thickness_mm"


def manager(play: Play) -> Actor:
    """Return a manager of the laboratory."""
    laboratory_id = play.world.technician.organisation_id
    with tenant(laboratory_id):
        laboratory = Organisation.objects.get(pk=laboratory_id)
    user = make_user("manager@example.org", "Manager", second_factor=False)
    return actor_of(make_membership(laboratory, user, Role.LAB_MANAGER))


def begun(actor: Actor) -> str:
    """Copy the set in force and add a product; return the address of its lines."""
    with acting(actor):
        made = services.draft_copy(
            actor=actor, digest="", name="Ours", label="1", at=AT
        )
        services.draft_material_save(
            actor=actor,
            code=made.code,
            version=None,
            material={
                "key": "norrel",
                "label": "Norrel",
                "under": "zirconia_3y",
                "instructions": "Instructions for use, edition 4 (invented)",
                "cementations": ["conventional"],
            },
            at=AT,
        )
    return f"/rule-sets/drafts/{made.code}/lines/norrel/"


@pytest.fixture
def lines(play: Play) -> Callable[[Page], str]:
    """Sign the manager in and open the lines of a new product."""
    actor = manager(play)

    def opened(page: Page) -> str:
        path = begun(actor)
        sign_in(page, actor)
        page.goto(path)
        return path

    return opened


def test_the_sum_is_shown_while_a_thickness_is_typed(
    lines: Callable[[Page], str], page: Page
):
    lines(page)

    page.locator(THICKNESS).press_sequentially("0,6")

    expect(page.locator("output").first).to_have_text("0.6 + 0.05 + 0.15 = 0.80")
    page.locator(THICKNESS).fill("a lot")
    page.keyboard.press("Tab")
    expect(page.locator("output").first).to_have_text("")


def test_the_table_is_typed_without_a_mouse(
    lines: Callable[[Page], str], windows: Windows
):
    windows.watch.expect(422)
    page = windows.desk()
    lines(page)
    page.locator(THICKNESS).focus()
    keys = page.keyboard
    keys.type("0.6")
    keys.press("Tab")  # the least, which follows from the thickness
    keys.press("Tab")
    keys.type("much")
    keys.press("Enter")  # sends the form

    summary = page.locator("[data-errors]")
    expect(summary).to_be_focused()
    expect(summary).to_contain_text("Say where this comes from")
    expect(page.locator(THICKNESS)).to_have_value("0.6")
    page.get_by_role("link", name="is no number here").focus()
    keys.press("Enter")
    target = page.locator("#id_groups-0-lines-0-target_mm")
    expect(target).to_be_focused()
    target.fill("1.0")
    keys.press("Tab")
    keys.press("Tab")
    keys.type("instructions for use, edition 4")
    keys.press("Enter")

    expect(page.locator(".messages")).to_contain_text("Lines stored.")
    expect(page.locator("output").first).to_have_text("0.6 + 0.05 + 0.15 = 0.80")


def test_without_script_lines_are_added_stored_and_removed(
    lines: Callable[[Page], str], windows: Windows
):
    page = windows.phone(script=False)
    lines(page)
    first = page.locator("tr.line").first
    first.get_by_label("Thickness of the wall").fill("0,6")
    first.get_by_label("Target").fill("1,0")
    first.get_by_label("Source", exact=False).first.fill("common practice, no source")
    press(page, "Add lines Crown, retainer")
    expect(page.locator("tr.line")).to_have_count(5)
    expect(page.locator(THICKNESS)).to_have_value("0,6")

    press(page, "Store the lines")
    expect(page.locator("tr.line")).to_have_count(1)
    expect(page.locator("output").first).to_have_text("0.6 + 0.05 + 0.15 = 0.80")
    page.locator("tr.line").get_by_label("Remove").check()
    press(page, "Store the lines")
    expect(page.locator(".messages")).to_contain_text("Lines stored.")
    expect(page.locator(THICKNESS)).to_have_value("")


def test_a_set_is_printed_open_with_its_figures(play: Play, page: Page):
    actor = manager(play)
    sign_in(page, actor)
    page.goto("/rule-sets/")
    page.get_by_role("link", name="Read", exact=True).click()
    line = page.get_by_text("0.5 + 0.05 + 0.15 = 0.70").first
    expect(line).not_to_be_visible()

    page.emulate_media(media="print")

    expect(line).to_be_visible()
    for pressed in (".btn", ".nav", ".rules-open"):
        assert page.locator(f"{pressed}:visible").count() == 0
