"""The laboratory's commands around the gate: query, clear, release, countersign."""

from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from cases.errors import Conflict
from cases.forms.commands import CommandForm
from cases.forms.lab import ClearForm, CountersignForm, FlagForm
from cases.forms.signing import digest_of
from cases.forms.vocabulary import tooth_number
from cases.lifecycle import Command
from cases.policies import require
from cases.selectors.cases import CaseDetail, case_detail
from cases.selectors.records import flag_get
from cases.services.answers import (
    countersign_content,
    flag_countersign,
    pending_answer,
)
from cases.services.flags import flag_raise
from cases.services.release import case_clear, work_order_release
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page
from cases.views.figures import UnitPanel
from cases.views.presenting import query_rows, unit_panels
from cases.views.query_text import prefilled
from cases.views.site_rows import SHORT
from cases.views.span_rows import bridges

if TYPE_CHECKING:
    from cases.models import Answer, Flag

__all__ = ["clear", "countersign", "flag", "release"]

both = require_http_methods(["GET", "HEAD", "POST"])


def _short_sites(panels: tuple[UnitPanel, ...], actor: Actor) -> list[tuple[str, str]]:
    """Return the sites that are not sufficient, as choices."""
    return [
        (
            row.key,
            " · ".join(
                part
                for part in (
                    f"{tooth_number(panel.tooth, actor.tooth_system)} {row.label}",
                    _(row.verdict.replace("_", " ")),
                    row.shortage,
                )
                if part
            ),
        )
        for panel in panels
        for row in panel.sites
        if row.verdict in SHORT
    ]


@both
@acting_required
def flag(request: ActingRequest, code: str) -> HttpResponse:
    """Raise one query to the clinician, prefilled from the check."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    require(actor, Command.FLAG)
    panels = unit_panels(detail, actor)
    sites, spans = _short_sites(panels, actor), bridges(detail, actor)
    page = Page(
        Command.FLAG,
        FlagForm,
        "cases/flag.html",
        gettext_lazy("Query raised. The case is on hold until the clinician answers."),
        kwargs={
            "sites": sites,
            "own_readings": any(r.side == "laboratory" for r in detail.readings),
        },
        initial={
            "reasons": ["clearance"] if sites else [],
            "sites": [key for key, _label in sites],
            "text": prefilled(panels, spans),
        },
        context={"panels": panels, "spans": spans},
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: flag_raise(
            actor=actor,
            code=code,
            version=form.cleaned_data["version"],
            reasons=form.cleaned_data["reasons"],
            text=form.cleaned_data["text"],
            sites=form.wanted(),
            verified=form.cleaned_data.get("verified", False),
            at=at,
        ),
    )


def _confirming(detail: CaseDetail, actor: Actor) -> dict[str, Any]:
    """Return what a page shows that asks whether this is to be built."""
    return {
        "detail": detail,
        "panels": unit_panels(detail, actor),
        "queries": query_rows(detail),
        "spans": bridges(detail, actor),
    }


@both
@acting_required
def clear(request: ActingRequest, code: str) -> HttpResponse:
    """Clear the case for fabrication."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    shown = _confirming(detail, actor)
    page = Page(
        Command.CLEAR,
        ClearForm,
        "cases/clear.html",
        gettext_lazy("Cleared. Release the work order next."),
        kwargs={
            "clearable": [
                (row.key, f"{panel.label}: {row.label}, {row.measured} mm")
                for panel in shown["panels"]
                for row in panel.sites
                if row.clearable
            ]
        },
        context=shown,
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: case_clear(
            actor=actor,
            code=code,
            version=form.cleaned_data["version"],
            within_uncertainty=form.wanted(),
            at=at,
        ),
    )


@both
@acting_required
def release(request: ActingRequest, code: str) -> HttpResponse:
    """Release the work order, after showing exactly what is released."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    page = Page(
        Command.RELEASE,
        CommandForm,
        "cases/release.html",
        gettext_lazy("Work order released. Its document is being made."),
        context=_confirming(detail, actor),
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: work_order_release(
            actor=actor, code=code, version=form.cleaned_data["version"], at=at
        ),
    )


def _pending(row: "Flag") -> "tuple[Answer | None, str]":
    """Return the answer that waits and the digest to sign; none when settled."""
    try:
        answer = pending_answer(row)
    except Conflict:
        return None, ""
    content = countersign_content(case=row.case, flag=row, answer=answer)
    return answer, digest_of(content)


@both
@acting_required
def countersign(request: ActingRequest, code: str) -> HttpResponse:
    """Accept a documented risk for the laboratory, or decline with a reason.

    ``code`` is the query's.
    """
    actor = request.actor
    row = flag_get(actor=actor, code=code)
    require(actor, Command.COUNTERSIGN)
    answer, digest = _pending(row)
    detail = case_detail(actor=actor, code=row.case.code)
    page = Page(
        Command.COUNTERSIGN,
        CountersignForm,
        "cases/countersign.html",
        gettext_lazy("Recorded."),
        fresh={"content_sha256": digest},
        context={
            "waiting": answer is not None,
            "queries": [q for q in query_rows(detail) if q.flag.code == code],
            "panels": unit_panels(detail, actor),
        },
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: flag_countersign(
            actor=actor,
            code=code,
            version=form.cleaned_data["version"],
            accept=not form.declines,
            reason=form.cleaned_data.get("reason", ""),
            signature=None if form.declines else form.signature(),
            at=at,
        ),
    )
