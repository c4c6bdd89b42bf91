"""One site of a stored check in words: a line of the table, a mark of the chart."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils.translation import gettext as _

from cases.drawings.clearance_chart import Captions, SiteMark, measured_text, mm_text
from cases.forms.vocabulary import position_words, site_words
from cases.forms.words import word
from cases.views.captions import length
from rules.terms import Method, label

if TYPE_CHECKING:
    from cases.models import Reading, Unit
    from cases.selectors.grounds import SiteGround

__all__ = ["SHORT", "SiteRow", "site_mark", "site_row"]

SHORT = ("insufficient", "undecided", "unmeasured")


@dataclass(frozen=True, slots=True)
class SiteRow:
    """One line of the table of sites, in words."""

    key: str
    label: str
    position: str
    need: str
    target: str
    measured: str
    taken: str
    verdict: str
    shortage: str
    advice: str
    source: str
    covered: str
    fine: bool
    clearable: bool
    why: str = ""
    derivation: tuple[str, ...] = ()


def _shortage(site: Mapping[str, Any], said: Captions) -> str:
    found = site.get("shortage_mm")
    high = length(found["high"]) if found else None
    if not found or high is None or site["verdict"] not in SHORT:
        return _("size unknown") if found and site["verdict"] in SHORT else ""
    low = length(found["low"]) or Decimal(0)
    if high == 0:
        return ""
    if low == high:
        return _("short by {high} mm").format(high=mm_text(high, said))
    if low == 0:
        return _("short by up to {high} mm").format(high=mm_text(high, said))
    return _("short by {low} to {high} mm").format(
        low=mm_text(low, said), high=mm_text(high, said)
    )


def site_mark(site: Mapping[str, Any], tooth: str, said: Captions) -> SiteMark:
    """Return what the chart shows of a site, lengths in millimetres."""
    measured = site.get("measured_mm") or {}
    low, high = length(measured.get("low")), length(measured.get("high"))
    u_mm = length(site.get("u_mm"))
    return SiteMark(
        site=site["site"],
        label=site_words(site["site"], tooth),
        verdict=site["verdict"],
        verdict_word=_(site["verdict"].replace("_", " ")),
        need_mm=length(site["need_mm"]),
        target_mm=length(site["target_mm"]),
        low_mm=low,
        high_mm=high,
        is_point=u_mm is not None or (low is not None and low == high),
        shortage_text=_shortage(site, said),
        position_label=position_words(site.get("governing_position") or ""),
        u_mm=u_mm,
    )


def _taken(site: Mapping[str, Any], readings: Sequence["Reading"]) -> str:
    """Return method and basis of the readings behind a site's verdict."""
    position = site.get("governing_position") or ""
    found = [
        _("{method}, {basis}").format(
            method=_(label(Method(r.method))) if r.method in set(Method) else r.method,
            basis=str(r.get_basis_display()).lower(),
        )
        for r in readings
        if r.site == site["site"] and r.position == position
    ]
    return "; ".join(dict.fromkeys(found))


def _covered(ground: "SiteGround | None") -> str:
    """Return the ground on which a short site may be built, if there is one."""
    if ground is None or ground.coverage is None:
        return ""
    answer = ground.coverage.answer
    if answer is None:
        return _("cleared within measuring uncertainty")
    return _("covered by the signed answer: {answer}").format(
        answer=word("answer", answer.kind).lower()
    )


def site_row(
    site: Mapping[str, Any],
    unit: "Unit",
    said: Captions,
    readings: Sequence["Reading"],
    ground: "SiteGround | None",
    code: str,
) -> SiteRow:
    """Return a site as a line of the table; ``code`` of the case it is stored with."""
    mark = site_mark(site, unit.tooth, said)
    return SiteRow(
        key=f"{unit.tooth}|{site['site']}",
        label=mark.label,
        position=mark.position_label,
        need="" if mark.need_mm is None else mm_text(mark.need_mm, said),
        target="" if mark.target_mm is None else mm_text(mark.target_mm, said),
        measured=measured_text(mark, said),
        taken=_taken(site, readings),
        verdict=mark.verdict,
        shortage=mark.shortage_text,
        advice=site["advice"],
        source=site["source"],
        covered=_covered(ground),
        fine=ground.fine if ground else mark.verdict not in SHORT,
        clearable=ground.clearable if ground else False,
        why=_why(code, unit.tooth, site),
        derivation=tuple(site.get("derivation", ())),
    )


def _why(code: str, tooth: str, site: Mapping[str, Any]) -> str:
    """Return where the stored verdict is derived; empty where nothing is stored."""
    if not code:
        return ""
    return reverse("case_why", args=[code, tooth, site["site"], site["quantity"]])
