"""Editing a draft: every fault with its place, nothing with a fault is kept."""

from decimal import Decimal

import pytest

from cases.errors import Invalid, NotFound
from cases.models import RuleSetDraft
from cases.selectors.rule_sets import draft_rule_set
from cases.services import rule_sets
from cases.tenancy import Actor, acting
from rules.loader import shipped_rule_set
from rules.parse import LARGEST_TOML
from rules.toml_text import to_toml
from tests.cases.services.test_rule_sets import act, copied, first, fresh, second
from tests.play import AT

__all__ = ["first", "second"]


@pytest.fixture
def draft(first: Actor) -> RuleSetDraft:
    return copied(first)


def lines_of(draft: RuleSetDraft, material: str) -> list[dict]:
    return [n for n in draft.document["needs"] if n["material"] == material]


def pointers(error: Invalid) -> list[str]:
    return [fault.pointer for fault in error.fields]


def refused(who: Actor, draft: RuleSetDraft, command, **values) -> Invalid:
    with pytest.raises(Invalid) as caught:
        act(who, command, draft.code, draft.version, **values)
    kept = fresh(who, draft)
    assert (kept.document, kept.digest, kept.version) == (
        draft.document,
        draft.digest,
        draft.version,
    )
    return caught.value


PRODUCT = {
    "key": "own_zirconia",
    "label": "Own zirconia",
    "under": "zirconia_3y",
    "cementations": ["conventional"],
    "instructions": "Instructions for use, edition 2 (invented)",
}


def test_lines_of_one_material_are_replaced_where_they_stood(
    first: Actor, draft: RuleSetDraft
):
    lines = lines_of(draft, "zirconia_3y")
    lines[0] = {**lines[0], "note": "Ours."}
    saved = act(
        first,
        rule_sets.draft_lines_save,
        draft.code,
        1,
        material="zirconia_3y",
        lines=lines,
    )
    assert saved.version == 2
    kept = fresh(first, draft)
    assert lines_of(kept, "zirconia_3y") == lines
    others = [n for n in draft.document["needs"] if n["material"] != "zirconia_3y"]
    assert [
        n for n in kept.document["needs"] if n["material"] != "zirconia_3y"
    ] == others
    places = [
        [n["material"] for n in row.document["needs"]].index("zirconia_3y")
        for row in (draft, kept)
    ]
    assert places[0] == places[1]
    assert kept.digest == draft_rule_set(kept).digest != draft.digest


def test_saving_what_stands_there_keeps_the_digest(first: Actor, draft: RuleSetDraft):
    act(
        first,
        rule_sets.draft_lines_save,
        draft.code,
        material="zirconia_3y",
        lines=lines_of(draft, "zirconia_3y"),
    )
    assert fresh(first, draft).digest == draft.digest


@pytest.mark.parametrize("change", [-1, 0, 2])
def test_fewer_or_more_lines_keep_the_order_of_all_others(
    first: Actor, draft: RuleSetDraft, change: int
):
    kind = {"kinds": ["pontic"], "site": "central_fossa", "quantity": "clearance"}
    figures = {"min_mm": "1", "target_mm": "1", "source": "common practice, no source"}
    more = [
        {**kind, **figures, "material": "feldspathic", "classes": [each]}
        for each in ("molar", "premolar")
    ]
    old = lines_of(draft, "feldspathic")
    lines = old[:change] if change < 0 else [*old, *more[:change]]
    act(
        first,
        rule_sets.draft_lines_save,
        draft.code,
        material="feldspathic",
        lines=lines,
    )
    kept = fresh(first, draft)
    assert lines_of(kept, "feldspathic") == lines
    assert [n for n in kept.document["needs"] if n["material"] != "feldspathic"] == [
        n for n in draft.document["needs"] if n["material"] != "feldspathic"
    ]


def test_a_change_that_breaks_other_lines_names_them(first: Actor, draft: RuleSetDraft):
    error = refused(
        first,
        draft,
        rule_sets.draft_settings_save,
        name="Ours",
        label="3",
        decision={**draft.document["decision"], "cement_space_mm": "1"},
        methods=draft.document["methods"],
    )
    built = [
        f"/needs/{i}/target_mm"
        for i, need in enumerate(draft.document["needs"])
        if "thickness_mm" in need
    ]
    assert set(pointers(error)) <= set(built)
    assert pointers(error)


def test_every_fault_of_the_lines_is_named_by_its_row(
    first: Actor, draft: RuleSetDraft
):
    line = {
        "kinds": ["crown"],
        "site": "central_fossa",
        "quantity": "clearance",
        "min_mm": "1.5",
        "target_mm": "1.5",
        "source": "common practice, no source",
    }
    error = refused(
        first,
        draft,
        rule_sets.draft_lines_save,
        material="pmma_provisional",
        lines=[
            line,
            {**line, "site": "moon"},
            {**line, "min_mm": "-1"},
            {**line, "min_mm": "2"},
            {key: value for key, value in line.items() if key != "source"},
            line,
            "no line",
        ],
    )
    assert pointers(error) == [
        "/lines/1/site",
        "/lines/2/min_mm",
        "/lines/3/target_mm",
        "/lines/4/source",
        "/lines/6",
        "/lines/5",
    ]
    rival = next(f for f in error.fields if f.pointer == "/lines/5")
    assert dict(rival.params) == {"other": "/lines/0"}


def test_a_line_equal_to_one_of_another_material_concerns_that_one_alone(
    first: Actor, draft: RuleSetDraft
):
    lines = lines_of(draft, "zirconia_4y")
    error = refused(
        first,
        draft,
        rule_sets.draft_lines_save,
        material="zirconia_4y",
        lines=[*lines, lines[0]],
    )
    assert pointers(error) == [f"/lines/{len(lines)}"]
    assert dict(error.fields[0].params) == {"other": "/lines/0"}


def test_more_lines_than_any_set_has_are_refused_at_once(
    first: Actor, draft: RuleSetDraft
):
    error = refused(
        first,
        draft,
        rule_sets.draft_lines_save,
        material="zirconia_4y",
        lines=[{}] * 5001,
    )
    assert pointers(error) == ["/lines"]


def test_lines_of_a_material_that_is_not_there_are_not_found(
    first: Actor, draft: RuleSetDraft
):
    with pytest.raises(NotFound):
        act(
            first,
            rule_sets.draft_lines_save,
            draft.code,
            material="unobtainium",
            lines=[],
        )


def test_settings_change_name_label_guard_and_uncertainty(
    first: Actor, draft: RuleSetDraft
):
    methods = [{**row, "u_mm": "0.12"} for row in draft.document["methods"]]
    act(
        first,
        rule_sets.draft_settings_save,
        draft.code,
        name="Ours",
        label="3",
        decision={**draft.document["decision"], "k": "0", "cement_space_mm": "0"},
        methods=methods,
    )
    kept = fresh(first, draft)
    found = draft_rule_set(kept)
    assert (kept.name, kept.label, found.k) == ("Ours", "3", Decimal(0))
    assert set(found.u_by_method.values()) == {Decimal("0.12")}
    # A need built from a thickness follows the allowance: 0.5 + 0 + 0.15.
    built = next(n for n in found.needs if n.thickness_mm == Decimal("0.5"))
    assert built.min_mm == Decimal("0.65")


def test_every_fault_of_the_settings_is_named(first: Actor, draft: RuleSetDraft):
    methods = [dict(row) for row in draft.document["methods"]]
    methods[0]["u_mm"] = "0"
    error = refused(
        first,
        draft,
        rule_sets.draft_settings_save,
        name=" ",
        label="x" * 41,
        decision={**draft.document["decision"], "k": "6"},
        methods=methods,
    )
    assert sorted(pointers(error)) == sorted(
        ["/name", "/label", "/decision/k", "/methods/0/u_mm", "/methods"]
    )


def test_a_product_takes_the_lines_of_its_class_and_is_changed_and_removed(
    first: Actor, draft: RuleSetDraft
):
    act(first, rule_sets.draft_material_save, draft.code, material=PRODUCT)
    kept = draft_rule_set(fresh(first, draft))
    assert kept.class_of("own_zirconia") == "zirconia_3y"
    assert len(kept.materials) == len(shipped_rule_set().materials) + 1
    act(
        first,
        rule_sets.draft_material_save,
        draft.code,
        material={**PRODUCT, "label": "Own zirconia 2"},
    )
    kept = draft_rule_set(fresh(first, draft))
    assert len(kept.materials) == len(shipped_rule_set().materials) + 1
    assert kept.materials[-1].label == "Own zirconia 2"
    own = {
        "kinds": ["crown"],
        "site": "central_fossa",
        "quantity": "clearance",
        "thickness_mm": "0.6",
        "target_mm": "1",
        "source": "Instructions for use, edition 2 (invented)",
    }
    charge = {"material": "own_zirconia", "days": 3, "charge": "New framework"}
    act(
        first,
        rule_sets.draft_lines_save,
        draft.code,
        material="own_zirconia",
        lines=[own],
    )
    charges = [*draft.document.get("charges", []), charge]
    act(first, rule_sets.draft_charges_save, draft.code, charges=charges)
    removed = act(
        first, rule_sets.draft_material_remove, draft.code, material="own_zirconia"
    )
    # An empty list of charges is left out of the canonical form.
    assert removed.digest == draft.digest
    with pytest.raises(NotFound):
        act(first, rule_sets.draft_material_remove, draft.code, material="own_zirconia")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"under": "own_zirconia"}, "/material/under"),
        ({"under": "unobtainium"}, "/material/under"),
        ({"label": ""}, "/material/label"),
        ({"cementations": ["glue"]}, "/material/cementations/0"),
        ({"colour": "A2"}, "/material/colour"),
        ({"iso_6872_class": "9"}, "/material/iso_6872_class"),
    ],
)
def test_a_product_that_cannot_be_is_named(
    first: Actor, draft: RuleSetDraft, change: dict, pointer: str
):
    error = refused(
        first,
        draft,
        rule_sets.draft_material_save,
        material={**PRODUCT, **change},
    )
    assert pointer in pointers(error)


def test_a_class_with_products_under_it_is_not_removed(
    first: Actor, draft: RuleSetDraft
):
    saved = act(first, rule_sets.draft_material_save, draft.code, material=PRODUCT)
    error = refused(
        first, saved, rule_sets.draft_material_remove, material="zirconia_3y"
    )
    assert [p for p in pointers(error) if p.endswith("/under")]


def test_a_material_whose_lines_no_longer_fit_names_the_lines(
    first: Actor, draft: RuleSetDraft
):
    row = next(
        m for m in draft.document["materials"] if m["key"] == "lithium_disilicate"
    )
    needs = draft.document["needs"]
    fitting = [
        i
        for i, need in enumerate(needs)
        if need["material"] == "lithium_disilicate"
        and need.get("cementation") == "conventional"
    ]
    assert fitting
    error = refused(
        first,
        draft,
        rule_sets.draft_material_save,
        material={**row, "cementations": ["adhesive"]},
    )
    assert pointers(error) == [f"/needs/{i}/cementation" for i in fitting]


def test_span_limits_are_replaced_and_refused_by_row(first: Actor, draft: RuleSetDraft):
    limit = {
        "material": "zirconia_3y",
        "region": "posterior",
        "units_from": "3",
        "units_to": "4",
        "connector_mm2": "9",
        "source": "Instructions for use (invented)",
    }
    act(first, rule_sets.draft_span_limits_save, draft.code, span_limits=[limit])
    kept = draft_rule_set(fresh(first, draft))
    assert [line.connector_mm2 for line in kept.span_limits] == [Decimal(9)]
    error = refused(
        first,
        fresh(first, draft),
        rule_sets.draft_span_limits_save,
        span_limits=[limit, {**limit, "material": "x"}],
    )
    assert pointers(error) == ["/span_limits/1/material"]


def test_an_export_is_imported_with_the_same_digest(first: Actor, draft: RuleSetDraft):
    text = to_toml(draft_rule_set(draft))
    with acting(first):
        for document in (text, text.encode(), b"\xef\xbb\xbf" + text.encode()):
            again = rule_sets.draft_import(actor=first, document=document, at=AT)
            assert (again.digest, again.document) == (draft.digest, draft.document)


def test_every_fault_of_an_import_has_its_line(first: Actor):
    text = to_toml(shipped_rule_set())
    rows = text.split("\n")
    wrong = [i for i, row in enumerate(rows) if "target_mm = " in row][:2]
    for i in wrong:
        rows[i] = rows[i].replace("target_mm = ", "target_mm = -")
    with acting(first), pytest.raises(Invalid) as caught:
        rule_sets.draft_import(actor=first, document="\n".join(rows), at=AT)
    found = caught.value.fields
    assert [dict(f.params)["line"] for f in found] == [str(i + 1) for i in wrong]
    assert all(f.text().startswith(f"Line {dict(f.params)['line']}: ") for f in found)
    with acting(first):
        assert RuleSetDraft.objects.count() == 0


@pytest.mark.parametrize(
    ("document", "words"),
    [
        (b"", "missing"),
        (b"name = ", "not TOML"),
        (b'name = "x"\n\xff', "Line 2: This text is not UTF-8"),
        (b"\xff" * (LARGEST_TOML + 1), "larger than 1 MB"),
        ("# " + "x" * 10_000_000, "larger than 1 MB"),
    ],
)
def test_a_text_that_is_no_rule_set_is_refused(first: Actor, document, words: str):
    with acting(first), pytest.raises(Invalid) as caught:
        rule_sets.draft_import(actor=first, document=document, at=AT)
    assert words in caught.value.text()
    with acting(first):
        assert RuleSetDraft.objects.count() == 0


def test_the_last_editor_is_kept(first: Actor, second: Actor, draft: RuleSetDraft):
    act(second, rule_sets.draft_charges_save, draft.code, charges=[])
    kept = fresh(first, draft)
    assert (kept.created_by_name, kept.edited_by_name) == ("First", "Second")


def test_a_fault_elsewhere_in_the_document_keeps_its_place(
    first: Actor, draft: RuleSetDraft
):
    # As a later version of the rule core may find in what an earlier one accepted.
    document = {**draft.document, "positions": "none"}
    with acting(first):
        RuleSetDraft.objects.filter(pk=draft.pk).update(document=document)
    with pytest.raises(Invalid) as caught:
        act(
            first,
            rule_sets.draft_lines_save,
            draft.code,
            material="feldspathic",
            lines=lines_of(draft, "feldspathic"),
        )
    assert pointers(caught.value) == ["/positions"]
