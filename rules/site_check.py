"""The check of one site: its need, its positions, what governs."""

from collections.abc import Sequence
from decimal import Decimal

from rules.grounds import Grounds
from rules.judge import PositionCheck, chance, governing, judge_position, shortage
from rules.measured import Measured
from rules.needs import SiteNeed, line_for, site_need
from rules.request import Unit
from rules.requirements import RuleSet
from rules.results import SiteCheck
from rules.teeth import CONTACT_FREE, cusp_role, quantity_at, site_label
from rules.terms import Doubt, Position, Quantity, Relation, Site, Verdict

__all__ = ["Measured", "judge_site", "lacking_positions", "needed", "unread_site"]

_DOUBTS = tuple(Doubt)


def needed(rule_set: RuleSet, unit: Unit, site: Site, quantity: Quantity) -> SiteNeed:
    """Return what a unit needs at a site.

    Where the tooth meets nothing, the reduction to the planned contour is read: where
    no line speaks of it, the clearance the material needs is taken, as without an
    antagonist.
    """
    found = site_need(rule_set, unit, site, quantity)
    planned = quantity is Quantity.REDUCTION and unit.relation in CONTACT_FREE
    if found.own is not None or not planned:
        return found
    line = line_for(rule_set, unit, unit.relation, site, Quantity.CLEARANCE)
    return SiteNeed(line, line.min_mm, line.target_mm) if line else found


def unread_site(rule_set: RuleSet, unit: Unit, site: Site, k: Decimal) -> SiteCheck:
    """Return the check of a required site that was not read.

    Unmeasured, unless the prescription states that the restoration leaves it out.
    """
    scissor = unit.relation is Relation.SCISSOR
    quantity = quantity_at(site, unit.tooth, unit.relation, positioned=not scissor)
    need = needed(rule_set, unit, site, quantity)
    name = site_label(site, unit.tooth)
    left_out = site in unit.not_applicable
    verdict = Verdict.NOT_APPLICABLE if left_out else Verdict.UNMEASURED
    return SiteCheck(
        site=site,
        role=cusp_role(site, unit.tooth, unit.relation),
        quantity=quantity,
        verdict=verdict,
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
        doubts=(),
        required=True,
        at_or_above_need=False,
        grounds=Grounds(rule_set, unit, site, quantity, name, k, need, verdict),
        thickness_mm=need.own.thickness_mm if need.own else None,
        alternatives=need.own.alternatives if need.own else (),
    )


def lacking_positions(
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
    need = needed(rule_set, unit, site, quantity)
    checks = tuple(
        judge_position(
            position,
            combined,
            need,
            k,
            planned_plane=unit.planned_plane,
            untouched=measured.untouched,
        )
        for position, combined in measured.positions
    )
    lacking, advised = lacking_positions(rule_set, unit, measured, need)
    leading = governing(checks)
    verdict = leading.verdict
    if lacking and verdict is not Verdict.INSUFFICIENT:
        verdict = Verdict.UNDECIDED
    combined, missing = leading.combined, shortage(leading, need)
    point, own = combined.point, need.own
    name = site_label(site, unit.tooth)
    return SiteCheck(
        site=site,
        role=cusp_role(site, unit.tooth, unit.relation),
        quantity=quantity,
        verdict=verdict,
        label=name,
        need_mm=need.min_mm,
        target_mm=need.target_mm,
        low_mm=combined.low,
        high_mm=combined.high,
        is_point=point is not None,
        u_mm=point.u if point else None,
        governing_position=leading.position,
        shortage_low_mm=missing[0] if missing else None,
        shortage_high_mm=missing[1] if missing else None,
        conformance_probability=chance(leading, need),
        source=need.source,
        doubts=_doubts(checks, lacking),
        required=required,
        at_or_above_need=not lacking and _at_or_above(leading, checks, need.min_mm),
        grounds=Grounds(
            rule_set,
            unit,
            site,
            quantity,
            name,
            k,
            need,
            verdict,
            checks,
            leading,
            lacking,
            advised,
            measured.readings,
        ),
        thickness_mm=own.thickness_mm if own else None,
        alternatives=own.alternatives if own else (),
    )


def _doubts(
    checks: Sequence[PositionCheck], lacking: Sequence[Position]
) -> tuple[Doubt, ...]:
    found = {doubt for check in checks for doubt in check.doubts}
    if lacking:
        found.add(Doubt.POSITION_MISSING)
    if len(found) < 2:
        return tuple(found)
    return tuple(doubt for doubt in _DOUBTS if doubt in found)


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
