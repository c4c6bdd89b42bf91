"""The check of one site: its positions, its need, its sentence."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from rules.explain import (
    doubt_sentence,
    insufficient_sentence,
    need_notes,
    reading_notes,
    sufficient_sentence,
    unmeasured_sentence,
)
from rules.judge import PositionCheck, governing, judge_position
from rules.needs import SiteNeed, site_need
from rules.readings import Combined, Reading, combine
from rules.request import Unit
from rules.requirements import RuleSet
from rules.results import SiteCheck
from rules.teeth import cusp_role, quantity_at, site_label
from rules.terms import Doubt, Message, Position, Quantity, Site, Verdict

__all__ = ["Measured", "judge_site", "measure", "unmeasured_site"]

_ZERO = Decimal(0)
_POSITIONS = tuple(Position)


@dataclass(frozen=True, slots=True)
class Measured:
    """Readings of one site and quantity, combined per jaw position.

    They do not depend on the material, so judging a unit under another one does not
    combine them again. Positions stand in listed order, so that the order of entry
    changes no sentence.
    """

    site: Site
    quantity: Quantity
    readings: tuple[Reading, ...]
    positions: tuple[tuple[Position | None, Combined], ...]


def measure(
    rule_set: RuleSet, site: Site, quantity: Quantity, readings: Sequence[Reading]
) -> Measured:
    """Combine the readings of one site and quantity."""
    grouped: dict[Position | None, list[Reading]] = {}
    for reading in readings:
        grouped.setdefault(reading.position, []).append(reading)
    positions = tuple(
        (
            position,
            combine(
                group,
                delta=rule_set.strip_delta_mm,
                drag=rule_set.drag_mm,
                u_of=rule_set.u_by_method,
            ),
        )
        for position, group in sorted(grouped.items(), key=_listed)
    )
    return Measured(site, quantity, tuple(readings), positions)


def _listed(item: tuple[Position | None, list[Reading]]) -> int:
    return _POSITIONS.index(item[0]) if item[0] else 0


def unmeasured_site(rule_set: RuleSet, unit: Unit, site: Site) -> SiteCheck:
    """Return the check of a required site that was not read."""
    quantity = quantity_at(site, unit.tooth, unit.relation, positioned=True)
    need = site_need(rule_set, unit, site, quantity)
    name = site_label(site, unit.tooth)
    return SiteCheck(
        site=site,
        role=cusp_role(site, unit.tooth, unit.relation),
        quantity=quantity,
        verdict=Verdict.UNMEASURED,
        label=name,
        need_mm=need.min_mm,
        target_mm=need.target_mm,
        low_mm=None,
        high_mm=None,
        is_point=False,
        u_mm=None,
        governing_position=None,
        shortage_low_mm=None,
        shortage_high_mm=None,
        conformance_probability=None,
        source=need.source,
        advice=unmeasured_sentence(name, quantity),
        notes=tuple(need_notes(need, rule_set.cement_space_mm, rule_set.adjustment_mm)),
        doubts=(),
        required=True,
        at_or_above_need=False,
        thickness_mm=need.own.thickness_mm if need.own else None,
    )


def _missing(
    rule_set: RuleSet, unit: Unit, measured: Measured, need: SiteNeed
) -> tuple[tuple[Position, ...], tuple[Position, ...]]:
    """Return required and advised positions without a reading."""
    if measured.quantity is not Quantity.CLEARANCE:
        return (), ()
    seen = {position for position, _combined in measured.positions}
    required, advised = rule_set.positions_for(measured.site, unit.tooth, unit.relation)
    required = need.positions or required
    return (
        tuple(position for position in required if position not in seen),
        tuple(p for p in advised if p not in seen and p not in required),
    )


def judge_site(
    rule_set: RuleSet, unit: Unit, measured: Measured, k: Decimal, *, required: bool
) -> SiteCheck:
    """Judge a site that was read: every position by itself, the worst governs."""
    site, quantity = measured.site, measured.quantity
    need = site_need(rule_set, unit, site, quantity)
    checks = [
        judge_position(position, combined, need, k, planned_plane=unit.planned_plane)
        for position, combined in measured.positions
    ]
    lacking, advised = _missing(rule_set, unit, measured, need)
    leading = governing(checks)
    verdict = leading.verdict
    if lacking and verdict is not Verdict.INSUFFICIENT:
        verdict = Verdict.UNDECIDED
    name = site_label(site, unit.tooth)
    combined, least = leading.combined, need.min_mm
    shortage = _shortage(combined.low, combined.high, least)
    sentences = _sentences(name, site, verdict, leading, need, lacking, checks)
    notes = need_notes(need, rule_set.cement_space_mm, rule_set.adjustment_mm)
    notes += reading_notes(measured.readings, need, combined.low, advised)
    return SiteCheck(
        site=site,
        role=cusp_role(site, unit.tooth, unit.relation),
        quantity=quantity,
        verdict=verdict,
        label=name,
        need_mm=least,
        target_mm=need.target_mm,
        low_mm=combined.low,
        high_mm=combined.high,
        is_point=combined.point is not None,
        u_mm=combined.point.u if combined.point else None,
        governing_position=leading.position,
        shortage_low_mm=shortage[0] if shortage else None,
        shortage_high_mm=shortage[1] if shortage else None,
        conformance_probability=leading.probability,
        source=need.source,
        advice=sentences[0],
        notes=(*sentences[1:], *notes),
        doubts=_doubts(checks, lacking),
        required=required,
        at_or_above_need=not lacking and _at_or_above(leading, checks, least),
        thickness_mm=need.own.thickness_mm if need.own else None,
    )


def _shortage(
    low: Decimal, high: Decimal | None, need: Decimal | None
) -> tuple[Decimal, Decimal] | None:
    """Return [need - high, need - low] clipped at zero."""
    if need is None:
        return None
    least = _ZERO if high is None else max(_ZERO, need - high)
    return least, max(_ZERO, need - low)


def _doubts(
    checks: Sequence[PositionCheck], lacking: Sequence[Position]
) -> tuple[Doubt, ...]:
    found = {doubt for check in checks for doubt in check.doubts}
    if lacking:
        found.add(Doubt.POSITION_MISSING)
    return tuple(doubt for doubt in Doubt if doubt in found)


def _at_or_above(
    leading: PositionCheck, checks: Sequence[PositionCheck], need: Decimal | None
) -> bool:
    """Tell whether points alone, all at or above the need, hold the site.

    Only such a site may be cleared "within measuring uncertainty"; any other doubt
    (disagreement, missing position, unfixed split, open interval) rules it out.
    """
    held = [leading, *(c for c in checks if c.verdict is not Verdict.SUFFICIENT)]
    return need is not None and all(
        check.combined.point is not None
        and check.combined.low >= need
        and set(check.doubts) <= {Doubt.WITHIN_UNCERTAINTY}
        for check in held
    )


def _sentences(
    name: str,
    site: Site,
    verdict: Verdict,
    leading: PositionCheck,
    need: SiteNeed,
    lacking: Sequence[Position],
    checks: Sequence[PositionCheck],
) -> list[Message]:
    """Return the advice first, then what else stands in the way."""
    least = need.min_mm
    low, high = leading.combined.low, leading.combined.high
    found: list[Message] = []
    if verdict is Verdict.INSUFFICIENT and least is not None:
        shortage = _shortage(low, high, least) or (_ZERO, _ZERO)
        found.append(insufficient_sentence(site, name, *shortage, least))
    doubtful = sorted(
        (check for check in checks if check.doubts), key=lambda c: c is not leading
    )
    found += [
        doubt_sentence(doubt, name, check, need)
        for check in doubtful
        for doubt in check.doubts
    ]
    found += [
        doubt_sentence(Doubt.POSITION_MISSING, name, leading, need, position)
        for position in lacking
    ]
    if not found and least is not None:
        found.append(sufficient_sentence(name, leading, least))
    return found
