"""The lines a laboratory adds: products, alternatives, spans, charges; where they stand."""

import json
from decimal import Decimal as D

import pytest

from rules.errors import InvalidRuleSet
from rules.parse import LARGEST_TOML, parse_rule_set, parse_toml
from rules.requirements import NeedKey
from rules.terms import Cementation, Kind, Quantity, Region, Site
from rules.toml_lines import line_numbers
from tests.rules.test_parse import faults, small

LIMIT = {
    "material": "alloy",
    "region": "posterior",
    "units_from": 2,
    "units_to": 3,
    "connector_mm2": 9,
    "source": "test",
}


def product(**keys):
    return {"key": "mine", "label": "Mine", "cementations": ["conventional"]} | keys


def full():
    """Return a rule set that uses every kind of line."""
    data = small()
    data["materials"][0] |= {
        "iso_22674_type": 0,
        "strength_source": "test",
        "cementations": ["conventional", "adhesive"],
    }
    data["materials"].append(
        product(
            under="alloy",
            instructions="leaflet of batch 1",
            iso_6872_class=3,
            iso_22674_type=4,
            strength_source="leaflet of batch 1",
        )
    )
    other = data["needs"][0] | {
        "material": "mine",
        "min_mm": "1.4",
        "target_mm": "1.4",
        "alternatives": [{"min_mm": 0, "source": "a text", "note": "no wall"}],
    }
    data["needs"].append(other)
    data["span_limits"] = [
        dict(LIMIT),
        LIMIT | {"units_from": 4, "units_to": 16, "allowed": False},
        LIMIT | {"cantilever": True, "last_place": 5, "note": "a note"},
        LIMIT | {"material": "mine", "connector_mm2": "12.5"},
    ]
    data["span_limits"][1].pop("connector_mm2")
    data["charges"] = [
        {"material": "alloy", "days": 0, "charge": "No charge."},
        {"material": "alloy", "days": 3, "charge": "40.", "kinds": ["onlay"]},
    ]
    return data


FULL = parse_rule_set(full())


def key(material, site="central_fossa", kind="crown", **changes):
    given = {
        "material": material,
        "kind": Kind(kind),
        "cementation": Cementation.CONVENTIONAL,
        "occlusal_surface": None,
        "tooth": "36",
        "site": Site(site),
        "role": None,
        "quantity": Quantity.CLEARANCE,
    }
    return NeedKey(**given | changes)


def test_every_kind_of_line_reads_back_equal():
    again = parse_rule_set(json.loads(FULL.canonical))
    assert again == FULL
    assert again.digest == FULL.digest
    assert '"allowed":false' in FULL.canonical
    assert '"iso_22674_type":0' in FULL.canonical


def test_a_set_without_spans_and_charges_keeps_its_digest():
    assert "span_limits" not in parse_rule_set(small()).canonical
    assert "charges" not in parse_rule_set(small()).canonical


def test_a_product_takes_its_own_line_then_its_classes():
    assert FULL.class_of("mine") == "alloy"
    assert FULL.class_of("alloy") == "alloy"
    assert FULL.class_of("unknown") == "unknown"
    own, inherited = FULL.find_need(key("mine")), parse_rule_set(full() | {"needs": []})
    assert own is not None
    assert own.min_mm == D("1.4")
    assert inherited.find_need(key("mine")) is None
    data = full()
    data["needs"][1]["kinds"] = ["retainer"]
    by_kind = parse_rule_set(data)
    for kind, least in (("crown", "1"), ("retainer", "1.4")):
        line = by_kind.find_need(key("mine", kind=kind))
        assert line is not None
        assert line.min_mm == D(least)
    assert by_kind.find_need(key("alloy", kind="retainer")) is None
    assert by_kind.has_needs("mine", Kind.CROWN)
    assert by_kind.has_needs("mine", Kind.RETAINER)
    assert not by_kind.has_needs("alloy", Kind.RETAINER)
    assert not by_kind.has_needs("mine", Kind.ONLAY)


def test_a_products_role_line_wins_over_its_classes_site_line():
    data = full()
    data["needs"] = [
        data["needs"][0] | {"site": "marginal_ridge", "min_mm": "1.1"},
        data["needs"][1],
    ]
    line = parse_rule_set(data).find_need(key("mine", "marginal_ridge"))
    assert line is not None
    assert (line.material, line.site) == ("mine", "central_fossa")


def test_cementation_matters_to_a_product_where_it_does_to_its_class():
    assert not FULL.cementation_matters("mine")
    data = full()
    data["needs"][0]["cementation"] = "conventional"
    found = parse_rule_set(data)
    assert found.cementation_matters("alloy")
    assert found.cementation_matters("mine")


def test_strength_is_the_products_own_or_its_classes():
    assert (FULL.iso_6872_class("mine"), FULL.iso_22674_type("mine")) == (3, 4)
    assert (FULL.iso_6872_class("alloy"), FULL.iso_22674_type("alloy")) == (None, 0)
    assert FULL.iso_6872_class("unknown") is None
    data = full()
    data["materials"][1] = product(under="alloy")
    assert parse_rule_set(data).iso_22674_type("mine") == 0


def test_span_limits_are_the_products_own_then_its_classes():
    posterior = Region.POSTERIOR
    own = FULL.span_limit("mine", posterior, 3, cantilever=False)
    long = FULL.span_limit("mine", posterior, 7, cantilever=False)
    hung = FULL.span_limit("mine", posterior, 2, cantilever=True)
    assert own is not None
    assert own.connector_mm2 == D("12.5")
    assert long is not None
    assert not long.allowed
    assert hung is not None
    assert hung.last_place == 5
    assert FULL.span_limit("mine", Region.ANTERIOR, 3, cantilever=False) is None
    assert FULL.span_limit("alloy", posterior, 9, cantilever=True) is None


def test_charges_name_the_kind_first():
    for material, kind, days in (
        ("alloy", Kind.CROWN, 0),
        ("mine", Kind.CROWN, 0),
        ("alloy", Kind.ONLAY, 3),
    ):
        found = FULL.charge(material, kind)
        assert found is not None
        assert found.days == days
    assert parse_rule_set(small()).charge("alloy", Kind.CROWN) is None


def test_a_product_of_a_provisional_class_is_provisional():
    data = full()
    data["materials"][0]["provisional"] = True
    found = parse_rule_set(data)
    assert [material.provisional for material in found.materials] == [True, True]
    assert parse_rule_set(json.loads(found.canonical)).digest == found.digest


def test_lookups_are_kept_and_right_for_every_tooth_class():
    data = full()
    data["needs"].append(data["needs"][0] | {"classes": ["premolar"], "min_mm": "1.2"})
    found = parse_rule_set(data)
    for _round in range(2):
        for tooth, least in (("36", "1"), ("35", "1.2"), ("47", "1")):
            line = found.find_need(key("alloy", tooth=tooth))
            assert line is not None
            assert line.min_mm == D(least)


@pytest.mark.parametrize(
    ("pointer", "said", "change"),
    [
        (
            "/materials/1/under",
            "“mine” stands under itself",
            lambda d: d["materials"].append(product(under="mine")),
        ),
        (
            "/materials/1/under",
            "“nothing” is not a material",
            lambda d: d["materials"].append(product(under="nothing")),
        ),
        (
            "/materials/2/under",
            "“mine” is a product itself",
            lambda d: d["materials"].extend(
                [product(under="alloy"), product(key="deeper", under="mine")]
            ),
        ),
        (
            "/materials/0/strength_source",
            "where class or type comes from",
            lambda d: d["materials"][0].update(iso_6872_class=5),
        ),
        (
            "/materials/0/iso_6872_class",
            "out of range: from 1 to 5",
            lambda d: d["materials"][0].update(iso_6872_class=6, strength_source="x"),
        ),
        (
            "/materials/0/iso_22674_type",
            "cannot be negative",
            lambda d: d["materials"][0].update(iso_22674_type=-1, strength_source="x"),
        ),
        (
            "/needs/0/quantity",
            "No thickness is measured at “central_fossa”",
            lambda d: d["needs"][0].update(quantity="thickness"),
        ),
        (
            "/needs/0/quantity",
            "No clearance is measured at “finish_line”",
            lambda d: d["needs"][0].update(site="finish_line"),
        ),
        (
            "/needs/0/min_mm",
            "cannot be negative",
            lambda d: d["needs"][0].update(min_mm="-0.5"),
        ),
        (
            "/needs/0/source",
            "Blanks alone",
            lambda d: d["needs"][0].update(source="  "),
        ),
        (
            "/needs/0/note",
            "control characters",
            lambda d: d["needs"][0].update(note="0.2\u202e"),
        ),
        (
            "/name",
            "control characters",
            lambda d: d.update(name="a\ud800"),
        ),
        (
            "/needs/0/alternatives/0/source",
            "missing",
            lambda d: d["needs"][0].update(alternatives=[{"min_mm": 1}]),
        ),
        (
            "/needs/0/alternatives/1/min_mm",
            "no number",
            lambda d: d["needs"][0].update(
                alternatives=[
                    {"min_mm": 1, "source": "x"},
                    {"min_mm": "thin", "source": "x"},
                ]
            ),
        ),
        (
            "/span_limits/0/material",
            "“wood” is not a material",
            lambda d: d.update(span_limits=[LIMIT | {"material": "wood"}]),
        ),
        (
            "/span_limits/0/units_to",
            "The most units cannot be below the least.",
            lambda d: d.update(span_limits=[LIMIT | {"units_from": 5}]),
        ),
        (
            "/span_limits/0/units_from",
            "out of range: from 2 to 16",
            lambda d: d.update(span_limits=[LIMIT | {"units_from": 1}]),
        ),
        (
            "/span_limits/1",
            "This line and /span_limits/0 answer the same.",
            lambda d: d.update(
                span_limits=[LIMIT, LIMIT | {"units_from": 3, "units_to": 5}]
            ),
        ),
        (
            "/span_limits/0/last_place",
            "out of range: from 1 to 8",
            lambda d: d.update(span_limits=[LIMIT | {"last_place": 9}]),
        ),
        (
            "/charges/0/material",
            "“wood” is not a material",
            lambda d: d.update(
                charges=[{"material": "wood", "days": 1, "charge": "1."}]
            ),
        ),
        (
            "/charges/0/days",
            "cannot be negative",
            lambda d: d.update(
                charges=[{"material": "alloy", "days": -1, "charge": "1."}]
            ),
        ),
        (
            "/charges/1",
            "This line and /charges/0 answer the same.",
            lambda d: d.update(
                charges=[{"material": "alloy", "days": 1, "charge": "1."}] * 2
            ),
        ),
    ],
)
def test_what_a_line_may_not_say(pointer, said, change):
    found = faults(change)
    assert set(found) == {pointer}
    assert said in found[pointer]


def test_two_products_under_each_other_are_both_named():
    def change(data):
        data["materials"] += [
            product(under="yours"),
            product(key="yours", under="mine"),
        ]

    found = faults(change)
    assert set(found) == {"/materials/1/under", "/materials/2/under"}
    assert "stand under each other" in found["/materials/1/under"]


def test_a_faulty_material_does_not_put_its_needs_at_fault():
    assert set(faults(lambda d: d["materials"][0].update(label=""))) == {
        "/materials/0/label"
    }


TOML = """
# a comment with [brackets] and "quotes
name = "Needs = [1]"
version = '1'
[decision]
k = 1.645
strip_delta_mm = 0
drag_mm = 0.1
cement_space_mm = 0.05
adjustment_mm = 0.15
{methods}
[[materials]]
key = "alloy"
label = "Alloy"
cementations = [
  "conventional",
  "wishful",
]
[[required_sites]]
sites = ["central_fossa"]
source = "test"
[[positions]]
sites = ["central_fossa"]
source = \"\"\"two
lines\"\"\"
[[groups]]
material = "alloy"
kinds = ["crown"]
needs = [
  {{ site = "central_fossa", quantity = "clearance", min_mm = 2, target_mm = 1, source = "x" }},

  {{ site = "moon", quantity = "clearance", min_mm = 1.5, target_mm = 1.5, source = "x" }},
]
[[groups]]
material = "wood"
[[groups.needs]]
site = "central_fossa"
quantity = "clearance"
min_mm = -1
target_mm = 1
"""


def toml():
    rows = "\n".join(
        f'[[methods]]\nmethod = "{line["method"]}"\nu_mm = 0.1\nsource = "test"'
        for line in small()["methods"]
    )
    return TOML.format(methods=rows)


def test_every_fault_names_its_line():
    text = toml()
    with pytest.raises(InvalidRuleSet) as caught:
        parse_toml(text)
    lines = text.splitlines()

    def at(start):
        return 1 + next(i for i, line in enumerate(lines) if start in line)

    found = {fault.pointer: fault.line for fault in caught.value.faults}
    assert found == {
        "/materials/0/cementations/1": at('"wishful"'),
        "/positions/0/source": at('source = """two'),
        "/groups/0/needs/0/target_mm": at("min_mm = 2, target_mm = 1"),
        "/groups/0/needs/1/site": at('"moon"'),
        "/groups/1/needs/0/kinds": at("[[groups.needs]]"),
        "/groups/1/needs/0/material": at("[[groups.needs]]"),
        "/groups/1/needs/0/source": at("[[groups.needs]]"),
        "/groups/1/needs/0/min_mm": at("min_mm = -1"),
    }


def test_lines_of_dotted_keys_and_nested_values():
    text = 'a.b = 1\nc = { d = [\n1,\n{ e = 2.5 }], "f" = 3 }\n[g.h]\ni = "]"\n'
    assert line_numbers(text) == {
        "/a/b": 1,
        "/c": 2,
        "/c/d": 2,
        "/c/d/0": 3,
        "/c/d/1": 4,
        "/c/d/1/e": 4,
        "/c/f": 4,
        "/g/h": 5,
        "/g/h/i": 6,
    }


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nname = \n", 2),
        ("a = 1\na = 2", 2),
        ("a = [1,\n", 2),
        ("a = " + "9" * 5000, None),
        ("a = 1e99999999999999999999", None),
        ("a = " + "[" * 100_000, None),
    ],
)
def test_broken_toml_names_its_line(text, line):
    with pytest.raises(InvalidRuleSet, match="This is not TOML") as caught:
        parse_toml(text)
    (fault,) = caught.value.faults
    assert fault.line == line


@pytest.mark.parametrize("letter", ["#", "é"])
def test_ten_megabytes_are_refused_before_they_are_read(letter):
    size = len(letter.encode())
    with pytest.raises(InvalidRuleSet, match="larger than 1 MB") as caught:
        parse_toml(letter * (10_000_000 // size))
    assert len(caught.value.faults) == 1
    with pytest.raises(InvalidRuleSet, match="larger than 1 MB"):
        parse_toml("#" + letter * (LARGEST_TOML // size))


def test_thousands_of_equal_lines_are_refused_in_reasonable_time():
    data = small()
    data["needs"] = [data["needs"][0]] * 2500
    data["needs"] += [data["needs"][0] | {"kinds": ["retainer"]}] * 2500
    with pytest.raises(InvalidRuleSet) as caught:
        parse_rule_set(data)
    assert len(caught.value.faults) == 4998


def test_everything_wrong_at_once_is_told_with_key_and_line():
    text = toml().replace('"wishful"', '"adhesive"').replace('"""two\nlines"""', '"x"')
    text = text[: text.index("[[groups]]")] + (
        '[[materials]]\nkey = "mine"\nlabel = "Mine"\ncementations = ["adhesive"]\n'
        'under = "mine"\n'
        '[[groups]]\nmaterial = "alloy"\nkinds = ["crown"]\nquantity = "clearance"\n'
        "needs = [\n"
        '{ site = "central_fossa", min_mm = 2, target_mm = 1, source = "x" },\n'
        '{ site = "moon", min_mm = 1, target_mm = 1, source = "x" },\n'
        '{ site = "functional_cusp", min_mm = 1, target_mm = 1, source = "x" },\n'
        '{ site = "functional_cusp", min_mm = 2, target_mm = 2, source = "x" },\n'
        '{ site = "nonfunctional_cusp", min_mm = 1, target_mm = 1 },\n'
        '{ site = "marginal_ridge", min_mm = -1, target_mm = 1, source = "x" },\n'
        "]\n"
    )
    first = 1 + text.splitlines().index("needs = [")
    with pytest.raises(InvalidRuleSet) as caught:
        parse_toml(text)
    assert {(f.pointer, f.line) for f in caught.value.faults} == {
        ("/materials/1/under", first - 5),
        ("/groups/0/needs/0/target_mm", first + 1),
        ("/groups/0/needs/1/site", first + 2),
        ("/groups/0/needs/3", first + 4),
        ("/groups/0/needs/4/source", first + 5),
        ("/groups/0/needs/5/min_mm", first + 6),
    }
