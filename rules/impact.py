"""What another rule set would make of cases that were judged before: verdicts only.

Built for many cases in a row: no ways out are sought and no sentence is written.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import TypeVar

from rules.check import run_check
from rules.request import CheckRequest, FacingUnit, Unit
from rules.requirements import RuleSet
from rules.terms import Quantity, Site, Verdict

__all__ = ["SiteVerdict", "site_verdicts", "verdict_under"]

# Tooth, site, quantity, verdict.
SiteVerdict = tuple[str, Site, Quantity, Verdict]

Planned = TypeVar("Planned", Unit, FacingUnit)


def verdict_under(rule_set: RuleSet, request: CheckRequest) -> Verdict:
    """Return the verdict of a whole request under a rule set.

    The request may have been made for another set: a material this one lacks has no
    need here, so its sites are undecided; an occlusal surface left open is the usual
    one of this set.
    """
    return run_check(rule_set, _as_read(rule_set, request), options=False).verdict


def site_verdicts(rule_set: RuleSet, request: CheckRequest) -> tuple[SiteVerdict, ...]:
    """Return the verdict of every site, by unit and site in listed order."""
    result = run_check(rule_set, _as_read(rule_set, request), options=False)
    return tuple(
        (unit.tooth, site.site, site.quantity, site.verdict)
        for unit in result.units
        for site in unit.sites
    )


def _as_read(rule_set: RuleSet, request: CheckRequest) -> CheckRequest:
    """Return the request as this set would have read it."""
    units = tuple(_units_as_read(rule_set, request))
    if all(new is old for new, old in zip(units, request.units, strict=True)):
        return request
    return replace(request, units=units)


def _units_as_read(rule_set: RuleSet, request: CheckRequest) -> Iterator[Unit]:
    for unit in request.units:
        found = _with_surface(rule_set, unit)
        facing = tuple(_with_surface(rule_set, other) for other in unit.antagonists)
        if facing != unit.antagonists:
            found = replace(found, antagonists=facing)
        yield found


def _with_surface(rule_set: RuleSet, planned: Planned) -> Planned:
    known = rule_set.material(planned.material)
    usual = known.usual_surface if known else None
    if planned.occlusal_surface is not None or usual is None:
        return planned
    return replace(planned, occlusal_surface=usual)
