"""Remakes in words, for forms and pages."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _

from cases.drawings.clearance_chart import mm_text
from cases.forms.vocabulary import Choices, site_words, tooth_number, tooth_words
from cases.forms.words import word
from cases.tenancy import Actor
from cases.views.captions import captions, within
from rules.terms import Verdict, label

if TYPE_CHECKING:
    from cases.models import Attachment, RemakeTrace, SiteVerdict
    from cases.selectors.cases import CaseDetail
    from cases.selectors.remakes import RemakeDetail

__all__ = [
    "SideRow",
    "TraceRow",
    "cause_word",
    "file_choices",
    "side_rows",
    "site_choices",
    "tooth_choices",
    "trace_rows",
]


def cause_word(code: str, labels: dict[str, str]) -> str:
    """Return the words of a cause: the laboratory's own, or of the common list."""
    return labels.get(code) or word("cause", code)


def tooth_choices(detail: "CaseDetail", actor: Actor) -> Choices:
    """Return the teeth of a case to choose from."""
    return [
        (unit.tooth, tooth_words(unit.tooth, actor.tooth_system))
        for unit in detail.units
    ]


def _shown(file: "Attachment", code: str) -> str:
    if file.kind != "photo":
        return file.file_name
    address = reverse("case_file", args=[code, file.code])
    return format_html(
        '<img class="thumb" src="{}?inline" alt="" loading="lazy"> {}',
        address,
        file.file_name,
    )


def file_choices(detail: "CaseDetail", actor: Actor) -> Choices:
    """Return the files of a case to choose from, photos shown small."""
    return [
        (file.code, _shown(file, detail.case.code))
        for file in detail.attachments
        if not (file.internal and actor.is_clinic)
    ]


@dataclass(frozen=True, slots=True)
class SideRow:
    """One side's view: the statement that counts, and the earlier ones."""

    side: str
    title: str
    own: bool
    latest: Any
    earlier: Sequence[Any]


def side_rows(detail: "RemakeDetail", actor: Actor) -> tuple[SideRow, ...]:
    """Return both sides' views, the reader's own first."""
    titles = {
        "clinic": detail.case.clinic.name,
        "laboratory": detail.case.laboratory.name,
    }
    rows = []
    for side in sorted(titles, key=lambda side: side != actor.side):
        said = detail.said_by(side)
        rows.append(
            SideRow(
                side=side,
                title=titles[side],
                own=side == actor.side,
                latest=said[0] if said else None,
                earlier=said[1:],
            )
        )
    return tuple(rows)


def _measured(verdict: "SiteVerdict") -> str:
    """Return what was measured against what is needed, in words."""
    said = captions(verdict.tooth)
    low, high, need = (
        None if value is None else mm_text(value, said)
        for value in (verdict.low_mm, verdict.high_mm, verdict.need_mm)
    )
    if low is None and high is None:
        found = said.no_reading
    elif high is None:
        found = said.at_least.format(low=low)
    elif low is None:
        found = said.under.format(high=high)
    elif verdict.is_point or low == high:
        found = low
    else:
        found = said.between.format(low=low, high=high)
    if need is None:
        return found
    return _("{found} measured, {need} mm needed").format(found=found, need=need)


@dataclass(frozen=True, slots=True)
class TraceRow:
    """One line from a remake to a verdict, in words."""

    trace: "RemakeTrace"
    tooth: str
    site: str
    verdict: str
    measured: str
    when: str
    ground: str
    answer_url: str


def _when(verdict: "SiteVerdict", detail: "RemakeDetail") -> str:
    """Return which of the two checks a verdict is of; it may be both."""
    built = verdict.stored_check_id == detail.built
    first = verdict.stored_check_id == detail.first
    if built and first:
        return _("when the case was first sent and when it was built")
    if built:
        return _("at the check the work order rested on")
    return _("when the case was first sent")


def _ground(trace: "RemakeTrace") -> str:
    """Return what let the site be built, as far as it is known."""
    answer, coverage = trace.answer, trace.coverage
    if answer is not None:
        return _("{answer}, signed by {name}").format(
            answer=word("answer", answer.kind), name=answer.signature.printed_name
        )
    if coverage is not None:
        return _("Cleared within measuring uncertainty by {name}").format(
            name=coverage.given_by_name
        )
    return ""


def trace_rows(detail: "RemakeDetail", actor: Actor) -> tuple[TraceRow, ...]:
    """Return what the remake goes back to, withdrawn lines included."""
    rows = []
    for trace in detail.traces:
        site = trace.site_verdict
        rows.append(
            TraceRow(
                trace=trace,
                tooth=tooth_words(site.tooth, actor.tooth_system),
                site=within(site_words(site.site, site.tooth)),
                verdict=site.verdict,
                measured=_measured(site),
                when=_when(site, detail),
                ground=_ground(trace),
                answer_url=f"{reverse('case', args=[detail.case.code])}"
                f"#query-{trace.answer.flag.code}"
                if trace.answer
                else "",
            )
        )
    return tuple(rows)


def site_choices(detail: "RemakeDetail", actor: Actor) -> Choices:
    """Return the sites a line may be added to: tooth, site, verdict, when."""
    taken = {trace.site_verdict_id for trace in detail.standing}
    return [
        (
            str(one.pk),
            _("{tooth}, {site}: {verdict}, {when}").format(
                tooth=tooth_number(one.tooth, actor.tooth_system),
                site=within(site_words(one.site, one.tooth)),
                verdict=_(label(Verdict(one.verdict))),
                when=_when(one, detail),
            ),
        )
        for one in detail.sites
        if one.pk not in taken
    ]
