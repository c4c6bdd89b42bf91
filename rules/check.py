"""The check: verdict per site, unit and case. Total, deterministic, ordered.

``run_check`` judges what ``rules.payload`` (or a stored case) asks, under one rule
set; the same request and rule set give the same answer for ever.
"""

from collections.abc import Sequence
from decimal import Decimal

from rules.explain import (
    doubt_sentence,
    insufficient_sentence,
    need_notes,
    reading_notes,
    sufficient_sentence,
    unmeasured_sentence,
)
from rules.gap import shared_readings
from rules.judge import PositionCheck, governing, judge_position
from rules.needs import SiteNeed, site_need
from rules.options import options_for
from rules.readings import Reading, combine
from rules.request import CheckRequest, Unit
from rules.requirements import RuleSet
from rules.results import CaseCheck, Option, SiteCheck, UnitCheck, worst
from rules.teeth import cusp_role, quantity_at, row_cusps, site_label
from rules.terms import Doubt, Message, Position, Quantity, Site, Verdict

__all__ = [
    "CaseCheck",
    "Option",
    "SiteCheck",
    "UnitCheck",
    "check_sites",
    "run_check",
]

_Place = tuple[Site, Quantity]
_ZERO = Decimal(0)
_QUANTITIES = tuple(Quantity)
_SITES = tuple(Site)
_POSITIONS = tuple(Position)


def run_check(rule_set: RuleSet, request: CheckRequest) -> CaseCheck:
    """Judge every unit of a request under a rule set.

    ``request.k`` overrides the rule set's guard factor. Never raises on a request
    that ``rules.payload.parse_check`` accepted for the same rule set.
    """
    k = rule_set.k if request.k is None else request.k
    units = tuple(
        _check_unit(rule_set, shared_readings(unit, request.units), k)
        for unit in request.units
    )
    return CaseCheck(
        verdict=worst(unit.verdict for unit in units),
        units=units,
        rule_set_name=rule_set.name,
        rule_set_version=rule_set.version,
        rule_set_digest=rule_set.digest,
        k=k,
    )


def _check_unit(rule_set: RuleSet, unit: Unit, k: Decimal) -> UnitCheck:
    sites = check_sites(rule_set, unit, k)
    verdict = worst(site.verdict for site in sites)
    return UnitCheck(
        tooth=unit.tooth,
        verdict=verdict,
        sites=sites,
        options=options_for(rule_set, unit, sites, k, check_sites),
    )


def check_sites(rule_set: RuleSet, unit: Unit, k: Decimal) -> tuple[SiteCheck, ...]:
    """Judge every site that was read and every required site that was not."""
    read = _by_place(unit)
    required = rule_set.required(unit.tooth, unit.kind, unit.relation)
    checks = [
        _judge(rule_set, unit, place, readings, k, required=place[0] in required)
        for place, readings in read.items()
    ]
    seen = {site for site, _quantity in read}
    for site in required:
        cusps = row_cusps(site, unit.tooth)
        if site not in seen and not (cusps and seen.issuperset(cusps)):
            checks.append(_unmeasured(rule_set, unit, site))
    return tuple(sorted(checks, key=lambda c: _listing((c.site, c.quantity))))


def _listing(place: _Place) -> tuple[int, int]:
    return _SITES.index(place[0]), _QUANTITIES.index(place[1])


def _by_place(unit: Unit) -> dict[_Place, list[Reading]]:
    found: dict[_Place, list[Reading]] = {}
    for reading in unit.readings:
        quantity = quantity_at(
            reading.site,
            unit.tooth,
            unit.relation,
            positioned=reading.position is not None,
        )
        found.setdefault((reading.site, quantity), []).append(reading)
    return found


def _unmeasured(rule_set: RuleSet, unit: Unit, site: Site) -> SiteCheck:
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


def _positions(
    rule_set: RuleSet,
    unit: Unit,
    place: _Place,
    readings: Sequence[Reading],
    k: Decimal,
) -> tuple[list[PositionCheck], SiteNeed]:
    need = site_need(rule_set, unit, *place)
    grouped: dict[Position | None, list[Reading]] = {}
    for reading in readings:
        grouped.setdefault(reading.position, []).append(reading)
    checks = [
        judge_position(
            position,
            combine(
                group,
                delta=rule_set.strip_delta_mm,
                drag=rule_set.drag_mm,
                u_of=rule_set.u_by_method,
            ),
            need,
            k,
            planned_plane=unit.planned_plane,
        )
        for position, group in sorted(grouped.items(), key=_listed)
    ]
    return checks, need


def _listed(item: tuple[Position | None, list[Reading]]) -> int:
    """Order positions as they are listed, so that entry order changes no sentence."""
    return _POSITIONS.index(item[0]) if item[0] else 0


def _missing(
    rule_set: RuleSet, unit: Unit, place: _Place, need: SiteNeed, seen: set[object]
) -> tuple[tuple[Position, ...], tuple[Position, ...]]:
    """Return required and advised positions without a reading."""
    site, quantity = place
    if quantity is not Quantity.CLEARANCE:
        return (), ()
    required, advised = rule_set.positions_for(site, unit.tooth, unit.relation)
    required = need.positions or required
    return (
        tuple(position for position in required if position not in seen),
        tuple(p for p in advised if p not in seen and p not in required),
    )


def _judge(
    rule_set: RuleSet,
    unit: Unit,
    place: _Place,
    readings: Sequence[Reading],
    k: Decimal,
    *,
    required: bool,
) -> SiteCheck:
    site, quantity = place
    checks, need = _positions(rule_set, unit, place, readings, k)
    seen: set[object] = {check.position for check in checks}
    lacking, advised = _missing(rule_set, unit, place, need, seen)
    leading = governing(checks)
    verdict = leading.verdict
    if lacking and verdict is not Verdict.INSUFFICIENT:
        verdict = Verdict.UNDECIDED
    name = site_label(site, unit.tooth)
    combined, least = leading.combined, need.min_mm
    shortage = _shortage(combined.low, combined.high, least)
    sentences = _sentences(name, site, verdict, leading, need, lacking, checks)
    notes = need_notes(need, rule_set.cement_space_mm, rule_set.adjustment_mm)
    notes += reading_notes(name, tuple(readings), need, combined.low, advised)
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
