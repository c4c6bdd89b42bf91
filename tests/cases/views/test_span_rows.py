"""Bridges on the pages: teeth in arch order, pontics, connectors, limits, bending."""

import pytest

from cases.services.checks import rule_set_for
from cases.views.verdicts import judged
from tests.cases.views.conftest import Desk
from tests.play import reading, unit

ROWS = [
    reading("buccal_cusps", passes_mm="2.0"),
    reading("lingual_cusps", passes_mm="1.0", held_mm="1.5"),
    reading("central_fossa", passes_mm="1.5"),
]


def member(tooth: str, kind: str, material: str = "lithium_disilicate") -> dict:
    return {
        **unit(readings=ROWS),
        "tooth": tooth,
        "kind": kind,
        "material": material,
        "span": "1",
    } | {"occlusal_surface": None}


def bridge(*kinds: tuple[str, str], **more) -> list[dict]:
    found = [member(tooth, kind, **more) for tooth, kind in kinds]
    for one in found:
        one.pop("occlusal_surface")
    return found


FOUR = (("37", "retainer"), ("34", "retainer"), ("35", "pontic"), ("36", "pontic"))


def rows(units, connectors=(), system="iso3950"):
    return judged(
        units, rule_set=rule_set_for(""), system=system, connectors=connectors
    ).spans


def test_teeth_stand_in_arch_order_with_their_kinds(db: None):
    (row,) = rows(bridge(*FOUR))
    assert row.title == "Bridge 34–35–36–37"
    assert [(link.number, link.kind, link.hangs) for link in row.links] == [
        ("34", "retainer", False),
        ("35", "pontic", True),
        ("36", "pontic", True),
        ("37", "retainer", False),
    ]


def test_a_bridge_over_the_midline_reads_as_the_arch(db: None):
    rows_of_four = (("21", "pontic"), ("12", "retainer"), ("22", "retainer"))
    units = bridge(("11", "pontic"), *rows_of_four)
    for one in units:
        one["readings"] = []
    (row,) = rows(units, system="universal")
    assert row.title == "Bridge 7–8–9–10"


def test_limits_and_bending_are_said(db: None):
    (row,) = rows(bridge(*FOUR))
    assert any("class 5" in fault for fault in row.faults)
    assert ("Longest run", "2 pontics in a row") in row.facts
    # trade.md 4.4: two pontics bend 2^3 = 8 times as much as one.
    assert any("bend 8 times as much" in note for note in row.notes)


def test_a_planned_connector_stands_between_its_teeth(db: None):
    planned = [{"between": ["35", "34"], "height_mm": "4,0", "width_mm": 3}]
    (row,) = rows(bridge(*FOUR), planned)
    # Rectangle 4 x 3 = 12, ellipse pi / 4 of it = 9.42.
    assert row.links[0].connector == "4.0 × 3.0 mm, 9.42 to 12.0 mm²"
    assert [link.connector for link in row.links[1:]] == ["", "", ""]


@pytest.fixture
def case(desk: Desk):
    return desk.play.at_check(*bridge(*FOUR))


def test_case_flag_and_answer_page_show_the_bridge(desk: Desk, case):
    lab = desk.browser("technician")
    for url in (f"/cases/{case.code}/", f"/cases/{case.code}/flag/"):
        page = lab.get(url).content.decode()
        assert "Bridge 34–35–36–37" in page
        assert page.count('class="span-pontic"') == 2
        assert "bend 8 times as much" in page
    flag = desk.play.flag(case)
    answer = desk.browser("clinician").get(f"/flags/{flag.code}/answer/")
    assert "Bridge 34–35–36–37" in answer.content.decode()


def test_a_crown_alone_is_no_bridge(desk: Desk):
    case = desk.play.at_check(unit())
    page = desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    assert "span-panel" not in page


def enough(tooth: str, kind: str) -> dict:
    rows = [
        reading(site, passes_mm="7.0")
        for site in ("buccal_cusps", "lingual_cusps", "central_fossa")
    ]
    return {**member(tooth, kind), "readings": rows, "occlusal_surface": ""}


def test_limits_of_a_bridge_with_room_everywhere_are_said_before_it_is_built(
    desk: Desk,
):
    units = [enough(tooth, kind) for tooth, kind in FOUR]
    for one in units:
        del one["occlusal_surface"]
    case = desk.play.at_check(*units)
    lab = desk.browser("technician")
    assert desk.fresh(case).verdict == "sufficient"
    for step in ("flag", "clear"):
        page = lab.get(f"/cases/{case.code}/{step}/").content.decode()
        assert "span-faults" in page
        assert "class 5" in page
    asked = lab.get(f"/cases/{case.code}/flag/").context["form"].initial["text"]
    assert asked.startswith("Bridge 34–35–36–37:")
    desk.play.clear(case)
    page = lab.get(f"/cases/{case.code}/release/").content.decode()
    assert "span-faults" in page
