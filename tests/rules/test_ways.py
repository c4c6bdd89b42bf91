"""The ways out one by one: what each costs, and why some are not possible."""

from dataclasses import replace
from decimal import Decimal as D

import pytest

from rules.terms import Kind
from tests.rules.builders import (
    PROTRUSION,
    SHIPPED,
    answer,
    options_of,
    point,
    run,
    strip,
    unit,
)

ROOM = [strip("buccal_cusps", passes=2.0), strip("central_fossa", passes=1.5)]
PALATAL_OK = strip("lingual_cusps", passes=2.0)
# need 1.5: short by up to 0.5, proven
ONE_SHORT = [*ROOM, strip("lingual_cusps", passes=1.0, held=1.5)]
TWO_SHORT = [
    strip("buccal_cusps", passes=1.5, held=2.0),
    strip("lingual_cusps", passes=1.0, held=1.5),
    ROOM[1],
]


def texts(messages):
    return [message.text() for message in messages]


def only(result, kind, index=0, **keys):
    (found,) = [
        o
        for o in options_of(result, kind, index)
        if all(getattr(o, key) == value for key, value in keys.items())
    ]
    return found


def said(option):
    return texts([*option.reasons, *option.consequences])


def feasible_kinds(result, index=0):
    return {o.kind for o in result.units[index].options if o.feasible}


class TestCoping:
    def test_one_short_site_is_trimmed_to_its_need(self):
        option = only(run(unit(*ONE_SHORT)), "reduction_coping")
        assert option.feasible
        assert [(s.value, lo, hi) for s, lo, hi in option.depth_mm] == [
            ("lingual_cusps", D(0), D("0.5"))
        ]
        assert option.removal_mm == D("0.5")
        found = texts(option.consequences)
        assert found[0] == (
            "At the lingual cusps: the laboratory trims the die by up to 0.5 mm and "
            "makes the restoration on it."
        )
        assert any("at least 1 mm from the finish line" in text for text in found)
        assert any("written agreement comes first" in text for text in found)
        assert found[-1] == "On posterior teeth a coping is often hard to transfer."

    def test_a_front_tooth_is_easier(self):
        edge = strip("incisal_edge", PROTRUSION, passes=1.0, held=1.5)
        option = only(run(unit(edge, tooth="11")), "reduction_coping")
        assert option.feasible
        assert not any("hard to transfer" in text for text in said(option))

    def test_a_site_read_as_clearance_and_as_reduction_is_one_site(self):
        twice = [
            strip("incisal_edge", PROTRUSION, passes=1.0, held=1.5),
            point("incisal_edge", 0.8, 0.05, position=None, method="index_probe"),
        ]
        option = only(run(unit(*twice, tooth="11")), "reduction_coping")
        # 2.0 needed of the reduction: 1.2; of the clearance up to 0.5
        assert [(low, high) for _site, low, high in option.depth_mm] == [
            (option.removal_mm, option.removal_mm)
        ]
        assert option.removal_mm > D("0.5")

    @pytest.mark.parametrize(
        ("readings", "keys", "reason"),
        [
            (TWO_SHORT, {}, "Only where a single surface of one tooth is short."),
            (
                [strip("lingual_surface", held=0.5)],
                {"tooth": "11"},
                "The palatal surface of an upper front tooth",
            ),
            (
                [
                    point("facial_wall", 0.5, 0.01, None, "index_probe"),
                    *ROOM,
                    PALATAL_OK,
                ],
                {},
                "At the facial wall: a coping stays at least 1 mm",
            ),
            (
                [point("finish_line", 0.5, 0.01, None, "other"), *ROOM, PALATAL_OK],
                {},
                "At the finish line: a coping stays at least 1 mm",
            ),
            (ONE_SHORT, {"antagonist": "prepared"}, "Both teeth are prepared"),
            (
                [strip("incisal_edge", PROTRUSION, held=0.5)],
                {"tooth": "11", "kind": "veneer", "material": "lithium_disilicate"},
                "too thin to risk it",
            ),
            (
                [strip("central_fossa", held=0.5)],
                {"kind": "inlay", "material": "lithium_disilicate"},
                "too thin to risk it",
            ),
            (
                [strip("central_fossa", held=1.0), strip("central_fossa", passes=1.5)],
                {},
                "At the central fossa: verify and re-measure",
            ),
            (
                [point("central_fossa", 1.52, 0.1)],
                {},
                "No reading shows how much the die would be trimmed.",
            ),
        ],
    )
    def test_elsewhere_it_is_refused_with_the_reason(self, readings, keys, reason):
        option = only(run(unit(*readings, **keys)), "reduction_coping")
        assert not option.feasible
        assert len(option.reasons) == 1
        assert reason in texts(option.reasons)[0]

    def test_the_lingual_surface_below_may_be_trimmed(self):
        lower = unit(
            point("lingual_surface", 0.3, 0.01, None, "index_probe"), tooth="31"
        )
        assert only(run(lower), "reduction_coping").feasible

    def test_a_possible_shortage_is_measured_first(self):
        option = only(run(unit(strip("central_fossa", passes=1.0))), "reduction_coping")
        assert option.feasible
        assert "the shortage is not proven" in texts(option.consequences)[0]


class TestOpposing:
    def test_it_is_possible_only_small_proven_and_under_enamel(self):
        option = only(run(unit(*ONE_SHORT)), "adjust_opposing")
        assert option.feasible
        assert option.removal_mm == D("0.5")
        assert option.depth_mm == ()
        found = texts(option.consequences)
        assert found[0].startswith("Up to 0.5 mm of sound tissue of another tooth")
        for words in ("over-erupted", "recorded consent", "before and after"):
            assert any(words in text for text in found)

    @pytest.mark.parametrize(
        ("readings", "keys", "reason"),
        [
            (
                ONE_SHORT,
                {"antagonist": "restored"},
                "opposite stands: restored tooth",
            ),
            (ONE_SHORT, {"antagonist": "implant"}, "Only a natural tooth is adjusted"),
            (
                [*ROOM, strip("lingual_cusps", passes=0.9, held=1.5)],
                {},
                "At the lingual cusps: 0.6 mm may be missing, more than the 0.5 mm",
            ),
            (
                [*ROOM, strip("lingual_cusps", passes=1.0)],
                {},
                "At the lingual cusps: the shortage is not proven",
            ),
            (
                [*ONE_SHORT, point("finish_line", 0.5, 0.01, None, "other")],
                {},
                "At the finish line: the opposing tooth gives no room here.",
            ),
            (
                [*ROOM, PALATAL_OK, point("finish_line", 0.5, 0.01, None, "other")],
                {},
                "No shortage of clearance is shown.",
            ),
            (
                [strip("central_fossa", held=1.0), strip("central_fossa", passes=1.5)],
                {},
                "No shortage of clearance is shown.",
            ),
        ],
    )
    def test_everywhere_else_it_is_refused(self, readings, keys, reason):
        option = only(run(unit(*readings, **keys)), "adjust_opposing")
        assert not option.feasible
        assert any(reason in text for text in texts(option.reasons))
        assert option.consequences == ()

    def test_it_never_stands_before_an_equal_cut_of_the_own_tooth(self):
        kinds = [o.kind for o in run(unit(*ONE_SHORT)).units[0].options if o.feasible]
        assert kinds.index("re_preparation") < kinds.index("adjust_opposing")


class TestReferral:
    def test_all_four_stand_there_for_a_unit_in_doubt(self):
        found = options_of(run(unit(*ONE_SHORT)), "refer")
        assert {o.referral.value for o in found} == {
            "crown_lengthening",
            "orthodontics",
            "plane_correction",
            "vertical_dimension",
        }

    @pytest.mark.parametrize(
        ("walls", "feasible", "words"),
        [
            ({}, False, "State the wall heights"),
            ({"lingual": 4.6, "facial": 4.8}, False, "No stated wall is too short"),
            ({"lingual": 4.3, "facial": 4.8}, True, "height to the lingual wall, no"),
            ({"lingual": 4.6, "facial": 3.9}, True, "height to the facial wall, no"),
        ],
    )
    def test_lengthening_helps_walls_only(self, walls, feasible, words):
        result = run(unit(*ONE_SHORT, wall_heights_mm=walls, base_width_mm=10))
        option = only(result, "refer", referral="crown_lengthening")
        assert option.feasible is feasible
        assert any(words in text for text in said(option))
        assert option.removal_mm == (D("0.5") if feasible else 0)

    @pytest.mark.parametrize(
        ("antagonist", "intruded", "corrected"),
        [
            ("natural", True, True),
            ("restored", False, True),
            ("removable_denture", False, False),
        ],
    )
    def test_what_stands_opposite_decides(self, antagonist, intruded, corrected):
        result = run(unit(*ONE_SHORT, antagonist=antagonist))
        ortho = only(result, "refer", referral="orthodontics")
        plane = only(result, "refer", referral="plane_correction")
        assert (ortho.feasible, plane.feasible) == (intruded, corrected)
        assert ortho.removal_mm == 0
        assert plane.removal_mm == (D("0.5") if corrected else 0)

    def test_no_antagonist_can_be_moved_for_a_finish_line(self):
        width = point("finish_line", 0.5, 0.01, None, "other")
        result = run(unit(*ROOM, PALATAL_OK, width))
        for referral in ("orthodontics", "plane_correction", "vertical_dimension"):
            option = only(result, "refer", referral=referral)
            assert texts(option.reasons) == ["No shortage of clearance is shown."]

    def test_the_bite_is_never_raised_for_one_unit(self):
        alone = run(unit(*ONE_SHORT))
        option = only(alone, "refer", referral="vertical_dimension")
        assert texts(option.reasons) == ["Not for a single restoration."]
        both = run(unit(*ONE_SHORT), unit(*ONE_SHORT, tooth="35"))
        option = only(both, "refer", referral="vertical_dimension")
        assert option.feasible
        assert any("worn, short teeth" in text for text in texts(option.consequences))


IMPLANT = {"kind": "implant_crown"}


class TestImplant:
    def test_nothing_is_ever_prepared(self):
        kinds = {o.kind for o in run(unit(*ONE_SHORT, **IMPLANT)).units[0].options}
        assert not kinds & {"re_preparation", "reduction_coping", "adjust_opposing"}
        assert "change_design" in kinds

    def test_abutment_and_screw_give_room(self):
        result = run(unit(*ONE_SHORT, **IMPLANT))
        abutment = only(result, "change_design", abutment=True)
        screw = only(result, "change_design", retention="screw")
        assert abutment.feasible
        assert screw.feasible
        assert (abutment.removal_mm, abutment.material) == (0, None)
        assert any("access hole" in text for text in texts(screw.consequences))

    def test_cement_takes_room(self):
        result = run(unit(*ONE_SHORT, retention="screw", **IMPLANT))
        option = only(result, "change_design", retention="cement")
        assert texts(option.reasons) == [
            "Cement needs an abutment of some height: it takes room, it gives none."
        ]
        cemented = run(unit(*ONE_SHORT, retention="cement", **IMPLANT))
        assert only(cemented, "change_design", retention="screw").feasible

    def test_an_abutment_does_not_move_the_platform(self):
        low = point("implant_platform", 5.5, 0.1)
        enough = [*ROOM, PALATAL_OK]
        result = run(unit(*enough, low, **IMPLANT))
        option = only(result, "change_design", abutment=True)
        assert not option.feasible
        assert "platform to the antagonist" in texts(option.reasons)[0]
        assert only(result, "change_design", retention="screw").feasible

    def test_without_a_shortage_neither_helps(self):
        doubt = [strip("central_fossa", held=1.0), strip("central_fossa", passes=1.5)]
        result = run(unit(*doubt, **IMPLANT))
        for keys in ({"abutment": True}, {"retention": "screw"}):
            option = only(result, "change_design", **keys)
            assert texts(option.reasons) == ["No shortage of clearance is shown."]

    def test_full_contour_is_a_change_of_design(self):
        layered = "lithium_disilicate_layered"
        result = run(unit(*ONE_SHORT, material=layered, **IMPLANT))
        option = only(
            result,
            "change_design",
            occlusal_surface="monolithic",
            cementation="adhesive",
        )
        assert option.material == layered

    def test_as_json(self):
        found = answer(unit(*ONE_SHORT, **IMPLANT))["units"][0]["options"]
        (abutment,) = [o for o in found if o.get("abutment")]
        assert set(abutment) == {
            "kind",
            "abutment",
            "feasible",
            "reasons",
            "removal_mm",
            "consequences",
        }
        (screw,) = [o for o in found if "retention" in o]
        assert screw["retention"] == "screw"
        assert {o["referral"] for o in found if o["kind"] == "refer"} >= {
            "orthodontics"
        }


def test_a_pontic_changes_material_or_design_or_waits():
    units = [
        unit(*ROOM, PALATAL_OK, tooth="35", kind="retainer", span="A"),
        unit(*ONE_SHORT, tooth="36", kind="pontic", span="A"),
        unit(*ROOM, PALATAL_OK, tooth="37", kind="retainer", span="A"),
    ]
    kinds = {o.kind for o in run(*units).units[1].options}
    assert kinds == {
        "re_measure",
        "change_design",
        "change_material",
        "refer",
        "accept_risk",
    }
    lengthening = only(run(*units), "refer", 1, referral="crown_lengthening")
    assert texts(lengthening.reasons) == [
        "Nothing is prepared here: it has no walls to lengthen."
    ]


def test_facial_only_layering_is_a_change_of_design():
    layered = "lithium_disilicate_layered"
    result = run(unit(*ONE_SHORT, material=layered))
    option = only(
        result,
        "change_design",
        occlusal_surface="monolithic",
        cementation="adhesive",
    )
    assert (option.material, option.feasible) == (layered, True)
    assert any("only the facial surface is layered" in t for t in said(option))
    assert not any("wear of the opposing" in text for text in said(option))


# Remaining dentine: caution below 2.0 mm, stop below 0.5 (secondary sources, to be
# confirmed); up to 0.5 is cut here.
@pytest.mark.parametrize(
    ("dentine", "feasible", "words"),
    [
        (None, True, "Judge the remaining dentine over the pulp first"),
        ("2.5", True, "Cut by 0.5 mm, 2.0 mm of dentine stays over the pulp."),
        ("2.49", True, "1.99 mm of dentine would be left over the pulp: caution"),
        ("1.0", True, "0.5 mm of dentine would be left over the pulp: caution"),
        ("0.99", False, "only 0.49 mm of dentine would be left"),
        ("0.2", False, "only 0.0 mm of dentine would be left"),
    ],
)
def test_what_is_left_over_the_pulp(dentine, feasible, words):
    keys = {} if dentine is None else {"dentine_mm": dentine}
    option = only(run(unit(*ONE_SHORT, **keys)), "re_preparation")
    assert option.feasible is feasible
    assert any(words in text for text in said(option))


# Lithium disilicate, non-functional cusp: need 1.0, target 1.5; read as 0.8.
@pytest.mark.parametrize(
    ("dentine", "feasible", "words"),
    [
        ("1.0", True, "Stop at the need, 0.2 mm deep: cut by 0.7 mm, only 0.3 mm"),
        ("0.7", True, "Stop at the need, 0.2 mm deep"),
        ("0.69", False, "Cut by 0.2 mm, only 0.49 mm of dentine would be left"),
    ],
)
def test_a_thin_roof_of_dentine_stops_the_cut_at_the_need(dentine, feasible, words):
    reading = point("lingual_cusps", 0.8, 0.05)
    result = run(unit(reading, material="lithium_disilicate", dentine_mm=dentine))
    option = only(result, "re_preparation")
    assert option.feasible is feasible
    assert any(words in text for text in said(option))


def test_a_finish_line_does_not_touch_the_pulp_from_above():
    width = point("finish_line", 0.2, 0.01, None, "other")
    result = run(unit(*ROOM, PALATAL_OK, width, dentine_mm=0.6))
    option = only(result, "re_preparation")
    assert option.feasible
    assert any("Judge the remaining dentine" in text for text in said(option))


@pytest.mark.parametrize(
    ("tooth", "words"),
    [("31", "A lower incisor is thin"), ("11", "labio-proximal line angles")],
)
def test_incisors_are_thin(tooth, words):
    edge = strip("incisal_edge", PROTRUSION, passes=1.0, held=1.5)
    for keys in ({}, {"dentine_mm": 4}, {"dentine_mm": 2}, {"dentine_mm": 0.1}):
        option = only(run(unit(edge, tooth=tooth, **keys)), "re_preparation")
        assert any(words in text for text in said(option))
    canine = only(run(unit(edge, tooth="13")), "re_preparation")
    assert not any("incisor" in text for text in said(canine))


# Limiting convergence asin(H / B) (Parker): 4.6 on 10 -> 27.4, 4.1 on 10 -> 24.2.
@pytest.mark.parametrize(
    ("stated", "words"),
    [
        (None, "below 24.2 degrees of total convergence then, below 27.4 now."),
        (16, "with 16.0 degrees it does."),
        (26, "with 26.0 degrees it does not: add grooves or boxes."),
    ],
)
def test_convergence_against_what_the_wall_bears(stated, words):
    keys = {} if stated is None else {"convergence_deg": stated}
    walls = {"wall_heights_mm": {"lingual": 4.6}, "base_width_mm": 10}
    option = only(run(unit(*ONE_SHORT, **walls, **keys)), "re_preparation")
    assert option.feasible
    assert any(text.endswith(words) for text in said(option))
    # 10 to 20 degrees are advised (Goodacre et al. 2001, abstract)
    wide = any("is more than 20: reduce it" in text for text in said(option))
    assert wide is (stated == 26)
    bare = only(run(unit(*ONE_SHORT, **keys)), "re_preparation")
    assert any("is more than 20" in text for text in said(bare)) is (stated == 26)


def test_convergence_is_nobodys_matter_in_a_fossa():
    fossa = strip("central_fossa", held=1.0)
    option = only(run(unit(fossa, convergence_deg=30)), "re_preparation")
    assert not any("convergence" in text for text in said(option))


def test_a_risk_under_the_instructions_for_use_is_named():
    words = "the statement of the device must name it"
    built = only(
        run(unit(strip("buccal_cusps", held=0.5), material="zirconia_3y")),
        "accept_risk",
    )
    found = [text for text in texts(built.consequences) if words in text]
    assert found == [
        "The need comes from instructions for use (buccal cusps): where it is not kept, "
        "the statement of the device must name it and the grounds."
    ]
    plain = only(run(unit(*ONE_SHORT)), "accept_risk")
    assert not any(words in text for text in texts(plain.consequences))
    assert any("warranty" in text for text in texts(plain.consequences))
    product = replace(
        SHIPPED,
        materials=tuple(
            replace(m, instructions="IFU 7") if m.key == "metal_ceramic" else m
            for m in SHIPPED.materials
        ),
    )
    named = only(run(unit(*ONE_SHORT), rule_set=product), "accept_risk")
    assert any(words in text for text in texts(named.consequences))


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_of_unit_has_ways_in_one_order(kind):
    tooth = "15" if kind is Kind.VENEER else "36"
    reading = {
        Kind.VENEER: point("facial_surface", 0.1, 0.01, None, "index_probe"),
        Kind.INLAY: strip("central_fossa", held=0.5),
    }.get(kind, strip("buccal_cusps", held=0.5))
    material = "lithium_disilicate" if kind is not Kind.PONTIC else "metal_ceramic"
    result = run(unit(reading, tooth=tooth, kind=kind.value, material=material))
    options = result.units[0].options
    order = [(not o.feasible, o.removal_mm) for o in options]
    assert order == sorted(order)
    assert all(o.feasible is not bool(o.reasons) for o in options)
    assert all(bool(o.consequences) for o in options if o.feasible)
    if "re_preparation" in feasible_kinds(result):
        cut = only(result, "re_preparation")
        assert cut.removal_mm == max(high for _s, _l, high in cut.depth_mm) > 0
