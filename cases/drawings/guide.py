"""What the style guide page shows: colours with their contrast, and drawings."""

from collections.abc import Callable
from typing import Any, Final

from cases.drawings.clearance_chart import chart_headers, chart_rows, clearance_chart
from cases.drawings.contrast import PAIRS, contrast_ratio, tokens_of
from cases.drawings.figures import ClearanceChart
from cases.drawings.glyphs import GLYPHS
from cases.drawings.samples import (
    LOWER_MOLAR,
    TOOTH_MARKS,
    UPPER_INCISOR,
    UPPER_PREMOLAR,
    stacked,
)
from cases.drawings.tooth_chart import tooth_chart

__all__ = ["guide_context"]


_ICONS: Final = (
    "bell", "switch", "out", "plus", "clip", "photo", "next", "back", "search",
    "print", "file", "lock", "pen", "query", "clock", "caution", "close", "strip",
)  # fmt: skip


def _teeth(uid: str, quadrant: int | None = None) -> str:
    return tooth_chart(
        TOOTH_MARKS,
        numbering={},
        title="Tooth chart",
        describe="Six units, one of them short.",
        uid=uid,
        quadrant=quadrant,
    )


def _figure(chart: ClearanceChart, safe: Callable[[str], str]) -> dict[str, Any]:
    return {
        "title": chart.title,
        "wide": safe(clearance_chart(chart)),
        "stacked": safe(clearance_chart(stacked(chart), stacked=True)),
        "headers": chart_headers(chart),
        "rows": chart_rows(chart),
    }


def _contrasts(css: str) -> list[dict[str, Any]]:
    sets = tokens_of(css)
    return [
        {
            "ink": ink,
            "ground": ground,
            "least": least,
            "figures": [
                f"{contrast_ratio(tokens[ink], tokens[ground]):.1f}"
                for tokens in sets.values()
            ],
        }
        for ink, ground, least in PAIRS
    ]


def guide_context(css: str, safe: Callable[[str], str]) -> dict[str, Any]:
    """Return everything ``style_guide.html`` needs.

    ``css`` is the sheet's text and ``safe`` the template engine's way of saying
    that a string is markup (every text in the drawings is escaped already).
    """
    return {
        "verdicts": list(GLYPHS),
        "contrasts": _contrasts(css),
        "figures": [
            _figure(chart, safe)
            for chart in (LOWER_MOLAR, UPPER_PREMOLAR, UPPER_INCISOR)
        ],
        "teeth": {
            "title": "Tooth chart",
            "wide": safe(_teeth("guide-teeth")),
            "quadrants": [safe(_teeth(f"guide-q{q}", q)) for q in (1, 2, 4, 3)],
        },
        "icons": _ICONS,
        "picker": [
            ("Upper right", range(18, 10, -1)),
            ("Upper left", range(21, 29)),
            ("Lower right", range(48, 40, -1)),
            ("Lower left", range(31, 39)),
        ],
    }
