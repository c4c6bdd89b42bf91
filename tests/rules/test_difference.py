"""The difference between two rule sets: told in words, and whose verdicts it touches."""

import json
from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given, settings

from rules.difference import Scope, changed_lines, differences
from rules.parse import parse_rule_set, parse_toml
from rules.terms import Kind
from rules.toml_text import to_toml
from tests.rules.builders import SHIPPED
from tests.rules.rule_sets import rule_sets
from tests.rules.test_rule_set_lines import FULL, full, product

ALLOY, MINE = "Alloy", "Mine"


def told(change, data=None):
    """Return the sentences for a change of the full little set."""
    values = data or full()
    change(values)
    return [m.text() for m in differences(FULL, parse_rule_set(values))]


def scope(change):
    values = full()
    change(values)
    return changed_lines(FULL, parse_rule_set(values))


def pairs(*materials, kinds=(Kind.CROWN,)):
    return Scope(False, frozenset((m, k) for m in materials for k in kinds))


def test_equal_sets_have_no_difference():
    for rule_set in (SHIPPED, FULL):
        assert differences(rule_set, rule_set) == ()
        assert changed_lines(rule_set, rule_set) == Scope(False)
    renamed = replace(SHIPPED, name="Ours", version="8")
    assert differences(SHIPPED, renamed) == ()


def test_groups_and_order_say_nothing():
    text = to_toml(SHIPPED)
    assert differences(SHIPPED, parse_toml(text)) == ()
    turned = replace(SHIPPED, needs=SHIPPED.needs[::-1], methods=SHIPPED.methods[::-1])
    assert differences(SHIPPED, turned) == ()
    assert changed_lines(SHIPPED, turned) == Scope(False)


def test_a_line_split_by_kinds_says_nothing():
    (line, *_rest) = SHIPPED.needs
    assert len(line.kinds) == 2
    split = [replace(line, kinds=(kind,)) for kind in line.kinds]
    apart = replace(SHIPPED, needs=(*SHIPPED.needs[1:], *split))
    assert differences(SHIPPED, apart) == ()


def line(index=0, **keys):
    return lambda data: data["needs"][index].update(keys)


@pytest.mark.parametrize(
    ("change", "sentences"),
    [
        (
            line(min_mm="0.9"),
            ["Alloy, crown, central fossa: the need is 0.9 mm clearance instead of "
             "1.0 mm."],
        ),
        (
            line(target_mm="1.25"),
            ["Alloy, crown, central fossa: the target is 1.25 mm clearance instead of "
             "1.2 mm."],
        ),
        (
            line(max_mm=3),
            ["Alloy, crown, central fossa: the most is 3.0 mm clearance instead of "
             "2.0 mm."],
        ),
        (
            line(source="another"),
            ["Alloy, crown, central fossa: the source is “another” instead of “test”."],
        ),
        (
            line(note="b"),
            ["Alloy, crown, central fossa: the note is “b” instead of “a note”."],
        ),
        (
            lambda d: d["needs"][0].pop("note"),
            ["Alloy, crown, central fossa: the note “a note” is gone."],
        ),
        (
            line(positions=["protrusion"]),
            ["Alloy, crown, central fossa: positions of its own: protrusion; before: "
             "none."],
        ),
        (
            line(1, alternatives=[]),
            ["Mine, crown, central fossa: other figures recorded: none; before: 0.0 mm "
             "(a text; no wall)."],
        ),
        (
            lambda d: d["needs"].pop(),
            ["Mine, crown, central fossa: the need of 1.4 mm clearance is gone."],
        ),
        (
            lambda d: d["needs"].append(
                d["needs"][0] | {"kinds": ["onlay", "inlay"], "min_mm": 1}
            ),
            ["Alloy, inlay, onlay, central fossa: new need of 1.0 mm clearance, target "
             "1.2 mm. Source: test."],
        ),
        (
            lambda d: d["decision"].update(k=1),
            ["The guard factor k is 1.0 instead of 0.0: it widens the zone in which a "
             "point reading decides nothing."],
        ),
        (
            lambda d: d["decision"].update(strip_delta_mm=0),
            ["Strips are taken to be off by 0.0 mm instead of 0.05 mm."],
        ),
        (
            lambda d: d["methods"][4].update(u_mm="0.0525"),
            ["scan: the standard uncertainty is 0.0525 mm instead of 0.1 mm."],
        ),
        (
            lambda d: d["methods"][4].update(source="own study"),
            ["scan, source: own study; before: test."],
        ),
        (
            lambda d: d["materials"].append(product(key="new", label="New")),
            ["New material: New."],
        ),
        (
            lambda d: d["materials"].append(
                product(key="new", label="New", under="alloy")
            ),
            ["New product: New, under Alloy."],
        ),
        (
            lambda d: d["materials"][1].update(iso_6872_class=4),
            ["Mine, ISO 6872 class: 4; before: 3."],
        ),
        (
            lambda d: d["materials"][1].pop("under"),
            ["Mine, class it stands under: none; before: Alloy."],
        ),
        (
            lambda d: d["materials"][0].update(
                cementations=["adhesive", "conventional"]
            ),
            ["Alloy, cementations, the usual one first: adhesive cementation, "
             "conventional cementation; before: conventional cementation, adhesive "
             "cementation."],
        ),
        (
            lambda d: d["required_sites"][0].update(kinds=["crown", "onlay"]),
            [
                "Gone: central fossa must be read (every unit). Source: test.",
                "New: central fossa must be read (crown, onlay). Source: test.",
            ],
        ),
        (
            lambda d: d["positions"][0].update(advised=["protrusion"], arch="upper"),
            [
                "Gone: central fossa (every unit) are read in: working side; advised: "
                "none. Source: test.",
                "New: central fossa (upper jaw) are read in: working side; advised: "
                "protrusion. Source: test.",
            ],
        ),
        (
            lambda d: d["span_limits"].pop(1),
            ["Gone: Alloy, posterior span of 4 to 16 units: not indicated."],
        ),
        (
            lambda d: d["span_limits"][0].update(connector_mm2="9.5", last_place=6),
            ["Alloy, posterior span of 2 to 3 units, limit: connectors of at least 9.5 "
             "mm2, no further than tooth 6 of a quadrant; before: connectors of at "
             "least 9.0 mm2."],
        ),
        (
            lambda d: d["span_limits"].append(
                d["span_limits"][2] | {"region": "anterior"}
            ),
            ["New: Alloy, anterior span of 2 to 3 units with a free end: connectors of "
             "at least 9.0 mm2, no further than tooth 5 of a quadrant. Source: test."],
        ),
        (
            lambda d: d["charges"][1].update(days=5),
            ["Alloy, onlay, days for a change: 5; before: 3."],
        ),
        (
            lambda d: d["charges"].pop(),
            ["Alloy, onlay: what a change costs is no longer stated."],
        ),
        (
            lambda d: d["charges"].append(
                {"material": "mine", "days": 2, "charge": "10 more."}
            ),
            ["Mine, every kind: a change takes 2 days; 10 more."],
        ),
    ],
)  # fmt: skip
def test_each_change_is_told(change, sentences):
    assert told(change) == sentences


def test_a_thickness_is_told_as_a_wall_and_allowances_on_their_own():
    values = full()
    values["needs"][0].pop("min_mm")
    values["needs"][0]["thickness_mm"] = "0.5"
    built = parse_rule_set(values)
    assert [m.text() for m in differences(FULL, built)] == [
        "Alloy, crown, central fossa: the need of 0.7 mm clearance is built from a "
        "wall of 0.5 mm; before 1.0 mm were stated."
    ]
    assert [m.text() for m in differences(built, FULL)] == [
        "Alloy, crown, central fossa: the need of 1.0 mm clearance is stated; before "
        "0.7 mm were built from a wall of 0.5 mm."
    ]
    values["needs"][0]["thickness_mm"] = "0.6"
    assert [m.text() for m in differences(built, parse_rule_set(values))] == [
        "Alloy, crown, central fossa: the wall is 0.6 mm instead of 0.5 mm, so the "
        "need is 0.8 mm clearance."
    ]
    values["needs"][0]["thickness_mm"] = "0.5"
    values["decision"]["cement_space_mm"] = "0.08"
    wider = parse_rule_set(values)
    assert [m.text() for m in differences(built, wider)] == [
        "The cement space is 0.08 mm instead of 0.05 mm: every need built from a "
        "wall's thickness changes by it."
    ]
    assert changed_lines(built, wider) == pairs("alloy", "mine")


def test_kinds_that_changed_alike_share_a_sentence():
    after = replace(
        SHIPPED,
        needs=tuple(
            replace(n, min_mm=n.min_mm - D("0.1"))
            if (n.material, n.site, n.quantity)
            == ("full_metal", "functional_cusp", "clearance")
            else n
            for n in SHIPPED.needs
        ),
    )
    assert [m.text() for m in differences(SHIPPED, after)] == [
        "Full metal, crown, retainer, functional cusp: the need is 1.4 mm clearance "
        "instead of 1.5 mm.",
        "Full metal, pontic, functional cusp: the need is 3.9 mm clearance instead of "
        "4.0 mm.",
        "Full metal, onlay, functional cusp: the need is 1.4 mm clearance instead of "
        "1.5 mm.",
        "Full metal, implant crown, functional cusp: the need is 1.4 mm clearance "
        "instead of 1.5 mm.",
    ]


def test_every_word_is_translated_by_itself():
    values = full()
    values["needs"][0]["min_mm"] = "0.9"
    (message,) = differences(FULL, parse_rule_set(values))
    asked = []

    def translate(text):
        asked.append(text)
        return {"crown": "Krone", "central fossa": "Fossa", "clearance": "Platz"}.get(
            text, text
        )

    assert message.text(translate) == (
        "Alloy, Krone, Fossa: the need is 0.9 mm Platz instead of 1.0 mm."
    )
    assert "" not in asked
    assert "{where}: the need is {after} mm {quantity} instead of {before} mm." in asked


def test_a_new_material_and_its_needs_are_both_told():
    sentences = told(
        lambda d: (
            d["materials"].append(product(key="new", label="New")),
            d["needs"].append(d["needs"][0] | {"material": "new"}),
        )
    )
    assert len(sentences) == 2
    assert sentences[0] == "New material: New."
    assert sentences[1].startswith("New, crown, central fossa: new need of 1.0 mm")


def test_only_what_decides_a_verdict_widens_the_scope():
    nothing = Scope(False)
    assert scope(line(target_mm="1.5")) == nothing
    assert scope(line(source="another", note="other", max_mm=4)) == nothing
    assert scope(lambda d: d["charges"].clear()) == nothing
    assert scope(lambda d: d["span_limits"].clear()) == nothing
    assert scope(lambda d: d["methods"][0].update(source="x")) == nothing
    for change in (
        lambda d: d["decision"].update(k=2),
        lambda d: d["decision"].update(strip_delta_mm=0),
        lambda d: d["decision"].update(drag_mm=0),
        lambda d: d["methods"][0].update(u_mm=1),
        lambda d: d["required_sites"].clear(),
        lambda d: d["positions"][0].update(required=["protrusion"]),
    ):
        assert scope(change) == Scope(True)


def test_products_follow_their_class_and_not_the_other_way():
    assert scope(line(min_mm="0.9")) == pairs("alloy", "mine")
    assert scope(line(1, min_mm="1.3")) == pairs("mine")
    assert scope(line(positions=["protrusion"])) == pairs("alloy", "mine")
    assert scope(lambda d: d["materials"][1].pop("under")) == pairs("mine", kinds=Kind)


def test_a_products_own_line_gone_leaves_the_classes():
    assert scope(lambda d: d["needs"].pop()) == pairs("mine")


@pytest.mark.property
@settings(max_examples=100, deadline=None)
@given(rule_sets(), rule_sets())
def test_differences_are_told_both_ways_or_not_at_all(one, two):
    there, back = differences(one, two), differences(two, one)
    assert bool(there) == bool(back)
    assert changed_lines(one, two) == changed_lines(two, one)
    assert all(message.text() for message in there)
    assert differences(one, parse_rule_set(json.loads(one.canonical))) == ()
    if not there:
        assert changed_lines(one, two) == Scope(False)
