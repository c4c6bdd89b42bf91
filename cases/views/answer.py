"""Answer a query: the ways out side by side, then exactly what is signed."""

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases import clock, policies
from cases.enums import FlagStatus
from cases.errors import Conflict, Invalid
from cases.forms.answer import REFERRAL_WORDS, AnswerForm, ChoiceForm
from cases.forms.commands import LOOK, show_faults
from cases.forms.signing import digest_of
from cases.forms.vocabulary import tooth_words
from cases.lifecycle import AnswerKind, Command
from cases.selectors.cases import case_detail
from cases.selectors.records import flag_get
from cases.services.answers import AnswerInput, answer_preview, flag_answer
from cases.services.checks import rule_set_for
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page
from cases.views.presenting import query_rows, unit_panels
from cases.views.signers import signer_of
from cases.views.span_rows import bridges
from cases.views.submit import unit_lines
from cases.views.verdicts import LiveVerdict, judged
from cases.views.ways import order_sentence
from cases.views.ways_out import variant_choices, way_groups, ways_out

if TYPE_CHECKING:
    from cases.models import Flag
    from cases.selectors.cases import CaseDetail

__all__ = ["answer"]

_DONE = {
    AnswerKind.ACCEPT_RISK: _("Signed. It waits for the responsible technician."),
    AnswerKind.CANCEL: _("Signed. The case is cancelled."),
}


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def answer(request: ActingRequest, code: str) -> HttpResponse:
    """Choose a way out, look at what it signs, sign it."""
    flag = flag_get(actor=request.actor, code=code)
    policies.require(request.actor, Command.ANSWER)
    detail = case_detail(actor=request.actor, code=flag.case.code)
    if request.method != "POST" and flag.status != FlagStatus.OPEN:
        messages.info(request, _("This query is not open any more."))
        return redirect("case", code=flag.case.code)
    kwargs = _kwargs(request, flag, detail)
    if request.method != "POST":
        form = ChoiceForm(initial={"version": detail.case.version}, **kwargs)
        return _choose(request, flag, detail, form)
    form = ChoiceForm(request.POST, **kwargs)
    content = _content(form, flag, detail)
    if content is None and (LOOK in request.POST or not form.is_valid()):
        return _choose(request, flag, detail, form)
    return _sign(request, flag, detail, form, content or {}, kwargs)


def _kwargs(
    request: ActingRequest, flag: "Flag", detail: "CaseDetail"
) -> dict[str, Any]:
    rule_set = rule_set_for(detail.case.rule_set_digest)
    system = request.actor.tooth_system
    return {
        "ways": ways_out(flag, detail.units, rule_set=rule_set, system=system),
        "variants": variant_choices(flag, detail.units, rule_set=rule_set),
        "words": {u.tooth: tooth_words(u.tooth, system) for u in detail.units},
    }


def _chosen(form: ChoiceForm, detail: "CaseDetail") -> AnswerInput:
    """Return the answer; one that keeps every material is a change of design."""
    found = form.answer()
    own = {unit.tooth: unit.material for unit in detail.units}
    changed = [
        keys.get("material", own.get(t)) != own.get(t)
        for t, keys in found.changes.items()
    ]
    if found.changes and not any(changed):
        return replace(found, kind=AnswerKind.CHANGE_DESIGN)
    return found


def _content(
    form: ChoiceForm, flag: "Flag", detail: "CaseDetail"
) -> dict[str, Any] | None:
    """Return exactly what would be signed; faults go to their fields."""
    if not form.is_valid():
        return None
    try:
        return answer_preview(
            case=detail.case,
            flag=flag,
            answer=_chosen(form, detail),
            at=clock.now(),
        )
    except Invalid as error:
        show_faults(form, error, {"kind": "choice", "changes": "choice"})
    except Conflict:
        # Settled meanwhile: signing says so, with what was typed kept.
        return {}
    return None


def _choose(
    request: ActingRequest, flag: "Flag", detail: "CaseDetail", form: ChoiceForm
) -> HttpResponse:
    ways = list(form.ways.values())
    context = {
        "case": detail.case,
        "flag": flag,
        "form": form,
        "query": next(q for q in query_rows(detail) if q.flag.code == flag.code),
        "panels": _concerned(request, flag, detail),
        "spans": bridges(detail, request.actor),
        "offered": way_groups([w for w in ways if w.offered and w.feasible]),
        "others": way_groups([w for w in ways if not w.offered and w.feasible]),
        "barred": way_groups([w for w in ways if not w.feasible]),
        "barred_count": sum(not way.feasible for way in ways),
        "order": order_sentence(),
    }
    status = 422 if form.errors else 200
    return render(request, "cases/answer.html", context, status=status)


def _concerned(request: ActingRequest, flag: "Flag", detail: "CaseDetail") -> list[Any]:
    """Return the units the query is about; all of them where it names none."""
    teeth = {site["tooth"] for site in flag.sites}
    panels = unit_panels(detail, request.actor)
    return [panel for panel in panels if not teeth or panel.tooth in teeth]


def _sign(
    request: ActingRequest,
    flag: "Flag",
    detail: "CaseDetail",
    form: ChoiceForm,
    content: dict[str, Any],
    kwargs: dict[str, Any],
) -> HttpResponse:
    chosen = _chosen(form, detail)
    page = Page(
        Command.ANSWER,
        AnswerForm,
        "cases/answer_sign.html",
        _DONE.get(chosen.kind, _("Signed. The laboratory is told.")),
        kwargs=kwargs,
        fresh={"content_sha256": digest_of(content) if content else ""},
        names={"kind": "choice", "changes": "choice"},
        context={
            "flag": flag,
            "way": form.way,
            "chosen": chosen,
            "content": content,
            "referral": str(REFERRAL_WORDS.get(chosen.referral, "")),
            "stored": json.dumps(content, indent=1, ensure_ascii=False),
            "revised": _revised(request, content),
            "after": _after(request, detail, content),
            "signer": signer_of(request.actor, detail.case, clock.now().date()),
        },
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: flag_answer(
            actor=request.actor,
            code=flag.code,
            version=form.cleaned_data["version"],
            answer=_chosen(form, detail),
            signature=form.signature(),
            at=at,
        ),
    )


def _revised(request: ActingRequest, content: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the units of the new revision in words."""
    if not content.get("prescription"):
        return []
    return unit_lines(
        content["prescription"]["units"],
        rule_set=rule_set_for(content["rule_set"]),
        system=request.actor.tooth_system,
    )


def _after(
    request: ActingRequest, detail: "CaseDetail", content: dict[str, Any]
) -> LiveVerdict | None:
    """Return what the check says of the changed prescription."""
    planned = content.get("prescription")
    if not planned:
        return None
    # As judged: side and staleness count, the round is the prescription's own word.
    units = [
        {
            **unit,
            "readings": [
                {k: v for k, v in reading.items() if k != "round"}
                for reading in unit["readings"]
            ],
        }
        for unit in planned["units"]
    ]
    try:
        return judged(
            units,
            rule_set=rule_set_for(detail.case.rule_set_digest),
            system=request.actor.tooth_system,
            connectors=planned["connectors"],
        )
    except Invalid:  # pragma: no cover -- the preview has checked these units
        return None
