"""A case in words and pictures, for every page that shows more than its name."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from cases.drawings.tooth_chart import ToothMark, ToothWords, tooth_chart
from cases.enums import FlagStatus
from cases.forms.vocabulary import material_words, tooth_number, tooth_words
from cases.forms.words import word
from cases.selectors.rounds import check_history
from cases.services.checks import readings_in_force, rule_set_for
from cases.tenancy import Actor
from cases.timeline import chain_faults
from cases.views.figures import UnitPanel, safe_svg, unit_panel
from cases.views.ways import OptionRow, option_rows
from rules.teeth import PERMANENT_TEETH
from rules.terms import Kind, label

if TYPE_CHECKING:
    from cases.models import Check, Flag, Unit
    from cases.selectors.cases import CaseDetail
    from cases.selectors.records import TimelineRow
    from rules.requirements import RuleSet

__all__ = [
    "Chain",
    "Due",
    "case_title",
    "chain_of",
    "due_of",
    "query_rows",
    "round_rows",
    "teeth_figure",
    "unit_panels",
]

SOON = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class Due:
    """A due date and how near it is: the class of the sheet."""

    on: date | None
    style: str
    word: str


@dataclass(frozen=True, slots=True)
class QueryRow:
    """One query in words; ``options`` as they were offered."""

    flag: "Flag"
    reasons: tuple[str, ...]
    options: tuple[OptionRow, ...]
    waiting: bool
    answers: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class Chain:
    """What the check of a timeline's chain found."""

    sound: bool
    faults: tuple[str, ...]
    hidden: int


def due_of(promised: date | None, wanted: date | None, now: datetime) -> Due:
    """Return the day the work is due: the promised one, else the wanted one."""
    on = promised or wanted
    if on is None:
        return Due(None, "", "")
    today = now.date()
    if on < today:
        return Due(on, "due-late", _("late"))
    if on - today <= SOON:
        return Due(on, "due-soon", _("today") if on == today else _("soon"))
    return Due(on, "", "")


def case_title(detail: "CaseDetail", actor: Actor) -> str:
    """Return what a case is called: its teeth and what is made."""
    units = detail.units or detail.draft_units
    if not units:
        return _("Case without teeth yet")
    teeth = ", ".join(tooth_number(u.tooth, actor.tooth_system) for u in units)
    kinds = dict.fromkeys(_(label(Kind(u.kind))) for u in units)
    return f"{teeth} {', '.join(kinds)}"


def _panels(
    detail: "CaseDetail", units: Sequence["Unit"], actor: Actor, rule_set: "RuleSet"
) -> tuple[UnitPanel, ...]:
    case = detail.case
    check = case.current_check
    readings = readings_in_force(case, round_number=case.round) if check else ()
    grounds = {(g.verdict.tooth, g.verdict.site): g for g in detail.grounds}
    return tuple(
        unit_panel(
            unit,
            result=check.result if check else None,
            readings=readings,
            grounds=grounds,
            rule_set=rule_set,
            system=actor.tooth_system,
            code=case.code if check else "",
        )
        for unit in units
    )


def unit_panels(detail: "CaseDetail", actor: Actor) -> tuple[UnitPanel, ...]:
    """Return every unit of the prescription in force, else of the draft."""
    rule_set = rule_set_for(detail.case.rule_set_digest)
    return _panels(detail, detail.units or detail.draft_units, actor, rule_set)


def _tooth_marks(
    panels: Sequence[UnitPanel], units: Sequence["Unit"]
) -> dict[str, ToothMark]:
    """Return what the tooth chart says at each tooth of the case."""
    verdicts = {panel.tooth: panel.verdict for panel in panels if panel.verdict}
    return {
        unit.tooth: ToothMark(
            label=_(label(Kind(unit.kind))),
            verdict=verdicts.get(unit.tooth, ""),
            verdict_word=_(verdicts[unit.tooth].replace("_", " "))
            if unit.tooth in verdicts
            else "",
            linked=frozenset(
                other.tooth
                for other in units
                if unit.span and other.span == unit.span and other is not unit
            ),
        )
        for unit in units
    }


def teeth_figure(
    panels: Sequence[UnitPanel], units: Sequence["Unit"], actor: Actor
) -> dict[str, Any] | None:
    """Return the tooth chart with the units of the case, whole and by quadrant."""
    if not units:
        return None
    draw = partial(
        tooth_chart,
        _tooth_marks(panels, units),
        numbering={t: tooth_number(t, actor.tooth_system) for t in PERMANENT_TEETH},
        title=_("Tooth chart"),
        describe="; ".join(f"{p.label}: {p.making} {p.verdict}" for p in panels),
        words=ToothWords(right=_("right"), left=_("left")),
    )
    quadrants = sorted({int(unit.tooth[0]) for unit in units})
    return {
        "title": "",
        "wide": safe_svg(draw(uid="teeth")),
        "quadrants": [safe_svg(draw(uid=f"teeth-{q}", quadrant=q)) for q in quadrants],
    }


def query_rows(detail: "CaseDetail") -> tuple[QueryRow, ...]:
    """Return every query of the case with its answers, oldest first."""
    rule_set = rule_set_for(detail.case.rule_set_digest)
    return tuple(
        QueryRow(
            flag=flag,
            reasons=tuple(word("reason", r) for r in flag.reasons),
            options=option_rows(flag.options, rule_set=rule_set),
            waiting=flag.status in (FlagStatus.OPEN, FlagStatus.COUNTERSIGN_DUE),
            answers=tuple(
                {
                    "answer": answer,
                    "words": word("answer", answer.kind),
                    "said": _parameters(answer.parameters, rule_set),
                }
                for answer in flag.answers.all()
            ),
        )
        for flag in detail.flags
    )


def _parameters(found: Mapping[str, Any], rule_set: "RuleSet") -> list[str]:
    """Return what an answer states beside its kind."""
    said = []
    for tooth, keys in (found.get("changes") or {}).items():
        variant = (keys.get("occlusal_surface"), keys.get("cementation"))
        material = keys.get("material", "")
        words = material_words(rule_set, material, variant) if material else ""
        said.append(f"{tooth}: {words or ', '.join(v for v in variant if v)}")
    for row in option_rows(
        [
            {"kind": "re_preparation", "feasible": True, "tooth": tooth, "depth_mm": d}
            for tooth, d in (found.get("depth_mm") or {}).items()
        ],
        rule_set=rule_set,
    ):
        said += [f"{row.tooth}: {depth}" for depth in row.depths]
    if found.get("referral"):
        said.append(found["referral"].replace("_", " "))
    if found.get("review_on"):
        said.append(_("review on {day}").format(day=found["review_on"]))
    return said


def round_rows(actor: Actor, detail: "CaseDetail") -> list[dict[str, Any]]:
    """Return how the verdicts went, one row a check that counted."""
    causes = {r.number: r for r in detail.rounds}
    rows = []
    for check in check_history(actor=actor, code=detail.case.code):
        began = causes.get(check.round)
        rows.append(
            {
                "check": check,
                "cause": word("round", began.cause) if began else "",
                "mounting": began.mounting_number if began else "",
                "teeth": _verdicts(check, actor),
            }
        )
    return rows


def _verdicts(check: "Check", actor: Actor) -> list[dict[str, str]]:
    return [
        {
            "tooth": tooth_number(unit["tooth"], actor.tooth_system),
            "name": tooth_words(unit["tooth"], actor.tooth_system),
            "verdict": unit["verdict"],
        }
        for unit in check.result["units"]
    ]


def chain_of(rows: Sequence["TimelineRow"], actor: Actor) -> Chain:
    """Return what the check of the chain found, as far as the reader sees it.

    The laboratory's internal entries are not shown to the clinic: they are
    counted, not called a fault.
    """
    entries = [row.entry for row in rows]
    faults = chain_faults(entries, withheld=actor.is_clinic)
    hidden = entries[-1].position - len(entries) if entries and actor.is_clinic else 0
    return Chain(not faults, tuple(faults), hidden)
