"""The scenario: every scene in the order its work order was released."""

from datetime import datetime

from cases.management.demo import (
    scenes_bench,
    scenes_early,
    scenes_outcome,
    scenes_query,
    scenes_rules,
)
from cases.management.demo.days import Days
from cases.management.demo.people import Player
from cases.management.demo.troupe import troupe_of
from cases.models import RuleSetDraft
from cases.tenancy import acting

__all__ = ["SCENES", "play", "played"]

SCENES = (
    scenes_outcome.fitted,
    scenes_outcome.not_fitted,
    scenes_early.cancelled,
    scenes_query.deferred,
    scenes_bench.dispatched,
    scenes_bench.at_try_in,
    scenes_query.awaiting_records,
    scenes_bench.in_fabrication,
    scenes_query.countersign_due,
    scenes_bench.cleared,
    scenes_early.incomplete,
    scenes_query.on_hold,
    scenes_early.undecided,
    scenes_early.short,
    scenes_early.submitted,
    scenes_early.draft,
)


def play(players: dict[str, Player], *, now: datetime) -> list[str]:
    """Play every scene up to today; return the codes of their cases."""
    troupe, days = troupe_of(players), Days(now)
    scenes_rules.prepare(players, days)
    codes = [scene(troupe, days).code for scene in SCENES]
    scenes_rules.propose_stricter(players, days)
    return codes


def played(players: dict[str, Player]) -> bool:
    """Tell whether the scenes were played: rule sets are begun with the first of them."""
    with acting(players["brum"].actor):
        return RuleSetDraft.objects.exists()
