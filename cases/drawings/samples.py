"""Invented figures for the style guide and for looking at the drawings.

They stand for nobody's tooth; they are chosen to show every kind of mark.
"""

from dataclasses import replace
from decimal import Decimal
from typing import Final

from cases.drawings.figures import Captions, ClearanceChart, SiteMark
from cases.drawings.tooth_chart import ToothMark

__all__ = [
    "LOWER_MOLAR",
    "TOOTH_MARKS",
    "UPPER_INCISOR",
    "UPPER_PREMOLAR",
    "stacked",
]


def _mark(
    site: str,
    label: str,
    verdict: str,
    figures: tuple[str | None, str | None, str | None, str | None],
    short: str = "",
    *,
    point: bool = False,
    u: str | None = None,
    position: str = "maximal intercuspation",
) -> SiteMark:
    need, target, low, high = (None if f is None else Decimal(f) for f in figures)
    return SiteMark(
        site=site,
        label=label,
        verdict=verdict,
        verdict_word=verdict.replace("_", " "),
        need_mm=need,
        target_mm=target,
        low_mm=low,
        high_mm=high,
        is_point=point,
        shortage_text=short,
        position_label=position,
        u_mm=None if u is None else Decimal(u),
    )


LOWER_MOLAR: Final = ClearanceChart(
    tooth="36",
    tooth_label="36, lower left first molar",
    arch="mandible",
    side="left",
    tooth_class="molar",
    sites=(
        _mark("buccal_cusps", "Buccal cusps", "sufficient", ("2", "2", "2", None)),
        _mark(
            "lingual_cusps",
            "Lingual cusps",
            "insufficient",
            ("1.5", "1.5", "1", "1.5"),
            "short by up to 0.5",
        ),
        _mark(
            "central_fossa",
            "Central fossa",
            "undecided",
            ("1.5", "1.8", "1.55", "1.55"),
            "not decided at this uncertainty: measure once more",
            point=True,
            u="0.1",
        ),
        _mark(
            "functional_cusp_bevel",
            "Functional cusp bevel",
            "unmeasured",
            ("2", "2", None, None),
        ),
    ),
    title="Clearance chart, tooth 36",
    describe="One of four sites is short: the lingual cusps, by up to 0.5 mm.",
    uid="sample-36",
)

UPPER_PREMOLAR: Final = ClearanceChart(
    tooth="14",
    tooth_label="14, upper right first premolar",
    arch="maxilla",
    side="right",
    tooth_class="premolar",
    sites=(
        _mark(
            "buccal_cusps",
            "Buccal cusps",
            "insufficient",
            ("1", "1", "0.6", "0.6"),
            "short by 0.3 to 0.5",
            point=True,
            u="0.05",
            position="right laterotrusion",
        ),
        _mark(
            "lingual_cusps",
            "Palatal cusps",
            "undecided",
            ("1.5", "2", None, "1.8"),
            "short by up to 1.5",
        ),
        _mark("central_fossa", "Central fossa", "sufficient", ("1", "1.2", "1.5", "2")),
        _mark(
            "marginal_ridge",
            "Marginal ridge",
            "not_applicable",
            (None, None, "1.2", "1.2"),
            point=True,
        ),
        _mark(
            "finish_line",
            "Finish line",
            "sufficient",
            ("0.8", "1", "1", "1"),
            point=True,
            position="",
        ),
        _mark(
            "mesial_wall",
            "Mesial wall",
            "insufficient",
            ("1", "1.2", "0.7", "0.7"),
            "short by 0.3",
            point=True,
            position="",
        ),
    ),
    title="Clearance chart, tooth 14",
    describe="Two of six sites are short.",
    uid="sample-14",
    captions=Captions(lingual="palatal"),
)

UPPER_INCISOR: Final = ClearanceChart(
    tooth="21",
    tooth_label="21, upper left central incisor",
    arch="maxilla",
    side="left",
    tooth_class="incisor",
    sites=(
        _mark(
            "lingual_surface",
            "Palatal surface",
            "insufficient",
            ("1", "1", "0.5", "0.75"),
            "short by 0.25 to 0.5",
            position="protrusion",
        ),
        _mark(
            "incisal_edge",
            "Incisal edge",
            "sufficient",
            ("1.5", "1.5", "2", "2.5"),
            position="protrusion",
        ),
        _mark(
            "facial_surface",
            "Facial surface",
            "sufficient",
            ("0.8", "1", "0.9", "0.9"),
            point=True,
            position="",
        ),
    ),
    title="Clearance chart, tooth 21",
    describe="One of three sites is short: the palatal surface in protrusion.",
    uid="sample-21",
    captions=Captions(buccal="facial", lingual="palatal"),
)

TOOTH_MARKS: Final = {
    "14": ToothMark("crown", "undecided", "undecided"),
    "36": ToothMark("crown", "insufficient", "insufficient"),
    "21": ToothMark("veneer", "", ""),
    "45": ToothMark("retainer", "sufficient", "sufficient", frozenset({"46"})),
    "46": ToothMark("pontic", "unmeasured", "unmeasured", frozenset({"45", "47"})),
    "47": ToothMark("retainer", "sufficient", "sufficient", frozenset({"46"})),
}


def stacked(chart: ClearanceChart) -> ClearanceChart:
    """Return the chart under another id, for its second drawing on a page."""
    return replace(chart, uid=f"{chart.uid}-narrow")
