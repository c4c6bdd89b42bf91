"""The ways of cases as the flow draws them: what may be shown, and the rest."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Self

from cases.audit.figures import OUTCOMES
from cases.audit.report_types import FlowRow
from cases.audit.ways import OTHER
from cases.charts.words import Words, label_of

__all__ = ["Flow"]

Way = tuple[str, str, str]

_VERDICTS: Final = ("sufficient", "undecided", "insufficient")


def _rest_label(words: Words) -> str:
    """Return the words for the ways that are shown as one."""
    found = label_of(words, "verdict", OTHER)
    return words.flow_hidden if found == OTHER else found


def _way_text(way: Way, count: int, words: Words) -> str:
    verdict, option, outcome = way
    return words.flow_row.format(
        verdict=label_of(words, "verdict", verdict, words.no_verdict),
        option=label_of(words, "option", option, words.no_query),
        outcome=label_of(words, "outcome", outcome),
        count=count,
    )


@dataclass(frozen=True, slots=True)
class Flow:
    """Ways that may be shown; ``rest``: what is known of the others, None of none."""

    ways: Mapping[Way, int]
    rest: int | None
    unknown: bool

    @classmethod
    def of(cls, rows: Sequence[FlowRow]) -> Self:
        """Return the rows as ways and what remains."""
        ways: dict[Way, int] = {}
        rest: int | None = None
        unknown = False
        for row in rows:
            if row.verdict == OTHER or row.count is None:
                rest = (rest or 0) + (row.count or 0)
                unknown = unknown or row.count is None
            elif row.count:
                way = (row.verdict, row.option, row.outcome)
                ways[way] = ways.get(way, 0) + row.count
        return cls(ways, rest, unknown)

    def keys(self, place: int) -> list[str]:
        """Return what occurs in a column, verdicts and outcomes in their order."""
        order = (_VERDICTS, (), OUTCOMES)[place]
        found = list(dict.fromkeys(way[place] for way in self.ways))
        return sorted(
            found, key=lambda key: order.index(key) if key in order else len(order)
        )

    def sums(self, place: int) -> dict[str, int]:
        """Return the counts of a column."""
        found: dict[str, int] = {}
        for way, count in self.ways.items():
            found[way[place]] = found.get(way[place], 0) + count
        return found

    def first_sums(self) -> dict[tuple[str, str], int]:
        """Return the counts by verdict and option."""
        found: dict[tuple[str, str], int] = {}
        for (verdict, option, _outcome), count in self.ways.items():
            key = (verdict, option)
            found[key] = found.get(key, 0) + count
        return found

    def rest_text(self, words: Words) -> str:
        """Return the words for the rest; its number only where all of it is known."""
        count = words.hidden if self.unknown else str(self.rest or 0)
        return words.flow_rest.format(label=_rest_label(words), count=count)

    def sentences(self, words: Words) -> list[str]:
        """Return each way in words; which of them are hidden is not said."""
        said = [_way_text(way, count, words) for way, count in self.ways.items()]
        return said if self.rest is None else [*said, self.rest_text(words)]
