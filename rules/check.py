"""The check: verdict per site, unit and case. Total, deterministic, ordered.

``run_check`` judges what ``rules.payload`` (or a stored case) asks, under one rule
set; the same request and rule set give the same answer for ever.
"""

from dataclasses import replace
from decimal import Decimal

from rules.derivation import derive
from rules.gap import shared_readings
from rules.judged import Judged
from rules.measured import Measured, measured_sites
from rules.options import options_for
from rules.request import CheckRequest, Unit
from rules.requirements import RuleSet
from rules.results import CaseCheck, Option, SiteCheck, UnitCheck, worst
from rules.rows import confront_rows
from rules.site_check import judge_site, unread_site
from rules.span_layout import span_layouts
from rules.spans import check_span
from rules.teeth import row_cusps
from rules.terms import Quantity, Site

__all__ = [
    "CaseCheck",
    "Option",
    "SiteCheck",
    "UnitCheck",
    "run_check",
]

_QUANTITIES = {quantity: index for index, quantity in enumerate(Quantity)}
_SITES = {site: index for index, site in enumerate(Site)}


def run_check(
    rule_set: RuleSet, request: CheckRequest, *, options: bool = True
) -> CaseCheck:
    """Judge every unit of a request under a rule set.

    ``request.k`` overrides the rule set's guard factor, ``request.explain`` asks for
    the derivation of every site. Without ``options`` only the verdicts are computed,
    neither ways out nor spans. Never raises on a request that
    ``rules.payload.parse_check`` accepted for the same rule set.
    """
    k = rule_set.k if request.k is None else request.k
    judged = tuple(
        _judged(rule_set, shared_readings(unit, request.units), k)
        for unit in request.units
    )
    layouts = span_layouts(request.units, request.connectors) if options else ()
    ways = options_for(rule_set, judged, layouts, k) if options else ((),) * len(judged)
    units = tuple(
        _unit_check(one, found, explain=request.explain)
        for one, found in zip(judged, ways, strict=True)
    )
    return CaseCheck(
        verdict=worst(unit.verdict for unit in units),
        units=units,
        rule_set_name=rule_set.name,
        rule_set_version=rule_set.version,
        rule_set_digest=rule_set.digest,
        k=k,
        spans=tuple(check_span(rule_set, layout) for layout in layouts),
    )


def _judged(rule_set: RuleSet, unit: Unit, k: Decimal) -> Judged:
    measured = confront_rows(unit.tooth, measured_sites(rule_set, unit))
    return Judged(unit, measured, _check_sites(rule_set, unit, measured, k))


def _unit_check(
    judged: Judged, options: tuple[Option, ...], *, explain: bool
) -> UnitCheck:
    sites = judged.sites
    verdict = worst(site.verdict for site in sites)
    if explain:
        sites = tuple(replace(s, derivation=derive(s.grounds)) for s in sites)
    return UnitCheck(judged.unit.tooth, verdict, sites, options)


def _check_sites(
    rule_set: RuleSet, unit: Unit, measured: tuple[Measured, ...], k: Decimal
) -> tuple[SiteCheck, ...]:
    """Judge every site that was read and every required site that was not."""
    required = rule_set.required(unit.tooth, unit.kind, unit.relation)
    checks = [
        judge_site(rule_set, unit, one, k, required=one.site in required)
        for one in measured
    ]
    seen = {one.site for one in measured}
    for site in required:
        cusps = row_cusps(site, unit.tooth)
        if site not in seen and not (cusps and seen.issuperset(cusps)):
            checks.append(unread_site(rule_set, unit, site, k))
    return tuple(sorted(checks, key=_listing))


def _listing(check: SiteCheck) -> tuple[int, int]:
    return _SITES[check.site], _QUANTITIES[check.quantity]
