"""A draft on its way to force: compared, proposed, approved, published, discarded."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from cases import clock
from cases.enums import DraftStatus
from cases.errors import Conflict, Invalid, StaleVersion
from cases.forms.commands import LOOK
from cases.forms.faults import fault_text
from cases.forms.rule_sets import ProposeForm, ReturnForm, VersionForm
from cases.selectors.check_catalog import own_rule_set
from cases.selectors.rule_sets import draft_get, draft_rule_set, other_managers
from cases.services import rule_sets as services
from cases.services.rule_set_impact import impact_start
from cases.views.access import ActingRequest, acting_required
from cases.views.rule_set_drafts import draft_context
from cases.views.rule_set_pages import (
    Page,
    both,
    changed_of,
    looked,
    moved_on,
    save,
    show,
    version_of,
)
from rules.difference import differences

__all__ = ["approve", "compare", "discard", "propose", "publish", "send_back"]


@both
@acting_required
def propose(request: ActingRequest, code: str) -> HttpResponse:
    """Ask another manager to approve the draft, to hold from a day on."""
    actor, at = request.actor, clock.now()
    draft = draft_get(actor=actor, code=code)
    start = {"version": draft.version, "effective_from": draft.effective_from}
    data = looked(request, draft) if request.method == "POST" else None
    form = ProposeForm(data, initial=start)
    changes = differences(own_rule_set(actor=actor, at=at), draft_rule_set(draft))
    context = {
        "alone": not other_managers(actor=actor),
        "changes_count": len(changes),
    }
    page = Page(draft, "rule_sets/propose.html", form, form["version"].value(), context)
    if data is None:
        return moved_on(request, draft) or show(request, page)
    if LOOK in request.POST:
        return show(request, page)

    def act() -> object:
        return services.draft_propose(
            actor=actor, code=code, at=at, **form.cleaned_data
        )

    target = reverse("rule_set_draft", args=[code])
    done = _("Proposed. Another laboratory manager is told and approves it.")
    return save(request, page, act=act, target=target, done=done)


def _step(
    request: ActingRequest,
    code: str,
    act: Callable[[], Any],
    done: str = "",
    goes_to: Callable[[Any], str] | None = None,
) -> HttpResponse:
    """Carry a button of the draft's page out; refused, the page comes back with why.

    ``goes_to`` finds the next address from what was made; else it is the draft's.
    """
    problems: list[dict[str, str]] = []
    changed, status = None, 422
    try:
        made = act()
    except Invalid as error:
        problems = [{"href": "", "text": fault_text(one)} for one in error.fields]
    except (StaleVersion, Conflict) as error:
        changed, status = changed_of(request, code, error), error.status
    else:
        if done:
            messages.success(request, done)
        own = reverse("rule_set_draft", args=[code])
        return redirect(goes_to(made) if goes_to else own)
    found = draft_get(actor=request.actor, code=code)
    context = {
        **draft_context(request, found),
        "problems": problems,
        "changed": changed,
    }
    return render(request, "rule_sets/draft.html", context, status=status)


@require_POST
@acting_required
def compare(request: ActingRequest, code: str) -> HttpResponse:
    """Begin to compare a draft with the cases."""
    draft_get(actor=request.actor, code=code)
    return _step(
        request,
        code,
        lambda: impact_start(actor=request.actor, code=code, at=clock.now()),
        goes_to=lambda made: reverse("rule_set_impact", args=[made.code]),
    )


@require_POST
@acting_required
def approve(request: ActingRequest, code: str) -> HttpResponse:
    """Approve a draft somebody else edited last."""
    draft_get(actor=request.actor, code=code)
    return _step(
        request,
        code,
        lambda: services.draft_approve(
            actor=request.actor,
            code=code,
            version=version_of(request.POST),
            at=clock.now(),
        ),
        _("Approved. It can be published now."),
    )


@require_POST
@acting_required
def publish(request: ActingRequest, code: str) -> HttpResponse:
    """Publish an approved draft: it never changes again."""
    draft_get(actor=request.actor, code=code)
    return _step(
        request,
        code,
        lambda: services.draft_publish(
            actor=request.actor,
            code=code,
            version=version_of(request.POST),
            at=clock.now(),
        ),
        _("Published. The clinics you work with are told."),
    )


@require_POST
@acting_required
def send_back(request: ActingRequest, code: str) -> HttpResponse:
    """Return a draft to editing, with the reason."""
    found = draft_get(actor=request.actor, code=code)
    form = ReturnForm(request.POST)
    if not form.is_valid():
        context = {**draft_context(request, found), "form": form, "return_form": form}
        return render(request, "rule_sets/draft.html", context, status=422)
    return _step(
        request,
        code,
        lambda: services.draft_return(
            actor=request.actor, code=code, at=clock.now(), **form.cleaned_data
        ),
        _("Returned to editing."),
    )


@both
@acting_required
def discard(request: ActingRequest, code: str) -> HttpResponse:
    """Ask, then put a draft aside for good."""
    draft = draft_get(actor=request.actor, code=code)
    data = looked(request, draft) if request.method == "POST" else None
    form = VersionForm(data, initial={"version": draft.version})
    page = Page(draft, "rule_sets/discard.html", form, form["version"].value(), {})
    if data is None:
        if draft.status in (DraftStatus.PUBLISHED, DraftStatus.DISCARDED):
            return moved_on(request, draft) or show(request, page)
        return show(request, page)
    if LOOK in request.POST:
        return show(request, page)

    def act() -> object:
        version = form.cleaned_data["version"]
        return services.draft_discard(actor=request.actor, code=code, version=version)

    target = reverse("rule_sets")
    return save(request, page, act=act, target=target, done=_("Discarded."))
