"""The table of a material: every fault at once, nothing lost, nothing half stored."""

from collections.abc import Mapping
from typing import Any

import pytest

from cases.forms.rule_set_lines import LinesEditor
from cases.services import rule_sets as services
from cases.tenancy import acting
from rules.loader import shipped_rule_set
from tests.cases.views.conftest import Desk
from tests.cases.views.managers import copied, fresh, proposed
from tests.cases.views.test_rule_sets import body, queries

MATERIAL = "zirconia_3y"


def needs(document: Mapping[str, Any], material: str = MATERIAL) -> list[Any]:
    return [need for need in document["needs"] if need["material"] == material]


def form_of(document: Mapping[str, Any], material: str = MATERIAL) -> dict[str, Any]:
    """Return the body a browser sends of the page as it comes."""
    editor = LinesEditor.stored(
        needs(document, material), decision=document["decision"]
    )
    found: dict[str, Any] = {}
    for section in editor.sections:
        for row in section.rows:
            for figure in row.figures:
                found |= {c.name: list(c.values) for c in figure.cells.values()}
            found |= {c.name: list(c.values) for c in row.cells.values()}
        found |= {c.name: list(c.values) for c in section.cells.values()}
    return {name: values for name, values in found.items() if values}


def path_of(draft: Any, material: str = MATERIAL) -> str:
    return f"/rule-sets/drafts/{draft.code}/lines/{material}/"


@pytest.mark.parametrize("material", [m.key for m in shipped_rule_set().materials])
def test_sent_as_it_came_it_changes_nothing(desk: Desk, material: str):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document, material)}

    answer = desk.browser("lab_manager").post(path_of(draft, material), sent)

    assert answer.status_code == 302
    after = fresh(desk, draft)
    assert after.digest == draft.digest
    assert after.version == draft.version + 1


def test_a_decimal_comma_is_a_decimal(desk: Desk):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document)}
    sent["groups-0-lines-0-thickness_mm"] = "0,6"

    answer = desk.browser("lab_manager").post(path_of(draft), sent, follow=True)

    assert answer.redirect_chain == [(path_of(draft), 302)]
    assert "0.6 + 0.05 + 0.15 = 0.80" in body(answer)
    assert needs(fresh(desk, draft).document)[0]["thickness_mm"] == "0.6"


def test_every_fault_is_said_at_once_where_it_stands(desk: Desk):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document)}
    row = "groups-0-lines-"
    sent |= {
        f"{row}0-thickness_mm": "zero",
        f"{row}1-source": "",
        f"{row}2-target_mm": "0,1",
        f"{row}3-min_mm": "",
        f"{row}4-min_mm": "1_5",
        f"{row}0-note": "typed and kept",
        "groups-1-kinds": [],
    }
    sent.pop(f"{row}1-source")

    answer = desk.browser("lab_manager").post(path_of(draft), sent)

    shown = body(answer)
    assert answer.status_code == 422
    assert "<title>Error:" in shown
    for said in (
        "“zero” is no number here",
        "Say where this comes from",
        "The target cannot be below the need.",
        "Enter either the least or the thickness",
        "“1_5” is no number here",
        "Tick at least one kind of restoration.",
    ):
        assert said in shown
    for cell in ("0-thickness_mm", "1-source", "2-target_mm", "3-min_mm", "4-min_mm"):
        assert f'href="#id_{row}{cell}"' in shown
    assert 'href="#id_groups-1-kinds"' in shown
    assert 'value="typed and kept"' in shown
    assert 'value="zero"' in shown
    assert shown.count('aria-invalid="true"') == 5
    assert fresh(desk, draft).version == draft.version


def test_two_lines_that_answer_the_same_are_named_in_words(desk: Desk):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document)}
    sent["groups-0-lines-1-site"] = "functional_cusp"

    shown = body(desk.browser("lab_manager").post(path_of(draft), sent))

    assert "This line and “Crown, retainer, Functional cusp” answer the same" in shown


def test_a_line_emptied_by_mistake_is_a_fault_but_a_blank_row_is_not(desk: Desk):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document)}
    sent |= {"groups-0-lines-90-site": "", "groups-0-lines-90-quantity": "clearance"}
    for key in ("min_mm", "target_mm", "max_mm", "source", "note"):
        sent.pop(f"groups-0-lines-3-{key}", None)
    refused = desk.browser("lab_manager").post(path_of(draft), sent)
    assert refused.status_code == 422
    assert "Enter the target in mm." in body(refused)

    sent["groups-0-lines-3-remove"] = "1"
    assert desk.browser("lab_manager").post(path_of(draft), sent).status_code == 302
    before, after = needs(draft.document), needs(fresh(desk, draft).document)
    assert after == [need for place, need in enumerate(before) if place != 3]


def test_rows_sections_and_figures_are_added_without_storing(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    sent = {"version": draft.version, **form_of(draft.document), "note": "x"}
    sent["groups-0-lines-0-target_mm"] = "not yet a number"

    lines = body(browser.post(path_of(draft), {**sent, "add": "line-0"}))
    assert 'name="groups-0-lines-14-site"' in lines
    assert 'value="not yet a number"' in lines
    section = body(browser.post(path_of(draft), {**sent, "add": "section"}))
    assert 'name="groups-3-lines-0-site"' in section
    figure = body(browser.post(path_of(draft), {**sent, "add": "figure-0-0"}))
    assert 'name="groups-0-lines-0-alternatives-1-min_mm"' in figure
    for strange in ("", "line-99", "figure-0", "figure-0-999", "line-x", "cake"):
        same = browser.post(path_of(draft), {**sent, "add": strange})
        assert same.status_code == 200
        assert 'name="groups-0-lines-14-site"' not in body(same)
    assert fresh(desk, draft).version == draft.version


def test_a_new_row_and_another_figure_are_stored(desk: Desk):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document)}
    row = "groups-0-lines-20"
    sent |= {
        f"{row}-site": "marginal_ridge",
        f"{row}-quantity": "clearance",
        f"{row}-min_mm": "0,9",
        f"{row}-target_mm": "1",
        f"{row}-source": "from memory, to be confirmed",
        f"{row}-positions": ["maximal_intercuspation", "protrusion"],
        f"{row}-alternatives-0-min_mm": "1,2",
        f"{row}-alternatives-0-source": "another textbook",
    }

    desk.browser("lab_manager").post(path_of(draft), sent)

    made = [
        n
        for n in needs(fresh(desk, draft).document)
        if n["site"] == "marginal_ridge" and "crown" in n["kinds"]
    ]
    assert made == [
        {
            "material": MATERIAL,
            "kinds": ["crown", "retainer"],
            "site": "marginal_ridge",
            "quantity": "clearance",
            "min_mm": "0.9",
            "target_mm": "1",
            "source": "from memory, to be confirmed",
            "positions": ["maximal_intercuspation", "protrusion"],
            "alternatives": [{"min_mm": "1.2", "source": "another textbook"}],
        }
    ]


def test_a_fault_of_another_figure_opens_where_it_is_folded(desk: Desk):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document)}
    sent["groups-0-lines-0-alternatives-0-min_mm"] = "thick"

    shown = body(desk.browser("lab_manager").post(path_of(draft), sent))

    assert 'href="#id_groups-0-lines-0-alternatives-0-min_mm"' in shown
    assert '<details class="disclose line-more" open>' in shown


def test_who_comes_late_keeps_everything_and_looks_first(desk: Desk):
    draft = copied(desk)
    actor = desk.personas.lab_manager.actor
    sent = {"version": draft.version, **form_of(draft.document)}
    sent["groups-0-lines-0-note"] = "mine"
    with acting(actor):
        services.draft_charges_save(
            actor=actor,
            code=draft.code,
            version=None,
            charges=[],
            at=draft.edited_at,
        )
    browser = desk.browser("lab_manager")

    late = browser.post(path_of(draft), sent)
    assert late.status_code == 412
    assert "Nothing was stored" in body(late)
    assert 'value="mine"' in body(late)
    assert f'name="version" value="{draft.version}"' in body(late)

    looked = browser.post(path_of(draft), {**sent, "look": "look"})
    assert looked.status_code == 200
    assert f'name="version" value="{draft.version + 1}"' in body(looked)
    assert 'value="mine"' in body(looked)
    sent["version"] = draft.version + 1
    assert browser.post(path_of(draft), sent).status_code == 302


def test_what_waits_for_approval_is_not_edited(desk: Desk):
    draft = copied(desk)
    sent = form_of(draft.document)
    now = proposed(desk, draft)
    browser = desk.browser("lab_manager")

    assert browser.get(path_of(draft)).status_code == 409
    answer = browser.post(path_of(draft), {"version": now.version, **sent})
    assert answer.status_code == 409
    assert "waits for approval" in body(answer)
    assert 'name="look"' not in body(answer)
    assert fresh(desk, draft).digest == draft.digest


@pytest.mark.parametrize("version", ["", "x", "-1", "9" * 30, "１"])
def test_a_tampered_version_stores_nothing(desk: Desk, version: str):
    draft = copied(desk)
    sent = {**form_of(draft.document), "version": version}

    answer = desk.browser("lab_manager").post(path_of(draft), sent)

    assert answer.status_code == 412
    assert fresh(desk, draft).version == draft.version


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("groups-0-lines-0-site", "nose"),
        ("groups-0-lines-0-quantity", "thickness"),
        ("groups-0-cementation", "glue"),
        ("groups-0-kinds", ["crown", "crown"]),
        ("groups-0-lines-0-source", "a\x00b"),
        ("groups-0-lines-0-note", "turned \u202e round"),
        ("groups-0-lines-0-positions", ["open"]),
        ("groups-0-lines-0-target_mm", "-1"),
        ("groups-0-lines-0-target_mm", "1,500"),
        ("groups-0-lines-0-target_mm", "１.５"),
    ],
)
def test_hostile_values_are_refused_in_words(desk: Desk, field: str, value: Any):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document), field: value}

    answer = desk.browser("lab_manager").post(path_of(draft), sent)

    assert answer.status_code == 422
    assert "There is a problem" in body(answer)
    assert fresh(desk, draft).version == draft.version


def test_markup_in_a_line_stays_text(desk: Desk):
    draft = copied(desk)
    sent = {"version": draft.version, **form_of(draft.document)}
    sent["groups-0-lines-0-note"] = "<script>alert(1)</script>"

    shown = body(desk.browser("lab_manager").post(path_of(draft), sent, follow=True))

    assert "<script>alert" not in shown
    assert "&lt;script&gt;alert" in shown


def test_no_such_material_is_not_found(desk: Desk):
    draft = copied(desk)
    for key in ("gold", "zirconia_3y/x", "..%2f"):
        path = path_of(draft, key)
        assert desk.browser("lab_manager").get(path).status_code == 404


def test_a_long_table_asks_no_more_of_the_database(desk: Desk):
    draft = copied(desk)
    short = queries(desk, "lab_manager", path_of(draft, "pmma_provisional"))

    assert queries(desk, "lab_manager", path_of(draft, "lithium_disilicate")) == short


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("0.6", "0.6 + 0.05 + 0.15 = 0.80"),
        ("0,55", "0.55 + 0.05 + 0.15 = 0.75"),
        ("0.6123", "0.6123 + 0.05 + 0.15 = 0.8123"),
        ("", ""),
        ("much", ""),
        ("-1", ""),
    ],
)
def test_the_sum_of_a_thickness_is_the_servers(desk: Desk, typed: str, said: str):
    draft = copied(desk)

    answer = desk.browser("lab_manager").get(
        f"/rule-sets/drafts/{draft.code}/sum/",
        {"groups-0-lines-0-thickness_mm": typed},
    )

    assert answer["Content-Type"] == "text/plain; charset=utf-8"
    assert body(answer) == said
