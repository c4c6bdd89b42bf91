"""One stored check against the draft of a rule set: verdicts only.

The stored request is read under the set it was judged by, so that what it leaves open
(cementation, occlusal surface) means what it meant; then it is judged by the draft.
"""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from rules.errors import InvalidPayload, UnknownRuleSet
from rules.impact import site_verdicts
from rules.loader import ruleset_by_digest
from rules.payload import parse_check
from rules.requirements import RuleSet
from rules.results import worst
from rules.scope import Scope, changed_lines
from rules.terms import Verdict

__all__ = ["Comparison", "Judged", "SiteKey", "site_changes"]

# Tooth, site, quantity.
SiteKey = tuple[str, str, str]
_EVERYTHING = Scope(everything=True)


class Judged(NamedTuple):
    """Verdict of a case and of its sites; both empty where it cannot be judged."""

    verdict: str
    sites: dict[SiteKey, str]


class Comparison:
    """Judges stored requests under a draft; keeps what it knows of each older set."""

    def __init__(self, draft: RuleSet) -> None:
        self._draft = draft
        # A laboratory has a handful of sets that cases were judged by.
        self._known: dict[str, tuple[RuleSet, Scope]] = {}

    def judged(self, digest: str, request: Mapping[str, Any]) -> Judged | None:
        """Return what the draft makes of a request; None: no line of it changed.

        ``digest`` is that of the set the request was judged by. A request that no
        version of the program reads any more has no verdict.
        """
        own, scope = self._own(digest)
        if not _concerned(scope, request):
            return None
        try:
            parsed = parse_check(request, rule_set=own)
        except InvalidPayload:
            return Judged("", {})
        found = {
            (tooth, site.value, quantity.value): verdict
            for tooth, site, quantity, verdict in site_verdicts(self._draft, parsed)
        }
        verdict = worst(_units(found, [unit.tooth for unit in parsed.units]))
        return Judged(verdict.value, {key: each.value for key, each in found.items()})

    def _own(self, digest: str) -> tuple[RuleSet, Scope]:
        if digest not in self._known:
            try:
                own = ruleset_by_digest(digest)
                self._known[digest] = own, changed_lines(own, self._draft)
            except UnknownRuleSet:
                # A set from before sets were kept: what it said is not known.
                self._known[digest] = self._draft, _EVERYTHING
        return self._known[digest]


def _units(found: Mapping[SiteKey, Verdict], teeth: list[str]) -> Iterator[Verdict]:
    """Yield the verdict of every unit as a check has it: that of its worst site."""
    for tooth in teeth:
        yield worst(verdict for key, verdict in found.items() if key[0] == tooth)


def _concerned(scope: Scope, request: Mapping[str, Any]) -> bool:
    """Tell whether any unit or its antagonist is of a changed material and kind.

    Asked of the stored body, so that most cases need not be read at all.
    """
    return scope.everything or any(
        (planned["material"], planned["kind"]) in scope.pairs
        for unit in request["units"]
        for planned in (unit, *unit.get("antagonists", ()))
    )


def site_changes(before: Mapping[SiteKey, str], after: Judged) -> list[dict[str, str]]:
    """Return every site whose verdict differs; an empty verdict: not judged there."""
    return [
        {
            "tooth": key[0],
            "site": key[1],
            "quantity": key[2],
            "before": before.get(key, ""),
            "after": after.sites.get(key, ""),
        }
        for key in dict.fromkeys([*before, *after.sites])
        if before.get(key) != after.sites.get(key)
    ]
