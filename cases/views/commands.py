"""A page that commands something of a case, the same way for every command.

GET shows the form, POST asks the one service. Refused because somebody was
quicker, the same form comes back with 412 or 409, everything typed still in it,
and says what changed; the button ``look`` fetches the present state into the form
without doing anything. A signed command shows its content the same way first.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.functional import Promise

from cases import clock, lifecycle, policies
from cases.errors import (
    Conflict,
    DomainError,
    IllegalTransition,
    Invalid,
    InvalidField,
    ReauthenticationRequired,
    StaleVersion,
    TooMany,
)
from cases.forms.commands import LOOK, MORE, CommandForm, typed
from cases.forms.faults import fault_text
from cases.forms.signing import SigningForm
from cases.lifecycle import CaseState, Command
from cases.selectors.cases import case_get
from cases.selectors.records import timeline_rows
from cases.views.access import ActingRequest

if TYPE_CHECKING:
    from cases.models import Case

__all__ = ["Changed", "Page", "command_page"]

Act = Callable[[Any, datetime], object]


@dataclass(frozen=True, slots=True)
class Changed:
    """What a person is told whose command came too late or was refused."""

    text: str
    reasons: tuple[str, ...]
    status: int
    case: "Case"
    last: object | None
    standing: bool


@dataclass(frozen=True, slots=True)
class Page:
    """One command's page.

    ``fresh`` are values that always come from the server (the digest of what is
    to be signed); ``names`` maps a service's pointer to another field.
    """

    command: Command
    form: type[CommandForm]
    template: str
    done: Promise | str
    kwargs: Mapping[str, Any] = field(default_factory=dict)
    initial: Mapping[str, Any] = field(default_factory=dict)
    fresh: Mapping[str, Any] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    context: Mapping[str, Any] = field(default_factory=dict)


def command_page(
    request: ActingRequest, *, case: "Case", page: Page, act: Act
) -> HttpResponse:
    """Show or carry out one command.

    Raises:
        NotAllowed: the actor's role never may.
        IllegalTransition: the page is opened in a state without this command.
    """
    policies.require(request.actor, page.command)
    fresh = {"version": case.version, **page.fresh}
    if request.method != "POST" or LOOK in request.POST:
        lifecycle.next_state(CaseState(case.state), page.command)
        start = {**page.initial, **fresh}
        if request.method == "POST":
            # More rows are no look at the case: the old version stays.
            kept = {} if request.POST[LOOK] == MORE else fresh
            start = {**typed(page.form, request, **page.kwargs), **kept}
        form = page.form(initial=start, **page.kwargs)
        return _show(request, case, page, form, None, 200)
    form = page.form(request.POST, request.FILES, **page.kwargs)
    if not form.is_valid():
        return _show(request, case, page, form, None, 422)
    refused = _attempt(form, page, act)
    if refused is None:
        messages.success(request, str(page.done))
        return redirect("case", code=case.code)
    status, error = refused
    changed = _changed(request, case.code, page, error) if error else None
    return _show(request, case, page, form, changed, status)


def _attempt(
    form: CommandForm, page: Page, act: Act
) -> tuple[int, DomainError | None] | None:
    """Return how the command was refused, or None when it was carried out."""
    try:
        act(form, clock.now())
    except Invalid as error:
        form.place(error, page.names)
        return 422, None
    except (ReauthenticationRequired, TooMany) as error:
        if not isinstance(form, SigningForm):  # pragma: no cover -- others never sign
            raise
        form.refuse(error)
        return (429 if isinstance(error, TooMany) else 422), None
    except (StaleVersion, Conflict) as error:
        return error.status, error
    return None


def _changed(
    request: ActingRequest, code: str, page: Page, error: DomainError
) -> Changed:
    """Return what to say of a refusal, with the case as it is now."""
    now = case_get(actor=request.actor, code=code)
    rows = timeline_rows(actor=request.actor, code=code)
    conflict = isinstance(error, Conflict) and not isinstance(error, IllegalTransition)
    reasons = getattr(error, "reasons", ())
    if any(reason.startswith("content_sha256") for reason in reasons):
        reasons = ()
    told = InvalidField("", error.message, tuple(error.params.items()))
    return Changed(
        # A gate's message repeats its reasons, which stand in a list of their own.
        text="" if conflict and reasons else fault_text(told),
        reasons=tuple(reasons),
        status=error.status,
        case=now,
        last=rows[-1] if rows else None,
        standing=page.command in lifecycle.commands_for(CaseState(now.state)),
    )


def _show(
    request: ActingRequest,
    case: "Case",
    page: Page,
    form: CommandForm,
    changed: Changed | None,
    status: int,
) -> HttpResponse:
    context = {
        "case": changed.case if changed else case,
        "form": form,
        "problems": form.problems,
        "command": page.command.value,
        "changed": changed,
        "standing": changed is None or changed.standing,
        **page.context,
    }
    return render(request, page.template, context, status=status)
