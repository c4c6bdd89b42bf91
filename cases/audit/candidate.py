"""A question asked of the figures, and what its answer says in numbers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from cases.audit.intervals import difference
from cases.audit.report_types import RateRow
from cases.audit.sentences import percent

__all__ = ["Candidate", "apart", "interval", "pair"]

# A rate that differs by less than a fifth is nothing to act on, however sure.
_LEAST_RATIO: Final = 1.2


@dataclass(frozen=True, slots=True)
class Candidate:
    """A question with the p of its test, and what to say; without text nothing.

    ``about``: of candidates about the same only the surest is said.
    """

    key: str
    p: float = 1.0
    text: str = ""
    certainty: str = ""
    params: Mapping[str, Any] = field(default_factory=dict)
    cases: Mapping[str, str] = field(default_factory=dict)
    about: str = ""


def apart(rate: float, other: float) -> bool:
    """Say whether two rates differ by enough to act on."""
    low, high = sorted((rate, other))
    return high >= _LEAST_RATIO * low


def pair(row: RateRow, other: RateRow) -> dict[str, Any]:
    """Return the numbers of two rows whose counts are shown."""
    return {
        "count": row.count, "n": row.n, "rate": percent(row.rate or 0),
        "other_count": other.count, "other_n": other.n,
        "other_rate": percent(other.rate or 0),
        **interval(row.count or 0, row.n, other.count or 0, other.n),
    }  # fmt: skip


def interval(a: int, n: int, b: int, m: int) -> dict[str, str]:
    """Return the ends of the difference of two rates, in percentage points."""
    ends = difference(a, n, b, m) or (-1.0, 1.0)
    return {"low": f"{100 * ends[0]:+.1f}", "high": f"{100 * ends[1]:+.1f}"}
