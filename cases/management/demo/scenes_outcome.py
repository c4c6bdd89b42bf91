"""What came of it in the mouth: fitted, and not fitted with its remake."""

from cases.lifecycle import AnswerKind
from cases.management.demo.days import Days
from cases.management.demo.stage import Story
from cases.management.demo.teeth import row, unit
from cases.management.demo.troupe import Troupe
from cases.services.answers import AnswerInput
from cases.services.outcome import FitInput

__all__ = ["fitted", "not_fitted"]


def fitted(troupe: Troupe, days: Days) -> Story:
    """The whole job: short, asked, prepared again, built, fitted as delivered."""
    ceramic = {"occlusal_surface": "ceramic", "finish_line": "shoulder"}
    return (
        troupe.at_quillfern()
        .draft(
            days.at(62, "09:20"),
            "QF-1064",
            [
                unit(
                    "26",
                    "metal_ceramic",
                    row("1.5", "1.0-1.5", "1.5"),
                    wall_heights_mm={"facial": "5.1", "lingual": "4.9"},
                    base_width_mm="10",
                    **ceramic,
                )
            ],
            wanted_on=days.date(45),
            shade="Tab 5",
        )
        .submit(days.at(62, "09:50"))
        .receive(days.at(60, "08:40"), "3", promised_on=days.date(46))
        .ask(
            days.at(60, "09:30"),
            "Between 0.5 and 1.0 is missing over the palatal cusps for ceramic. There "
            "is height enough: a second preparation would hold.",
        )
        .answer(
            days.at(59, "08:20"),
            AnswerInput(
                kind=AnswerKind.RE_PREPARATION,
                grounds="Agreed. I recall the patient and stop at the 2.0 strip.",
            ),
        )
        .records(
            days.at(55, "15:00"),
            [{"tooth": "26", **reading} for reading in row("2.0", "2.0", "1.5")],
            "The 2.0 strip slides over both palatal cusps now.",
        )
        .receive(days.at(53, "08:50"), "3")
        .clear(days.at(53, "10:00"))
        .release(days.at(53, "10:15"))
        .dispatch(days.at(46, "16:00"), "By the Tuesday round")
        .receipt(days.at(45, "09:10"))
        .fit(
            days.at(44, "11:30"),
            FitInput(fitted=True, findings=["as_delivered"], minutes=12),
        )
    )


def not_fitted(troupe: Troupe, days: Days) -> Story:
    """A documented risk that came true, and the remake it led to."""
    return (
        troupe.at_mossgallop()
        .draft(
            days.at(48, "10:00"),
            "MG-0361",
            [
                unit(
                    "27",
                    "metal_ceramic",
                    row("1.5", "1.5-2.0", "1.5"),
                    occlusal_surface="ceramic",
                )
            ],
            wanted_on=days.date(32),
            shade="Tab 6",
        )
        .submit(days.at(48, "10:20"))
        .receive(days.at(46, "09:00"), "6", promised_on=days.date(33))
        .ask(
            days.at(46, "09:45"),
            "Up to 0.5 is missing over the palatal cusps. Built like this the ceramic "
            "gets thin over the cusp tips.",
        )
        .answer(
            days.at(45, "13:00"),
            AnswerInput(
                kind=AnswerKind.ACCEPT_RISK,
                grounds="The patient leaves for a long journey and cannot come twice. "
                "Risk of a thin spot explained and accepted.",
                consent=True,
            ),
        )
        .countersign(days.at(44, "08:30"))
        .clear(days.at(44, "09:00"))
        .release(days.at(44, "09:10"))
        .dispatch(days.at(34, "15:30"), "By the Friday round")
        .receipt(days.at(33, "09:00"))
        .fit(
            days.at(32, "14:20"),
            FitInput(
                fitted=False,
                findings=["too_high", "perforated"],
                minutes=35,
                note="High by about 0.3 palatally; the opaque showed through before "
                "it was down.",
            ),
        )
        .remake(
            days.at(32, "15:00"),
            "clearance_risk_accepted",
            "shared",
            "Prepared again at once; new readings follow with the impression.",
        )
    )
