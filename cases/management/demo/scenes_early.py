"""Before any query: drafts, parcels on their way, and cases at the check."""

from cases.management.demo.days import Days
from cases.management.demo.stage import Story
from cases.management.demo.teeth import point, row, strip, unit
from cases.management.demo.troupe import Troupe

__all__ = ["cancelled", "draft", "incomplete", "short", "submitted", "undecided"]


def draft(troupe: Troupe, days: Days) -> Story:
    """A draft: the assistant typed what was called, the clinician has not signed."""
    return troupe.at_quillfern().draft(
        days.at(1, "15:40"),
        "QF-1188",
        [
            unit(
                "46",
                "lithium_disilicate",
                [
                    strip("buccal_cusps", passes_mm="1.5"),
                    strip("lingual_cusps", passes_mm="1.0", held_mm="1.5"),
                ],
                finish_line="radial shoulder",
            )
        ],
        wanted_on=days.date(-9),
        shade="Tab 4, body; tab 3, cusps",
        notes="The fossa still has to be read; provisional comes off tomorrow.",
    )


def submitted(troupe: Troupe, days: Days) -> Story:
    """On its way: signed by the clinician, not yet received."""
    return (
        troupe.at_mossgallop()
        .draft(
            days.at(1, "10:05"),
            "MG-0412",
            [
                unit(
                    "15",
                    "zirconia_4y",
                    row("1.5", "1.5", "1.5"),
                    finish_line="chamfer",
                )
            ],
            wanted_on=days.date(-8),
            shade="Tab 6",
            jaw_record="scan in maximal intercuspation",
            disinfection="none needed: scan",
        )
        .submit(days.at(1, "11:20"))
    )


def short(troupe: Troupe, days: Days) -> Story:
    """At the check and short over the lingual cusps: the first thing to try."""
    return (
        troupe.at_quillfern()
        .draft(
            days.at(3, "16:10"),
            "QF-1171",
            [
                unit(
                    "36",
                    "metal_ceramic",
                    row("2.0", "1.0-1.5", "1.5"),
                    occlusal_surface="ceramic",
                    wall_heights_mm={"facial": "4.6", "lingual": "4.8"},
                    base_width_mm="10",
                    finish_line="shoulder",
                )
            ],
            wanted_on=days.date(-6),
            shade="Tab 5",
            jaw_record="silicone in maximal intercuspation",
        )
        .submit(days.at(3, "16:30"))
        .receive(days.at(1, "08:45"), "31", promised_on=days.date(-5))
    )


def undecided(troupe: Troupe, days: Days) -> Story:
    """At the check, at the need but within the measuring uncertainty."""
    return (
        troupe.at_tanglewhisk()
        .draft(
            days.at(4, "09:30"),
            "TW-2093",
            [
                unit(
                    "26",
                    "lithium_disilicate",
                    [
                        point("buccal_cusps", "1.3"),
                        point("lingual_cusps", "1.6"),
                        point("central_fossa", "1.3"),
                    ],
                    finish_line="radial shoulder",
                )
            ],
            wanted_on=days.date(-7),
            shade="Tab 4",
        )
        .submit(days.at(4, "10:15"))
        .receive(days.at(2, "09:10"), "28", promised_on=days.date(-6))
    )


def incomplete(troupe: Troupe, days: Days) -> Story:
    """Sent back: the opposing impression is not in the parcel."""
    return (
        troupe.at_mossgallop()
        .draft(
            days.at(6, "11:00"),
            "MG-0405",
            [
                unit(
                    "24",
                    "zirconia_3y",
                    row("1.0", "1.0", "1.0"),
                    finish_line="light chamfer",
                )
            ],
            wanted_on=days.date(-5),
        )
        .submit(days.at(6, "11:25"))
        .receive(days.at(4, "08:50"), "24", contents=["impression"])
        .incomplete(
            days.at(4, "09:20"),
            "No opposing impression and no jaw record in the parcel, so the models "
            "cannot be mounted. No shade is written either.",
        )
    )


def cancelled(troupe: Troupe, days: Days) -> Story:
    """Cancelled by the prescriber before anything was made."""
    return (
        troupe.at_tanglewhisk()
        .draft(
            days.at(33, "14:00"),
            "TW-2041",
            [
                unit(
                    "45",
                    "metal_ceramic",
                    row("1.5-2.0", "1.5", "1.5"),
                    occlusal_surface="ceramic",
                )
            ],
            wanted_on=days.date(20),
            shade="Tab 5",
        )
        .submit(days.at(33, "14:30"))
        .receive(days.at(31, "09:00"), "9")
        .cancel(
            days.at(30, "12:10"),
            "The root turned out to be cracked; the tooth will be extracted. Nothing "
            "was made yet, so nothing is charged.",
        )
    )
