"""What the answer asked for, sent; and the clinic's small steps around the bench."""

from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases import policies
from cases.errors import Invalid
from cases.forms.clinic import (
    ProvisionalForm,
    ReceiptForm,
    ResumeForm,
    ReturnForm,
)
from cases.forms.commands import CommandForm
from cases.forms.records import RecordRows, RecordsForm, added_row, place_words
from cases.forms.unit_changes import flat_of
from cases.forms.vocabulary import term_choices
from cases.lifecycle import CaseState, Command, next_state
from cases.selectors.cases import case_detail, case_get
from cases.selectors.instruments import instrument_choices
from cases.services.bench import case_receipt, case_resume, case_return
from cases.services.checks import rule_set_for
from cases.services.readings import provisional_lost, records_send
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page
from cases.views.draft_state import full_reading, full_unit
from cases.views.verdicts import LiveVerdict, judged
from rules.terms import Position

if TYPE_CHECKING:
    from cases.selectors.cases import CaseDetail

__all__ = ["provisional", "receipt", "records", "resume", "returned"]

both = require_http_methods(["GET", "HEAD", "POST"])
LIVE, ADD = "live", "add-reading"


def _earlier(detail: "CaseDetail") -> dict[tuple[str, str, str], dict[str, Any]]:
    """Return the clinic's last reading at each place, from the rounds so far."""
    return {
        (r.tooth, r.site, r.position): full_reading(r)
        for r in detail.readings
        if r.side == "clinic" and r.superseded_at is None
    }


def _cut(detail: "CaseDetail") -> set[tuple[str, str]]:
    """Return the sites that were cut again: their earlier readings are void."""
    found: set[tuple[str, str]] = set()
    for flag in detail.flags:
        for answer in flag.answers.all():
            depths = answer.parameters.get("depth_mm") or {}
            found |= {
                (tooth, site) for tooth, sites in depths.items() for site in sites
            }
            if answer.kind in ("re_preparation", "adjust_opposing"):
                found |= {(site["tooth"], site["site"]) for site in flag.sites}
    return found


def _rows(detail: "CaseDetail", actor: Actor, data: dict[str, str]) -> RecordRows:
    return RecordRows(
        data,
        units=[full_unit(unit, ()) for unit in detail.units],
        earlier=_earlier(detail),
        cut=_cut(detail),
        rule_set=rule_set_for(detail.case.rule_set_digest),
        system=actor.tooth_system,
        instruments=instrument_choices(actor=actor),
    )


def _verdict(
    detail: "CaseDetail", rows: RecordRows, actor: Actor
) -> LiveVerdict | None:
    """Return what the check says of the new readings; faults go to their rows."""
    if not rows.is_valid() or not rows.json():
        return None
    try:
        return judged(
            rows.judged_units(),
            rule_set=rule_set_for(detail.case.rule_set_digest),
            system=rows.system,
            actor=actor,
        )
    except Invalid as error:
        rows.add(error)
        return None


def _context(detail: "CaseDetail", rows: RecordRows, actor: Actor) -> dict[str, Any]:
    cut = [place_words(t, s, rows.system) for t, s in sorted(rows.cut)]
    return {
        "detail": detail,
        "rows": rows,
        "verdict": _verdict(detail, rows, actor),
        "due": detail.case.records_due,
        "cut": cut if "readings" in detail.case.records_due else [],
        "positions": term_choices(Position),
        "fixed_rows": True,
        "begun": True,
    }


@both
@acting_required
def records(request: ActingRequest, code: str) -> HttpResponse:
    """Send the new records; a new round begins."""
    actor = request.actor
    detail = case_detail(actor=actor, code=code)
    policies.require(actor, Command.RECORDS)
    data = flat_of(request.POST)
    if request.POST.get("do") == ADD:
        data = _with_added(detail, data)
    rows = _rows(detail, actor, data)
    due = detail.case.records_due
    if request.POST.get("do") in (LIVE, ADD):
        return _part(request, detail, rows)
    page = Page(
        Command.RECORDS,
        RecordsForm,
        "cases/records.html",
        _("Sent. The laboratory logs what arrives, then checks the new round."),
        kwargs={"due": due},
        context=_context(detail, rows, actor),
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: _send(actor, code, rows, form, at),
    )


def _send(actor: Actor, code: str, rows: RecordRows, form: Any, at: Any) -> None:
    if not rows.is_valid():
        raise Invalid()  # every message stands beside its row already
    try:
        records_send(
            actor=actor,
            code=code,
            version=form.cleaned_data["version"],
            readings=rows.json(),
            sent=form.cleaned_data.get("sent", ()),
            note=form.cleaned_data["note"],
            at=at,
        )
    except Invalid as error:
        raise rows.add(error) from error


def _with_added(detail: "CaseDetail", data: dict[str, str]) -> dict[str, str]:
    place = data.pop("add-place", "")
    relations = {unit.tooth: unit.relation for unit in detail.units}
    return added_row(
        data,
        place=place,
        position=data.pop("add-position", ""),
        relation=relations.get(place.partition("|")[0], ""),
    )


def _part(
    request: ActingRequest, detail: "CaseDetail", rows: RecordRows
) -> HttpResponse:
    """Answer a round trip that stores nothing: the verdict, or one more row."""
    next_state(CaseState(detail.case.state), Command.RECORDS)
    context = _context(detail, rows, request.actor)
    context["faults"] = rows.problems
    status = 422 if rows.problems else 200
    if request.htmx and request.POST.get("do") == LIVE:
        return render(request, "cases/parts/_records_live.html", context, status=status)
    form = RecordsForm(
        initial={
            "version": request.POST.get("version", ""),
            "note": request.POST.get("note", ""),
            "sent": request.POST.getlist("sent"),
        },
        due=detail.case.records_due,
    )
    context |= {
        "case": detail.case,
        "form": form,
        "command": Command.RECORDS.value,
        "standing": True,
    }
    return render(request, "cases/records.html", context, status=status)


def _step(
    request: ActingRequest,
    code: str,
    *,
    command: Command,
    form: type[CommandForm],
    service: Any,
    done: Promise | str,
    lede: Promise | str,
) -> HttpResponse:
    """One of the clinic's steps that need a note at most."""
    case = case_get(actor=request.actor, code=code)
    page = Page(command, form, "cases/step.html", done, context={"lede": lede})
    return command_page(
        request,
        case=case,
        page=page,
        act=lambda form, at: service(
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            note=form.cleaned_data["note"],
            at=at,
        ),
    )


@both
@acting_required
def receipt(request: ActingRequest, code: str) -> HttpResponse:
    """Confirm that the work arrived at the clinic."""
    return _step(
        request,
        code,
        command=Command.RECEIPT,
        form=ReceiptForm,
        service=case_receipt,
        done=_("Receipt confirmed. Report the fit after the appointment."),
        lede=_(
            "The work is here. The fit report comes after it was tried in the mouth."
        ),
    )


@both
@acting_required
def returned(request: ActingRequest, code: str) -> HttpResponse:
    """Return the work with notes: after try-in, or for adjustment."""
    return _step(
        request,
        code,
        command=Command.RETURN,
        form=ReturnForm,
        service=case_return,
        done=_("Returned to the laboratory with your notes."),
        lede=_("The work goes back to the bench; this is no remake."),
    )


@both
@acting_required
def resume(request: ActingRequest, code: str) -> HttpResponse:
    """Take up a deferred case: new records are due."""
    return _step(
        request,
        code,
        command=Command.RESUME,
        form=ResumeForm,
        service=case_resume,
        done=_("Resumed. New readings, impression and jaw record are due."),
        lede=_("The treatment that came first is done: new records follow."),
    )


@both
@acting_required
def provisional(request: ActingRequest, code: str) -> HttpResponse:
    """Record that the provisional was lost or high: readings count as stale."""
    return _step(
        request,
        code,
        command=Command.PROVISIONAL,
        form=ProvisionalForm,
        service=provisional_lost,
        done=_("Recorded. Readings taken so far prove no room any more."),
        lede=_(
            "Teeth move while a preparation stands bare or a provisional is high. The "
            "readings stay on the case as stale; the laboratory measures again or asks "
            "for new records."
        ),
    )
