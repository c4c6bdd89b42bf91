"""How the verdict of a case came to be: its checks, oldest first."""

from collections.abc import Sequence

from cases.models import Check
from cases.selectors.cases import case_get
from cases.tenancy import Actor

__all__ = ["check_history"]


def check_history(*, actor: Actor, code: str) -> Sequence[Check]:
    """Return the last check of every revision, round and rule set, oldest first.

    Without the requests, which may be long and which no list shows.
    """
    case = case_get(actor=actor, code=code)
    last: dict[tuple[int, int, str], Check] = {}
    for check in Check.objects.filter(case=case).defer("request").order_by("id"):
        key = (check.revision, check.round, check.rule_set_digest)
        last.pop(key, None)
        last[key] = check
    return list(last.values())
