"""The query and its answer: on hold, countersignature due, recall, deferral."""

from cases.lifecycle import AnswerKind
from cases.management.demo.days import Days
from cases.management.demo.photo import drawn_photo
from cases.management.demo.stage import Story
from cases.management.demo.teeth import AT_PROTRUSION, row, strip, unit
from cases.management.demo.troupe import Troupe
from cases.services.answers import AnswerInput

__all__ = ["awaiting_records", "countersign_due", "deferred", "on_hold"]


def on_hold(troupe: Troupe, days: Days) -> Story:
    """On hold: the clinician's answer is due, the conversation is under way."""
    story = (
        troupe.at_quillfern()
        .draft(
            days.at(5, "09:15"),
            "QF-1159",
            [
                unit(
                    "16",
                    "metal_ceramic",
                    row("1.5", "1.5-2.0", "1.5"),
                    occlusal_surface="ceramic",
                    wall_heights_mm={"facial": "4.4", "lingual": "3.6"},
                    base_width_mm="10.5",
                    finish_line="shoulder",
                )
            ],
            wanted_on=days.date(-4),
            shade="Tab 5, cervical third one darker",
            jaw_record="silicone in maximal intercuspation",
        )
        .submit(days.at(5, "10:00"))
        .receive(days.at(3, "08:40"), "26", promised_on=days.date(-3))
    )
    on_model = {
        "tooth": "16",
        "site": "lingual_cusps",
        "position": "maximal_intercuspation",
        "method": "cast_caliper",
        "value_mm": "1.6",
        "basis": "model",
        "mounting_number": 1,
        "note": "die and mounting checked against the jaw record",
    }
    story.measure(days.at(3, "10:20"), [on_model])
    story.ask(
        days.at(3, "10:35"),
        "The palatal cusps, which carry the bite here, are short: the 1.5 strip slides "
        "through, the 2.0 is held, and I read 1.6 on the mounted models. For ceramic "
        "over the palatal cusps I need 2.0. Please choose: a little off the palatal "
        "cusps and a new impression, another material, or metal on the palatal side. "
        "The palatal margin is also hard to see distally; please look at it on the "
        "same visit.",
        ["finish_line"],
    )
    players = troupe.players
    story.say(
        days.at(3, "10:50"),
        players["orrix"],
        "Wall height palatally is only 3.6 as it is. If she takes half a millimetre "
        "off there, little is left to hold the crown; zirconia may be the kinder way "
        "out.",
        internal=True,
    )
    story.say(
        days.at(2, "13:05"),
        players["pim"],
        "She has seen it and will decide tomorrow. The patient can come on Thursday. "
        "Here is where we held the strip.",
        photo=drawn_photo(),
    )
    return story.say(
        days.at(2, "14:30"),
        players["orrix"],
        "Thank you, that is the spot. If she prepares again: stop when the 2.0 strip "
        "slides. I keep the bench free until then.",
    )


def countersign_due(troupe: Troupe, days: Days) -> Story:
    """On hold: a documented risk waits for the responsible technician."""
    return (
        troupe.at_tanglewhisk()
        .draft(
            days.at(8, "10:20"),
            "TW-2087",
            [
                unit(
                    "21",
                    "lithium_disilicate",
                    [
                        strip("lingual_surface", passes_mm="1.0"),
                        strip(
                            "lingual_surface",
                            AT_PROTRUSION,
                            passes_mm="0.5",
                            held_mm="1.0",
                        ),
                        strip("incisal_edge", AT_PROTRUSION, passes_mm="1.5"),
                    ],
                    finish_line="radial shoulder",
                )
            ],
            wanted_on=days.date(-3),
            shade="Tab 2, translucent edge",
            jaw_record="silicone, protrusive record added",
        )
        .submit(days.at(8, "11:00"))
        .receive(days.at(6, "09:05"), "22", promised_on=days.date(-2))
        .ask(
            days.at(6, "10:10"),
            "Enough room in maximal intercuspation, but in protrusion the palatal "
            "surface closes to between 0.5 and 1.0. The pressed ceramic needs 1.0 "
            "there or it will be thin exactly where the lower incisor slides.",
        )
        .answer(
            days.at(2, "17:10"),
            AnswerInput(
                kind=AnswerKind.ACCEPT_RISK,
                grounds="The palatal wall is close to the pulp; I will not go deeper. "
                "The patient wants the translucent edge and was told that the crown "
                "may chip at the palatal side. A night splint is made anyway.",
                consent=True,
            ),
        )
    )


def awaiting_records(troupe: Troupe, days: Days) -> Story:
    """A bridge: the clinician prepares again, new records are due."""
    bridge = {"span": "1", "occlusal_surface": "ceramic", "finish_line": "shoulder"}
    return (
        troupe.at_mossgallop()
        .draft(
            days.at(10, "09:40"),
            "MG-0398",
            [
                unit(
                    "24",
                    "metal_ceramic",
                    row("2.0", "2.0", "1.5"),
                    kind="retainer",
                    wall_heights_mm={"facial": "5.0", "lingual": "4.2"},
                    **bridge,
                ),
                unit("25", "metal_ceramic", [], kind="pontic", **bridge),
                unit(
                    "26",
                    "metal_ceramic",
                    row("2.0", "1.5-2.0", "1.5"),
                    kind="retainer",
                    wall_heights_mm={"facial": "4.5", "lingual": "4.0"},
                    **bridge,
                ),
            ],
            wanted_on=days.date(-10),
            shade="Tab 6",
            jaw_record="wax in maximal intercuspation",
        )
        .submit(days.at(10, "10:30"))
        .receive(days.at(8, "08:30"), "19", promised_on=days.date(-8))
        .ask(
            days.at(8, "09:30"),
            "The palatal cusps of the molar abutment are short for ceramic: the 2.0 "
            "strip is held. The pontic was not read at all; I can measure it on the "
            "models once they are mounted again. If you recall the patient, please "
            "take one impression of both abutments.",
        )
        .answer(
            days.at(5, "12:30"),
            AnswerInput(
                kind=AnswerKind.RE_PREPARATION,
                grounds="There is enough wall. I will lower the palatal cusps until "
                "the 2.0 strip slides and take both abutments in one impression.",
            ),
        )
    )


def deferred(troupe: Troupe, days: Days) -> Story:
    """Deferred: the crown is lengthened first."""
    return (
        troupe.at_tanglewhisk()
        .draft(
            days.at(26, "15:00"),
            "TW-2055",
            [
                unit(
                    "37",
                    "metal_ceramic",
                    row("1.0-1.5", "1.0-1.5", "1.0-1.5"),
                    occlusal_surface="ceramic",
                    wall_heights_mm={"facial": "2.4", "lingual": "2.6"},
                    base_width_mm="10",
                )
            ],
            wanted_on=days.date(12),
            shade="Tab 5",
        )
        .submit(days.at(26, "15:25"))
        .receive(days.at(24, "09:00"), "12")
        .ask(
            days.at(24, "10:00"),
            "Short everywhere, and the walls are only 2.4 to 2.6 high: taking more off "
            "leaves nothing to hold the crown. Please look at the whole plan.",
        )
        .answer(
            days.at(20, "16:40"),
            AnswerInput(
                kind=AnswerKind.REFER,
                referral="crown_lengthening",
                review_on=days.date(-15),
                grounds="The opposing molar has over-erupted and the clinical crown is "
                "short. Crown lengthening first, then a new preparation.",
            ),
        )
    )
