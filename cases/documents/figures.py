"""The drawings of a document from frozen content: tooth chart, clearance charts."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext, pgettext

from cases.documents import words
from cases.drawings.clearance_chart import (
    Captions,
    ClearanceChart,
    SiteMark,
    measured_text,
    mm_text,
)
from cases.drawings.tooth_chart import ToothMark, ToothWords, tooth_chart
from rules.teeth import (
    PERMANENT_TEETH,
    arch,
    functional_row,
    is_right,
    neighbours,
    tooth_class,
)
from rules.terms import Arch, Kind, Position, Quantity, Relation, Site, Verdict

__all__ = [
    "captions",
    "length",
    "mm",
    "site_mark",
    "teeth_svg",
    "unit_charts",
]

Json = Mapping[str, Any]


def length(value: float | str | None) -> Decimal | None:
    """Return a JSON length (number or text, mm) as Decimal."""
    return None if value is None else Decimal(str(value))


def mm(value: float | str | None) -> str:
    """Return a length in mm as text, with one decimal or two; nothing for none."""
    exact = length(value)
    return "" if exact is None else mm_text(exact, captions(Arch.LOWER))


def captions(jaw: Arch) -> Captions:
    """Return the fixed words of a chart in the active language."""
    upper = jaw is Arch.UPPER
    return Captions(
        buccal=gettext("buccal"),
        lingual=gettext("palatal") if upper else gettext("lingual"),
        mesial=gettext("mesial"),
        distal=gettext("distal"),
        row_hint=gettext("somewhere in this row"),
        need=gettext("need"),
        target=gettext("target"),
        between=gettext("{low} to {high}"),
        at_least=gettext("{low} or more"),
        under=gettext("under {high}"),
        no_reading=gettext("no reading"),
        unit=gettext("mm"),
        point=pgettext("decimal sign", "."),
    )


def _shortage(site: Json) -> str:
    """Return what is missing at a site that is not proven sufficient."""
    found = site.get("shortage_mm")
    if not found or site["verdict"] not in (Verdict.INSUFFICIENT, Verdict.UNDECIDED):
        return ""
    low, high = length(found["low"]), length(found["high"])
    if not high:
        return ""
    if low == high:
        return gettext("short by %(high)s mm") % {"high": mm(found["high"])}
    if not low:
        return gettext("short by up to %(high)s mm") % {"high": mm(found["high"])}
    return gettext("short by %(low)s to %(high)s mm") % {
        "low": mm(found["low"]),
        "high": mm(found["high"]),
    }


def _where(site: Json) -> str:
    """Return the jaw position of a clearance, else what the number means."""
    if site.get("governing_position"):
        return words.term(Position, site["governing_position"])
    if site["quantity"] == Quantity.CLEARANCE:
        return ""
    return words.term(Quantity, site["quantity"])


def site_mark(site: Json, tooth: str) -> SiteMark:
    """Return one site of a check's result as the drawing takes it."""
    measured = site.get("measured_mm") or {}
    low, high = length(measured.get("low")), length(measured.get("high"))
    return SiteMark(
        site=site["site"],
        label=words.capital(words.site(site["site"], tooth)),
        verdict=site["verdict"],
        verdict_word=words.verdict(site["verdict"]),
        need_mm=length(site["need_mm"]),
        target_mm=length(site["target_mm"]),
        low_mm=low,
        high_mm=high,
        is_point=low is not None and low == high,
        shortage_text=_shortage(site),
        position_label=_where(site),
        u_mm=length(site.get("u_mm")),
    )


def _describe(label: str, marks: Sequence[SiteMark], said: Captions) -> str:
    """Return the whole chart as one sentence, for who cannot see it."""
    sites = "; ".join(
        gettext("%(site)s: %(measured)s of %(need)s mm, %(verdict)s")
        % {
            "site": mark.label,
            "measured": measured_text(mark, said),
            "need": "–" if mark.need_mm is None else mm_text(mark.need_mm, said),
            "verdict": mark.verdict_word,
        }
        for mark in marks
    )
    title = gettext("Clearance chart of tooth %(tooth)s") % {"tooth": label}
    return f"{title}. {sites}."


def _each_site_once(sites: Sequence[Json]) -> list[list[Json]]:
    """Return the sites parted so that no part names one twice.

    An incisal edge may be judged twice: as clearance and as reduction.
    """
    parts: list[list[Json]] = []
    for site in sites:
        for part in parts:
            if all(other["site"] != site["site"] for other in part):
                part.append(site)
                break
        else:
            parts.append([site])
    return parts


def unit_charts(unit: Json, result: Json, *, system: str) -> list[ClearanceChart]:
    """Return the clearance charts of one unit from its part of a check's result.

    One chart, or none for a unit without sites; two where a site is judged both
    as a clearance and as a reduction.
    """
    parts = _each_site_once(result["sites"])
    return [
        _chart(unit, part, system=system, uid=f"unit-{unit['tooth']}-{index}")
        for index, part in enumerate(parts)
    ]


def _chart(
    unit: Json, sites: Sequence[Json], *, system: str, uid: str
) -> ClearanceChart:
    tooth = str(unit["tooth"])
    jaw = arch(tooth)
    relation = Relation(unit.get("relation") or Relation.NORMAL)
    marks = tuple(site_mark(site, tooth) for site in sites)
    said = captions(jaw)
    label = words.tooth(tooth, system)
    whole = _describe(label, marks, said)
    return ClearanceChart(
        tooth=tooth,
        tooth_label=f"{label}, {words.tooth_name(tooth)}",
        arch="maxilla" if jaw is Arch.UPPER else "mandible",
        side="right" if is_right(tooth) else "left",
        tooth_class=tooth_class(tooth).value,
        sites=marks,
        title=whole,
        describe=whole,
        uid=uid,
        captions=said,
        functional_buccal=functional_row(tooth, relation) is Site.BUCCAL_CUSPS,
    )


def _marks(
    units: Sequence[Json], results: Mapping[str, Json], system: str
) -> Iterator[tuple[str, ToothMark]]:
    spans = {str(unit["tooth"]): unit.get("span") for unit in units}
    for unit in units:
        tooth = str(unit["tooth"])
        verdict = results[tooth]["verdict"] if tooth in results else ""
        said = (words.own_number(tooth, system), words.term(Kind, unit["kind"]))
        yield (
            tooth,
            ToothMark(
                label=", ".join(part for part in said if part),
                verdict=verdict,
                verdict_word=words.verdict(verdict) if verdict else "",
                linked=frozenset(
                    other
                    for other in neighbours(tooth)
                    if spans[tooth] and spans.get(other) == spans[tooth]
                ),
            ),
        )


def teeth_svg(
    units: Sequence[Json], results: Mapping[str, Json], *, system: str
) -> str:
    """Return the tooth chart with the units of an order; ``results`` by tooth.

    The rows are numbered in ISO 3950; a marked tooth also says the clinic's number.
    """
    marks = dict(_marks(units, results, system))
    said = "; ".join(
        f"{tooth}: {mark.label}, {mark.verdict_word}" for tooth, mark in marks.items()
    )
    whole = gettext("Tooth chart. Units: %(units)s") % {"units": said}
    return tooth_chart(
        marks,
        numbering={tooth: tooth for tooth in PERMANENT_TEETH},
        title=whole,
        describe=whole,
        uid="teeth",
        words=ToothWords(right=gettext("right"), left=gettext("left")),
    )
