"""What a clearance chart says, as plain data, and the same as table cells."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

__all__ = [
    "Captions",
    "ClearanceChart",
    "SiteMark",
    "chart_headers",
    "chart_rows",
    "measured_text",
    "mm_text",
]


@dataclass(frozen=True, slots=True)
class Captions:
    """The fixed words of a chart, already translated.

    ``lingual`` is the word for the arch shown (palatal in the maxilla);
    ``between``, ``at_least`` and ``under`` are format strings with ``{low}``
    and ``{high}``; ``point`` is the decimal sign.
    """

    buccal: str = "buccal"
    lingual: str = "lingual"
    mesial: str = "mesial"
    distal: str = "distal"
    row_hint: str = "somewhere in this row"
    need: str = "need"
    target: str = "target"
    between: str = "{low} to {high}"
    at_least: str = "{low} or more"
    under: str = "under {high}"
    no_reading: str = "no reading"
    unit: str = "mm"
    point: str = "."
    site_header: str = "Site"
    position_header: str = "Jaw position"
    need_header: str = "Need (mm)"
    target_header: str = "Target (mm)"
    measured_header: str = "Measured (mm)"
    verdict_header: str = "Verdict"
    shortage_header: str = "Shortage"


@dataclass(frozen=True, slots=True)
class SiteMark:
    """One site: its verdict and the figures behind it, in millimetres.

    ``low_mm`` and ``high_mm`` are the ends of what was measured; None is an
    open end and both None no reading. A point has both equal, ``is_point`` set
    and may carry its standard uncertainty ``u_mm``, drawn as 2u to each side.
    ``site`` is a key of design section 3 and ``verdict`` one of the five.
    """

    site: str
    label: str
    verdict: str
    verdict_word: str
    need_mm: Decimal | None
    target_mm: Decimal | None
    low_mm: Decimal | None
    high_mm: Decimal | None
    is_point: bool
    shortage_text: str
    position_label: str
    u_mm: Decimal | None = None


@dataclass(frozen=True, slots=True)
class ClearanceChart:
    """One unit: the tooth, its sites in the order of the rows, its words.

    ``arch`` is maxilla or mandible, ``side`` the patient's right or left,
    ``tooth_class`` incisor, canine, premolar or molar. ``functional_buccal``
    says where the functional cusps lie; None takes the normal relation (buccal
    in the mandible, palatal in the maxilla).
    """

    tooth: str
    tooth_label: str
    arch: str
    side: str
    tooth_class: str
    sites: tuple[SiteMark, ...]
    title: str
    describe: str
    uid: str
    captions: Captions = field(default_factory=Captions)
    functional_buccal: bool | None = None


def mm_text(value: Decimal, captions: Captions) -> str:
    """Return a length with one decimal, or two where the second says something."""
    exact = value.quantize(Decimal("0.01"))
    shown = f"{exact:.2f}"
    shown = shown[:-1] if shown.endswith("0") else shown
    return shown.replace("-", "\N{MINUS SIGN}").replace(".", captions.point)


def measured_text(mark: SiteMark, captions: Captions) -> str:
    """Return what was measured in words, without the unit."""
    if mark.low_mm is None and mark.high_mm is None:
        return captions.no_reading
    low = None if mark.low_mm is None else mm_text(mark.low_mm, captions)
    high = None if mark.high_mm is None else mm_text(mark.high_mm, captions)
    if mark.is_point and low is not None:
        if mark.u_mm:
            return f"{low} \N{PLUS-MINUS SIGN} {mm_text(2 * mark.u_mm, captions)}"
        return low
    if high is None:
        return captions.at_least.format(low=low)
    if low is None:
        return captions.under.format(high=high)
    return captions.between.format(low=low, high=high)


def chart_headers(chart: ClearanceChart) -> tuple[str, ...]:
    """Return the head of the equivalent table."""
    said = chart.captions
    return (
        said.site_header,
        said.position_header,
        said.need_header,
        said.target_header,
        said.measured_header,
        said.verdict_header,
        said.shortage_header,
    )


def _cells(marks: Iterable[SiteMark], said: Captions) -> Iterable[tuple[str, ...]]:
    for mark in marks:
        yield (
            mark.label,
            mark.position_label,
            "" if mark.need_mm is None else mm_text(mark.need_mm, said),
            "" if mark.target_mm is None else mm_text(mark.target_mm, said),
            measured_text(mark, said),
            mark.verdict_word,
            mark.shortage_text,
        )


def chart_rows(chart: ClearanceChart) -> list[tuple[str, ...]]:
    """Return the cells of the equivalent table, one row a site.

    The drawing shows these very words, so that a test can hold the two
    together.
    """
    return list(_cells(chart.sites, chart.captions))
