"""How a stored verdict came about, computed again from the stored check."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from cases.errors import NotFound
from cases.models import Case, Check
from cases.selectors.cases import case_get
from cases.tenancy import Actor
from rules.alternatives import verdict_under
from rules.check import run_check
from rules.errors import InvalidPayload, UnknownRuleSet
from rules.loader import ruleset_by_digest
from rules.payload import check_json, parse_check
from rules.requirements import Alternative, RuleSet
from rules.results import CaseCheck, SiteCheck
from rules.terms import Verdict

__all__ = ["ExplainedSite", "site_explained"]

# What must come out again; sentences may be worded anew by a later version.
_REPRODUCED = ("verdict", "need_mm", "target_mm", "measured_mm", "governing_position")


@dataclass(frozen=True, slots=True)
class ExplainedSite:
    """One site of the check in force, with its derivation.

    ``alternatives`` are other recorded figures, each with the verdict the same
    readings would get under it. ``reproduced``: the stored verdict and figures came
    out again.
    """

    case: Case
    check: Check
    tooth: str
    site: SiteCheck
    rule_set: RuleSet
    alternatives: tuple[tuple[Alternative, Verdict], ...]
    reproduced: bool


def site_explained(
    *, actor: Actor, code: str, tooth: str, site: str, quantity: str
) -> ExplainedSite:
    """Return one site of a case's current check with the steps to its verdict.

    Raises:
        NotFound: no such case for this actor, or no such site in its check.
    """
    case = case_get(actor=actor, code=code)
    check = case.current_check
    if check is None:
        raise NotFound
    wanted = (tooth, site, quantity)
    stored = _site_json(check.result, wanted)
    computed, rule_set = _again(check)
    found = next(
        (
            each
            for unit in computed.units
            for each in unit.sites
            if (unit.tooth, each.site, each.quantity) == wanted
        ),
        None,
    )
    if stored is None or found is None:
        raise NotFound
    again = _site_json(check_json(computed), wanted) or {}
    return ExplainedSite(
        case=case,
        check=check,
        tooth=tooth,
        site=found,
        rule_set=rule_set,
        alternatives=tuple(
            (other, verdict_under(found.grounds, other)) for other in found.alternatives
        ),
        reproduced=all(stored.get(key) == again.get(key) for key in _REPRODUCED),
    )


def _again(check: Check) -> tuple[CaseCheck, RuleSet]:
    """Run a stored check once more, without its ways out."""
    try:
        rule_set = ruleset_by_digest(check.rule_set_digest)
        request = parse_check(check.request, rule_set=rule_set)
    except (UnknownRuleSet, InvalidPayload) as error:
        # The guards keep published sets and stored requests as they were.
        raise NotFound from error
    explained = replace(request, explain=True)
    return run_check(rule_set, explained, options=False), rule_set


def _site_json(
    result: Mapping[str, Any], wanted: tuple[str, str, str]
) -> Mapping[str, Any] | None:
    return next(
        (
            site
            for unit in result["units"]
            for site in unit["sites"]
            if (unit["tooth"], site["site"], site["quantity"]) == wanted
        ),
        None,
    )
