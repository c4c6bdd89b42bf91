"""Settled and at the bench: cleared, in fabrication, at try-in, dispatched."""

from cases.lifecycle import AnswerKind
from cases.management.demo.days import Days
from cases.management.demo.stage import Story
from cases.management.demo.teeth import AT_PROTRUSION, point, row, strip, unit
from cases.management.demo.troupe import Troupe
from cases.services.answers import AnswerInput

__all__ = [
    "at_try_in",
    "cleared",
    "dispatched",
    "in_fabrication",
]


def dispatched(troupe: Troupe, days: Days) -> Story:
    """An upper incisor with room in every position, on its way back."""
    return (
        troupe.at_tanglewhisk()
        .draft(
            days.at(18, "09:00"),
            "TW-2068",
            [
                unit(
                    "11",
                    "lithium_disilicate",
                    [
                        strip("lingual_surface", passes_mm="1.5"),
                        strip("lingual_surface", AT_PROTRUSION, passes_mm="1.0"),
                        strip("incisal_edge", AT_PROTRUSION, passes_mm="1.5"),
                    ],
                    finish_line="radial shoulder",
                )
            ],
            wanted_on=days.date(-2),
            shade="Tab 2, photographs follow",
        )
        .submit(days.at(18, "09:30"))
        .receive(days.at(16, "08:45"), "15", promised_on=days.date(-1))
        .clear(days.at(16, "09:30"))
        .release(days.at(16, "09:40"))
        .dispatch(days.at(1, "16:00"), "By the afternoon round")
    )


def at_try_in(troupe: Troupe, days: Days) -> Story:
    """Cleared within measuring uncertainty, now tried in at the clinic."""
    return (
        troupe.at_mossgallop()
        .draft(
            days.at(15, "13:30"),
            "MG-0389",
            [
                unit(
                    "25",
                    "lithium_disilicate",
                    [
                        point("buccal_cusps", "1.3"),
                        point("lingual_cusps", "1.6"),
                        point("central_fossa", "1.4"),
                    ],
                    finish_line="radial shoulder",
                )
            ],
            wanted_on=days.date(-4),
            shade="Tab 3",
        )
        .submit(days.at(15, "13:50"))
        .receive(days.at(13, "09:00"), "17", promised_on=days.date(-2))
        .clear(days.at(13, "10:10"), [("25", "lingual_cusps")])
        .release(days.at(13, "10:20"))
        .try_in(
            days.at(3, "15:00"),
            "Unglazed. Please check the mesial contact and the shade in daylight.",
        )
    )


def in_fabrication(troupe: Troupe, days: Days) -> Story:
    """Short for metal-ceramic, changed to zirconia by a signed answer."""
    return (
        troupe.at_quillfern()
        .draft(
            days.at(12, "10:40"),
            "QF-1132",
            [
                unit(
                    "47",
                    "metal_ceramic",
                    row("1.0-1.5", "1.0-1.5", "1.0-1.5"),
                    occlusal_surface="ceramic",
                    wall_heights_mm={"facial": "3.4", "lingual": "3.6"},
                    base_width_mm="10",
                    finish_line="chamfer",
                )
            ],
            wanted_on=days.date(-3),
            shade="Tab 6",
        )
        .submit(days.at(12, "11:00"))
        .receive(days.at(10, "08:35"), "18", promised_on=days.date(-2))
        .ask(
            days.at(10, "09:15"),
            "Between 1.0 and 1.5 all over, 2.0 is needed on the buccal cusps. The walls "
            "are low, so I would not take more off. Zirconia would go into this room "
            "without touching the tooth again.",
        )
        .answer(
            days.at(9, "12:50"),
            AnswerInput(
                kind=AnswerKind.CHANGE_MATERIAL,
                grounds="A second molar nobody sees: zirconia, and the tooth stays as "
                "it is.",
                changes={"47": {"material": "zirconia_3y"}},
            ),
        )
        .clear(days.at(8, "08:50"))
        .release(days.at(8, "09:00"))
    )


def cleared(troupe: Troupe, days: Days) -> Story:
    """Both arches prepared: each gap holds the needs of two crowns."""
    both = {
        "antagonist": "prepared",
        "planned_plane": True,
        "occlusal_surface": "ceramic",
        "finish_line": "shoulder",
    }
    facing = {"kind": "crown", "material": "metal_ceramic"}
    return (
        troupe.at_quillfern()
        .draft(
            days.at(7, "08:50"),
            "QF-1147",
            [
                unit(
                    "36",
                    "metal_ceramic",
                    _gap("4.0", "3.9", "3.9"),
                    antagonists=[{"tooth": "26", **facing}],
                    **both,
                ),
                unit(
                    "26",
                    "metal_ceramic",
                    _gap("3.9", "3.9", "4.0"),
                    antagonists=[{"tooth": "36", **facing}],
                    **both,
                ),
            ],
            wanted_on=days.date(-8),
            shade="Tab 5",
            notes="The plane is fixed by the wax-up sent with the models.",
        )
        .submit(days.at(7, "09:30"))
        .receive(days.at(5, "08:40"), "25", promised_on=days.date(-6))
        .clear(days.at(1, "09:00"))
    )


def _gap(buccal: str, lingual: str, fossa: str) -> list[dict[str, object]]:
    return [
        point("buccal_cusps", buccal),
        point("lingual_cusps", lingual),
        point("central_fossa", fossa),
    ]
