"""Sign and send: exactly what is signed, what the check says of it, the signature."""

from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from cases import clock, policies
from cases.errors import Invalid
from cases.forms.clinic import SubmitForm
from cases.forms.core_words import people_text
from cases.forms.reading_rows import reading_words
from cases.forms.signing import digest_of
from cases.forms.vocabulary import (
    material_words,
    position_words,
    site_words,
    tooth_words,
)
from cases.lifecycle import CaseState, Command, next_state
from cases.selectors.cases import case_detail
from cases.services.submission import case_resubmit, case_submit, submission_content
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.commands import Page, command_page
from cases.views.draft_sheet import Sheet
from cases.views.signed_words import (
    connector_words,
    instrument_words,
    preparation_words,
)
from cases.views.signers import signer_of
from rules.requirements import RuleSet
from rules.terms import Antagonist, Kind, Method, Relation, label

if TYPE_CHECKING:
    from cases.selectors.cases import CaseDetail

__all__ = ["resubmit", "submit", "unit_lines"]

both = require_http_methods(["GET", "HEAD", "POST"])
_SERVICES = {Command.SUBMIT: case_submit, Command.RESUBMIT: case_resubmit}
_DONE = {
    Command.SUBMIT: _("Signed and sent. The laboratory logs what arrives."),
    Command.RESUBMIT: _("Signed and sent again."),
}


def unit_lines(
    units: list[dict[str, Any]], *, rule_set: RuleSet, system: str
) -> list[dict[str, Any]]:
    """Return the units of signed content in words, each with its readings."""
    lines = []
    for unit in units:
        tooth = unit["tooth"]
        variant = (unit.get("occlusal_surface"), unit.get("cementation"))
        more = [
            material_words(rule_set, unit["material"], variant),
            _now(label(Relation(unit.get("relation", "normal")))),
            _now(label(Antagonist(unit.get("antagonist", "natural")))),
            unit.get("shade", ""),
            unit.get("finish_line", ""),
            *preparation_words(unit),
        ]
        lines.append(
            {
                "title": tooth_words(tooth, system),
                "made": _now(label(Kind(unit["kind"]))),
                "more": [part for part in more if part],
                "readings": [
                    {
                        "site": site_words(reading["site"], tooth),
                        "position": position_words(reading.get("position", "")),
                        "method": ", ".join(
                            [
                                _now(label(Method(reading["method"]))),
                                *instrument_words(reading),
                            ]
                        ),
                        "figures": reading_words(reading),
                    }
                    for reading in unit.get("readings", ())
                ],
            }
        )
    return lines


def _shown(detail: "CaseDetail", actor: Actor) -> dict[str, Any]:
    """Return what the page shows of what would be signed, or why it cannot be."""
    sheet = Sheet(detail, actor)
    try:
        content = submission_content(detail.case, at=clock.now())
    except Invalid as error:
        told = [people_text(f, system=actor.tooth_system) for f in error.fields]
        return {"missing": told, "digest": "", "verdict": sheet.verdict()}
    return {
        "content": content,
        "digest": digest_of(content),
        "lines": unit_lines(
            content["units"], rule_set=sheet.rule_set, system=actor.tooth_system
        ),
        "connectors": connector_words(content["connectors"], actor.tooth_system),
        "verdict": sheet.verdict(),
        "revision": detail.draft,
    }


def _page(request: ActingRequest, code: str, command: Command) -> HttpResponse:
    detail = case_detail(actor=request.actor, code=code)
    if request.method == "POST":
        policies.require(request.actor, command)
    else:
        policies.require(request.actor, Command.EDIT_DRAFT)
    shown = {
        **_shown(detail, request.actor),
        "detail": detail,
        "signer": signer_of(request.actor, detail.case, clock.now().date()),
    }
    if not policies.can(request.actor, command):
        return _look(request, detail, command, shown)
    page = Page(
        command,
        SubmitForm,
        "cases/submit.html",
        _DONE[command],
        fresh={"content_sha256": shown["digest"]},
        context=shown,
    )
    return command_page(
        request,
        case=detail.case,
        page=page,
        act=lambda form, at: _SERVICES[command](
            actor=request.actor,
            code=code,
            version=form.cleaned_data["version"],
            signature=form.signature(),
            at=at,
        ),
    )


def _look(
    request: ActingRequest,
    detail: "CaseDetail",
    command: Command,
    shown: dict[str, Any],
) -> HttpResponse:
    """Show an assistant the same page; only the signature is missing."""
    next_state(CaseState(detail.case.state), command)
    form = SubmitForm(initial={"version": detail.case.version})
    context = {
        "case": detail.case,
        "form": form,
        "command": command.value,
        "standing": True,
        **shown,
    }
    return render(request, "cases/submit.html", context)


@both
@acting_required
def submit(request: ActingRequest, code: str) -> HttpResponse:
    """Sign a draft as prescription and send it to the laboratory."""
    return _page(request, code, Command.SUBMIT)


@both
@acting_required
def resubmit(request: ActingRequest, code: str) -> HttpResponse:
    """Sign the corrected revision of an incomplete case and send it again."""
    return _page(request, code, Command.RESUBMIT)
