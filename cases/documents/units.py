"""The units of a work order as a document shows them: what to make, what was read."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext

from cases.documents import words
from cases.documents.figures import mm, site_mark, unit_charts
from cases.documents.reading_lines import ReadingLine, joined, reading_line
from cases.drawings.clearance_chart import clearance_chart
from rules.teeth import quantity_at
from rules.terms import (
    Antagonist,
    Cementation,
    Kind,
    OcclusalSurface,
    Quantity,
    Relation,
    Retention,
    Site,
)

__all__ = ["SiteLine", "Sources", "UnitSheet", "unit_sheets"]

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site of the table with its readings; ``verdict`` "" is not judged."""

    label: str
    quantity: str
    need: str
    source: int | None
    verdict: str
    verdict_word: str
    shortage: str
    first: ReadingLine | None
    more: tuple[ReadingLine, ...]

    @property
    def rows(self) -> int:
        """How many rows of the table the site takes."""
        return 1 + len(self.more)


@dataclass(frozen=True, slots=True)
class UnitSheet:
    """One unit: a row of "what is to be made" and its part of the check."""

    number: str
    tooth: str
    name: str
    kind: str
    bridge: str
    material: str
    details: str
    shade: str
    finish_line: str
    instructions: str
    opposing: str
    verdict: str
    verdict_word: str
    charts: tuple[SafeString, ...]
    sites: tuple[SiteLine, ...]


class Sources:
    """Numbers the sources of needs in the order they are first named."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def number(self, source: str) -> int | None:
        """Return the number of a source; None where none is stated."""
        if not source:
            return None
        return self._numbers.setdefault(source, len(self._numbers) + 1)

    def rows(self) -> list[tuple[int, str]]:
        """Return number and text of every source."""
        return [(number, text) for text, number in self._numbers.items()]


def _place(unit: Json, reading: Json) -> tuple[str, str]:
    """Return site and quantity of a reading, as the check keys its results."""
    quantity = quantity_at(
        Site(reading["site"]),
        str(unit["tooth"]),
        Relation(unit.get("relation") or Relation.NORMAL),
        positioned=bool(reading.get("position")),
    )
    return reading["site"], quantity.value


def _site_line(
    tooth: str, judged: Json, readings: Sequence[Json], sources: Sources
) -> SiteLine:
    mark = site_mark(judged, tooth)
    several = len({r.get("position") for r in readings}) > 1
    lines = [reading_line(r, judged, several=several) for r in readings]
    clearance = judged["quantity"] == Quantity.CLEARANCE
    return SiteLine(
        label=mark.label,
        quantity="" if clearance else words.term(Quantity, judged["quantity"]),
        need=mm(judged["need_mm"]),
        source=sources.number(judged.get("source") or ""),
        verdict=mark.verdict,
        verdict_word=mark.verdict_word,
        shortage=mark.shortage_text,
        first=lines[0] if lines else None,
        more=tuple(lines[1:]),
    )


def _site_lines(unit: Json, result: Json, sources: Sources) -> Iterator[SiteLine]:
    tooth = str(unit["tooth"])
    left: dict[tuple[str, str], list[Json]] = {}
    for reading in unit["readings"]:
        left.setdefault(_place(unit, reading), []).append(reading)
    for judged in result["sites"]:
        key = (judged["site"], judged["quantity"])
        yield _site_line(tooth, judged, left.pop(key, []), sources)
    for (site, quantity), readings in left.items():
        lines = [reading_line(r, None, several=False) for r in readings]
        yield SiteLine(
            label=words.capital(words.site(site, tooth)),
            quantity=words.term(Quantity, quantity),
            need="", source=None, verdict="", verdict_word="", shortage="",
            first=lines[0], more=tuple(lines[1:]),
        )  # fmt: skip


def _opposing(unit: Json) -> str:
    antagonist = unit.get("antagonist") or Antagonist.NATURAL
    relation = unit.get("relation") or Relation.NORMAL
    said = [words.capital(words.term(Antagonist, antagonist))]
    if relation not in (Relation.NORMAL, Relation.NO_ANTAGONIST):
        said.append(words.term(Relation, relation))
    return joined(said)


def _sheet(unit: Json, result: Json, *, system: str, sources: Sources) -> UnitSheet:
    tooth = str(unit["tooth"])
    surface = unit.get("occlusal_surface") or ""
    retention = unit.get("retention") or ""
    # What is screwed down is not cemented, whatever is usual for its material.
    screwed = retention == Retention.SCREW
    cementation = "" if screwed else unit.get("cementation") or ""
    span = unit.get("span") or ""
    charts = unit_charts(unit, result, system=system)
    return UnitSheet(
        number=tooth,
        tooth=words.tooth(tooth, system),
        name=words.tooth_name(tooth),
        kind=words.capital(words.term(Kind, unit["kind"])),
        bridge=gettext("Bridge %(span)s") % {"span": span} if span else "",
        material=words.material(unit["material"], unit.get("material_label", "")),
        details=words.capital(
            joined(
                (
                    words.term(OcclusalSurface, surface) if surface else "",
                    words.term(Cementation, cementation) if cementation else "",
                    words.term(Retention, retention) if retention else "",
                    unit.get("abutment") or "",
                )
            )
        ),
        shade=unit.get("shade") or "",
        finish_line=words.capital((unit.get("finish_line") or "").replace("_", " ")),
        instructions=unit.get("instructions") or "",
        opposing=_opposing(unit),
        verdict=result["verdict"],
        verdict_word=words.capital(words.verdict(result["verdict"])),
        # The drawings escape every text in them.
        charts=tuple(SafeString(clearance_chart(chart)) for chart in charts),
        sites=tuple(_site_lines(unit, result, sources)),
    )


_NO_RESULT: Json = {"verdict": "unmeasured", "sites": ()}


def unit_sheets(
    units: Sequence[Json],
    results: Mapping[str, Json],
    *,
    system: str,
    sources: Sources,
) -> list[UnitSheet]:
    """Return every unit in the order of the prescription.

    ``results`` holds the units of the check's result by tooth; a unit without
    one shows as unmeasured.
    """
    return [
        _sheet(
            unit,
            results.get(str(unit["tooth"]), _NO_RESULT),
            system=system,
            sources=sources,
        )
        for unit in units
    ]
