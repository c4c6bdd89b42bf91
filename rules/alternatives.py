"""What the verdict at a site would be under another recorded figure.

Where sources disagree, a reader wants to know whether it matters here: the same
readings and decision rule, against the figure that was not chosen.
"""

from dataclasses import replace

from rules.grounds import Grounds
from rules.judge import governing, judge_position
from rules.line_types import Alternative
from rules.measured import measured_sites
from rules.needs import Sharing, SiteNeed
from rules.terms import Verdict

__all__ = ["verdict_under"]


def verdict_under(grounds: Grounds, other: Alternative) -> Verdict:
    """Return the verdict of a site's readings against another figure for its need."""
    if not grounds.checks or grounds.need.min_mm is None:
        return grounds.verdict
    need = _need(grounds.need, other)
    unit = grounds.unit
    untouched = any(
        one.untouched
        for one in measured_sites(grounds.rule_set, unit)
        if (one.site, one.quantity) == (grounds.site, grounds.quantity)
    )
    verdict = governing(
        [
            judge_position(
                check.position,
                check.combined,
                need,
                grounds.k,
                planned_plane=unit.planned_plane,
                untouched=untouched,
            )
            for check in grounds.checks
        ]
    ).verdict
    if grounds.lacking and verdict is not Verdict.INSUFFICIENT:
        return Verdict.UNDECIDED
    return verdict


def _need(need: SiteNeed, other: Alternative) -> SiteNeed:
    """Return the need with another own part; a facing part stays as it is."""
    shared = need.sharing is Sharing.SUMMED and need.facing is not None
    facing = need.facing.min_mm if shared and need.facing else 0
    return replace(need, min_mm=other.min_mm + facing)
