"""Ways out in words: one figure where the measured value left one."""

import html
import re

import pytest

from cases.forms.words import word
from cases.models import Check, Flag
from cases.services.checks import rule_set_for
from cases.tenancy import acting
from cases.views.ways import OptionRow, option_rows, order_sentence
from rules.terms import Kind
from tests.cases.views.conftest import Desk
from tests.play import reading, unit


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.4, 0.4, "Palatal cusps: 0.4 mm"),
        (0, 0.5, "Palatal cusps: 0.0 to 0.5 mm"),
    ],
)
def test_a_depth_is_one_figure_or_two(db: None, low: float, high: float, said: str):
    option = {
        "kind": "re_preparation",
        "feasible": True,
        "depth_mm": {"lingual_cusps": {"low": low, "high": high}},
    }
    (row,) = option_rows([option], rule_set=rule_set_for(""), tooth="16")

    assert row.depths == (said,)


def shown(**option) -> OptionRow:
    (row,) = option_rows(
        [{"feasible": True, **option}], rule_set=rule_set_for(""), tooth="16"
    )
    return row


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ({"kind": "re_measure", "removal_mm": 0.0}, "none"),
        ({"kind": "re_preparation", "removal_mm": 0.4}, "up to 0.4 mm"),
        (
            {"kind": "adjust_opposing", "removal_mm": 0.5},
            "up to 0.5 mm of the opposing tooth",
        ),
        (
            {"kind": "refer", "referral": "plane_correction", "removal_mm": 0.5},
            "up to 0.5 mm of the opposing tooth",
        ),
        ({"kind": "re_measure"}, ""),
    ],
)
def test_what_is_removed_is_a_figure(db: None, option: dict, said: str):
    assert shown(**option).removal == said


@pytest.mark.parametrize(
    ("option", "title"),
    [
        (
            {"kind": "refer", "referral": "crown_lengthening"},
            "Other treatment first: crown lengthening",
        ),
        (
            {"kind": "change_design", "abutment": True},
            "Change of design: lower or angled abutment",
        ),
        (
            {"kind": "change_design", "retention": "screw"},
            "Change of design: screw-retained",
        ),
        (
            {
                "kind": "change_design",
                "material": "zirconia_3y_layered",
                "occlusal_surface": "monolithic",
            },
            "Change of design: zirconia 3Y, layered, monolithic occlusal surface, "
            "facial layering only",
        ),
        ({"kind": "reduction_coping"}, "Reduction coping"),
    ],
)
def test_every_kind_has_its_title(db: None, option: dict, title: str):
    assert shown(**option).title == title


def test_the_order_of_the_core_is_kept_and_said(desk: Desk):
    case = desk.play.at_check(unit())
    page = desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    assert order_sentence() in page
    offered = page[page.index("options-table") : page.index("barred-fold")]
    titles = re.findall(r'<th scope="row">(.*?)</th>', offered)
    assert titles[0] == "Measure again or remount at the laboratory"
    assert titles.index(
        "Change of design: metal-ceramic, metal occlusal surface, "
        "conventional cementation"
    ) < titles.index("Change of material")
    assert titles.index("Change of material") < titles.index("Re-preparation")
    assert titles.index("Re-preparation") < titles.index("Adjust the opposing tooth")
    removed = re.findall(r'data-label="Removes"><b>(.*?)</b>', offered)
    assert removed[0] == "none"
    assert removed[-1].startswith("up to 0.5 mm")


def test_what_is_not_possible_stays_folded_with_its_reason(desk: Desk):
    case = desk.play.at_check(unit())
    page = desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    barred = page[page.index('<details class="disclose barred-fold">') :]
    barred = barred[: barred.index("</details>")]
    said = re.search(r"Not possible here: (\d+) ways, each with its reason", barred)
    assert said
    with acting(desk.personas.technician.actor):
        result = Check.objects.get(case=case).result
    options = result["units"][0]["options"]
    assert int(said[1]) == sum(not option["feasible"] for option in options)
    for option in options:
        for reason in () if option["feasible"] else option["reasons"]:
            assert reason in html.unescape(barred)


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_of_restoration_shows_its_ways(desk: Desk, kind: Kind):
    """Nothing the core computes is unknown to the answer page."""
    tooth = "15" if kind is Kind.VENEER else "36"
    rows = {
        Kind.VENEER: [reading("facial_surface", "", passes_mm="0.2", held_mm="0.3")],
        Kind.INLAY: [reading("central_fossa", passes_mm="0.3", held_mm="0.5")],
    }
    low = [
        reading(site, passes_mm="0.3", held_mm="0.5")
        for site in ("buccal_cusps", "lingual_cusps", "central_fossa")
    ]
    short = [{k: v for k, v in r.items() if v} for r in rows.get(kind, low)]
    made = {**unit(tooth=tooth, kind=kind.value, readings=short)}
    made["material"] = "lithium_disilicate"
    made.pop("occlusal_surface")
    flag = desk.play.flag(desk.play.at_check(made))
    page = desk.browser("clinician").get(f"/flags/{flag.code}/answer/")
    text = page.content.decode()
    assert page.status_code == 200
    with acting(desk.personas.clinician.actor):
        kinds = {option["kind"] for option in Flag.objects.get(pk=flag.pk).options}
    for one in kinds:
        assert word("answer", one) in html.unescape(text)
    checked = re.findall(r'<input type="radio" name="choice"[^>]*checked', text)
    assert checked == []
