"""Rule sets: TOML and canonical form, every fault with its path."""

import copy
import hashlib
import json
import tomllib
from decimal import Decimal as D

import pytest

from rules.errors import InvalidRuleSet
from rules.parse import parse_rule_set, parse_toml
from rules.terms import Kind, Position
from tests.rules.builders import (
    PROTRUSION,
    SHIPPED,
    answer,
    point,
    run,
    site_of,
    strip,
    unit,
)


def small():
    """Return the smallest useful rule set as values."""
    methods = [
        {"method": method, "u_mm": "0.1", "source": "test"}
        for method in (
            "wax_caliper",
            "silicone_caliper",
            "provisional_caliper",
            "index_probe",
            "scan",
            "cast_caliper",
            "other",
        )
    ]
    return {
        "name": "Test needs",
        "version": "7",
        "decision": {
            "k": 0,
            "strip_delta_mm": 0.05,
            "drag_mm": 0.1,
            "cement_space_mm": "0.05",
            "adjustment_mm": "0.15",
        },
        "materials": [
            {"key": "alloy", "label": "Alloy", "cementations": ["conventional"]}
        ],
        "methods": methods,
        "required_sites": [{"sites": ["central_fossa"], "source": "test"}],
        "positions": [
            {"sites": ["central_fossa"], "required": ["working_side"], "source": "test"}
        ],
        "needs": [
            {
                "material": "alloy",
                "kinds": ["crown"],
                "site": "central_fossa",
                "quantity": "clearance",
                "min_mm": 1,
                "target_mm": 1.2,
                "max_mm": 2,
                "source": "test",
                "note": "a note",
            }
        ],
    }


def faults(change):
    data = small()
    change(data)
    with pytest.raises(InvalidRuleSet) as caught:
        parse_rule_set(data)
    return {fault.pointer: fault.text() for fault in caught.value.faults}


def test_the_canonical_form_reads_back_equal():
    for rule_set in (SHIPPED, parse_rule_set(small())):
        again = parse_rule_set(json.loads(rule_set.canonical))
        assert again == rule_set
        assert again.digest == rule_set.digest
        assert again.canonical == rule_set.canonical


def test_the_digest_is_the_sha256_of_the_canonical_form():
    found = parse_rule_set(small())
    assert found.digest == hashlib.sha256(found.canonical.encode()).hexdigest()
    other = small()
    other["needs"][0]["min_mm"] = "1.1"
    assert parse_rule_set(other).digest != found.digest
    same = small()
    same["needs"][0]["min_mm"] = "1.00"
    assert parse_rule_set(same).digest == found.digest


def test_a_sum_is_never_typed():
    data = json.loads(SHIPPED.canonical)
    built = [n for n in data["needs"] if "thickness_mm" in n]
    assert built
    assert not any("min_mm" in n for n in built)


def test_a_need_of_zero_survives():
    data = small()
    data["needs"][0]["min_mm"] = 0
    found = parse_rule_set(data)
    assert parse_rule_set(json.loads(found.canonical)).needs[0].min_mm == 0


def test_groups_share_their_fields_and_sites():
    data = small()
    line = data["needs"].pop()
    shared = {"material": line.pop("material"), "kinds": line.pop("kinds")}
    line.pop("site")
    data["groups"] = [
        shared | {"needs": [line | {"sites": ["central_fossa", "marginal_ridge"]}]}
    ]
    found = parse_rule_set(data)
    assert [n.site for n in found.needs] == ["central_fossa", "marginal_ridge"]
    assert found.needs[0].kinds == (Kind.CROWN,)


def test_broken_toml_is_one_fault():
    with pytest.raises(InvalidRuleSet, match="This is not TOML") as caught:
        parse_toml("name = ")
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize(
    "text",
    [
        ".".join(["a"] * 200_000) + " = 1",
        "[" + " . ".join(["'a b'", '"c"'] * 50_000) + "]",
        "a = {" + ".".join("abcdefgh" * 10_000) + " = 1}",
    ],
)
def test_a_name_without_end_costs_nothing(text):
    """The reader would take memory by the square of its parts (160 GB for the first)."""
    with pytest.raises(InvalidRuleSet) as caught:
        parse_toml(f"name = 'x'\n{text}\n")
    (fault,) = caught.value.faults
    assert (fault.line, fault.pointer) == (2, "")
    assert "too many parts" in fault.message


def test_a_key_is_no_longer_than_a_case_can_keep():
    data = small()
    data["materials"][0]["key"] = "k" * 41
    with pytest.raises(InvalidRuleSet) as caught:
        parse_rule_set(data)
    assert "/materials/0/key" in {fault.pointer for fault in caught.value.faults}


def test_toml_numbers_are_exact():
    text = "x = 0.1"
    assert tomllib.loads(text, parse_float=D) == {"x": D("0.1")}
    assert D("0.7") in {need.min_mm for need in SHIPPED.needs}


@pytest.mark.parametrize("data", [None, [], "x", {}])
def test_what_is_no_rule_set(data):
    with pytest.raises(InvalidRuleSet):
        parse_rule_set(data)


def test_all_faults_at_once_with_their_paths():
    def change(data):
        data["name"] = ""
        data["decision"]["k"] = "NaN"
        data["materials"][0]["cementations"] = []
        data["methods"][0]["u_mm"] = 0
        data["required_sites"][0]["sites"] = ["moon"]
        data["positions"][0]["required"] = ["yawning", 5]
        data["needs"][0]["quantity"] = "volume"
        data["needs"].append({})
        data["needs"].append(1)
        data["extra"] = 1

    found = faults(change)
    assert set(found) >= {
        "/name",
        "/decision/k",
        "/materials/0/cementations",
        "/methods/0/u_mm",
        "/required_sites/0/sites/0",
        "/positions/0/required/0",
        "/positions/0/required/1",
        "/needs/0/quantity",
        "/needs/1/material",
        "/needs/2",
        "/extra",
    }


@pytest.mark.parametrize(
    ("pointer", "change"),
    [
        ("/needs/0/material", lambda d: d["needs"][0].update(material="wood")),
        ("/needs/0/site", lambda d: d["needs"][0].update(site="moon")),
        ("/needs/0/site", lambda d: d["needs"][0].update(site=[])),
        ("/needs/0/kinds", lambda d: d["needs"][0].update(kinds=[])),
        ("/needs/0/kinds/1", lambda d: d["needs"][0].update(kinds=["crown"] * 2)),
        ("/needs/0/source", lambda d: d["needs"][0].update(source="")),
        ("/needs/0", lambda d: d["needs"][0].update(thickness_mm=1)),
        ("/needs/0", lambda d: d["needs"][0].pop("min_mm")),
        ("/needs/0/target_mm", lambda d: d["needs"][0].update(target_mm=0.9)),
        ("/needs/0/max_mm", lambda d: d["needs"][0].update(max_mm=1.1)),
        (
            "/needs/0/cementation",
            lambda d: d["needs"][0].update(cementation="adhesive"),
        ),
        (
            "/needs/0/occlusal_surface",
            lambda d: d["needs"][0].update(occlusal_surface="metal"),
        ),
        ("/needs/1", lambda d: d["needs"].append(dict(d["needs"][0]))),
        (
            "/materials/1/key",
            lambda d: d["materials"].append(dict(d["materials"][0])),
        ),
        ("/methods", lambda d: d["methods"].pop()),
        ("/methods", lambda d: d["methods"].append(dict(d["methods"][0]))),
        ("/groups/0", lambda d: d.update(groups=[{"material": "alloy"}])),
        ("/groups/0", lambda d: d.update(groups=[1])),
        ("/groups/0/needs/0", lambda d: d.update(groups=[{"needs": [1]}])),
        ("/positions/0/required", lambda d: d["positions"][0].update(required="x")),
        ("/needs", lambda d: d.update(needs=[{}] * 5001)),
    ],
)
def test_single_faults(pointer, change):
    assert set(faults(change)) == {pointer}


def test_a_strip_has_no_standard_uncertainty():
    def change(data):
        data["methods"][0]["method"] = "strip"

    found = faults(change)
    assert "A strip gives an interval" in found["/methods/0/method"]


def test_lines_conflict_only_when_equally_precise():
    def with_lines(**second):
        data = small()
        data["materials"][0] |= {
            "cementations": ["conventional", "adhesive"],
            "occlusal_surfaces": ["ceramic", "metal"],
        }
        data["needs"].append(data["needs"][0] | {"min_mm": 1.1} | second)
        return data

    for second in (
        {"kinds": ["retainer"]},
        {"cementation": "adhesive"},
        {"classes": ["molar"]},
        {"quantity": "reduction"},
        {"site": "marginal_ridge"},
    ):
        assert len(parse_rule_set(with_lines(**second)).needs) == 2
    clash = with_lines(cementation="adhesive")
    clash["needs"][0] = clash["needs"][0] | {"occlusal_surface": "metal"}
    with pytest.raises(InvalidRuleSet, match="answer the same"):
        parse_rule_set(clash)
    apart = with_lines(cementation="adhesive")
    apart["needs"][0] = apart["needs"][0] | {"cementation": "conventional"}
    assert len(parse_rule_set(apart).needs) == 2
    classes = with_lines(classes=["molar"])
    classes["needs"][0] = classes["needs"][0] | {"classes": ["premolar"]}
    assert len(parse_rule_set(classes).needs) == 2
    same = with_lines(classes=["molar"])
    same["needs"][0] = same["needs"][0] | {"classes": ["molar", "premolar"]}
    with pytest.raises(InvalidRuleSet, match="answer the same"):
        parse_rule_set(same)


def custom(**need):
    data = small()
    data["needs"][0] |= need
    return parse_rule_set(data)


def test_the_most_precise_line_wins():
    data = small()
    data["needs"].append(data["needs"][0] | {"min_mm": 1.1, "classes": ["molar"]})
    rule_set = parse_rule_set(data)
    for tooth, least in (("36", "1.1"), ("35", "1")):
        result = run(
            unit(strip("central_fossa", passes=3), material="alloy", tooth=tooth),
            rule_set=rule_set,
        )
        assert site_of(result, "central_fossa").need_mm == D(least)


def test_strip_tolerance_of_a_set_counts():
    result = run(
        unit(strip("central_fossa", "left_laterotrusion", passes=1), material="alloy"),
        rule_set=custom(),
    )
    site = site_of(result, "central_fossa")
    assert site.low_mm == D("0.95")
    assert site.verdict == "undecided"


def test_working_side_depends_on_the_tooth():
    rule_set = custom()
    for tooth, position in (
        ("36", "left_laterotrusion"),
        ("46", "right_laterotrusion"),
    ):
        result = run(
            unit(
                strip("central_fossa", position, passes=3),
                material="alloy",
                tooth=tooth,
            ),
            rule_set=rule_set,
        )
        assert result.verdict == "sufficient"


def test_a_needs_own_positions_overrule_the_sets():
    rule_set = custom(positions=["protrusion"])
    assert rule_set.needs[0].positions == (Position.PROTRUSION,)
    result = run(
        unit(strip("central_fossa", PROTRUSION, passes=3), material="alloy"),
        rule_set=rule_set,
    )
    assert result.verdict == "sufficient"


def test_over_reduction_is_a_note():
    result = run(
        unit(
            point("central_fossa", 2.1, position="left_laterotrusion"), material="alloy"
        ),
        rule_set=custom(),
    )
    notes = [n.text() for n in site_of(result, "central_fossa").notes]
    assert notes == [
        "More than 2.0 mm: mind the remaining dentine and the wall heights.",
        "The rule set notes: a note.",
    ]


def test_a_small_set_answers_with_its_own_name_and_k():
    body = answer(unit(material="alloy"), rule_set=custom())
    assert body["rule_set"]["name"] == "Test needs"
    assert run(unit(material="alloy"), rule_set=custom()).k == 0


def test_a_set_is_not_changed_by_parsing():
    data = small()
    before = copy.deepcopy(data)
    parse_rule_set(data)
    assert data == before
