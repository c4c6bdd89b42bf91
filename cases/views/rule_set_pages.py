"""What every page that changes a rule set draft does the same way.

Refused because somebody was quicker, the page comes back with 412 or 409 and all that
was typed; the button ``look`` fetches the present version into the form without
storing anything.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from cases.enums import DraftStatus
from cases.errors import Conflict, DomainError, Invalid, InvalidField, StaleVersion
from cases.forms.commands import LOOK
from cases.forms.faults import fault_text
from cases.forms.rule_set_words import COMMON_SOURCES
from cases.selectors.rule_sets import draft_get
from cases.views.access import ActingRequest

if TYPE_CHECKING:
    from django.http import QueryDict

    from cases.models import RuleSetDraft

__all__ = [
    "Changed",
    "Editable",
    "Page",
    "both",
    "changed_of",
    "looked",
    "moved_on",
    "save",
    "show",
    "sources_of",
    "version_of",
]

both = require_http_methods(["GET", "HEAD", "POST"])

# The most sources of a set that are offered while another is typed.
_SOURCES = 40


class Editable(Protocol):
    """A form or a table that can be refused line by line."""

    @property
    def problems(self) -> list[dict[str, str]]:
        """Every fault with the way to it."""

    def is_valid(self) -> bool:
        """Tell whether its shape is right."""

    def place(self, error: Invalid, document: Mapping[str, Any]) -> None:
        """Put every fault where it belongs."""


@dataclass(frozen=True, slots=True)
class Changed:
    """What a person is told whose change came too late or was refused."""

    text: str
    draft: "RuleSetDraft"
    standing: bool


@dataclass(frozen=True, slots=True)
class Page:
    """A page that edits one part of a draft; ``context`` is the page's own."""

    draft: "RuleSetDraft"
    template: str
    form: Editable
    version: object
    context: Mapping[str, Any]


def version_of(data: "QueryDict") -> int:
    """Return the version a table was sent with; 0, which none has, for no number."""
    text = data.get("version", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def sources_of(document: Mapping[str, Any]) -> list[str]:
    """Return what is offered while a source is typed: the common ones, then the set's."""
    said = [line["source"] for name in ("needs", "methods") for line in document[name]]
    common = [str(text) for text in COMMON_SOURCES]
    return list(dict.fromkeys([*common, *said]))[:_SOURCES]


def looked(request: ActingRequest, draft: "RuleSetDraft") -> "QueryDict":
    """Return what was sent, with the present version where that was asked for."""
    if LOOK not in request.POST:
        return request.POST
    data = request.POST.copy()
    data["version"] = str(draft.version)
    return data


def moved_on(request: ActingRequest, draft: "RuleSetDraft") -> HttpResponse | None:
    """Return the answer to who opens an editor of what is not edited; else None."""
    if draft.status == DraftStatus.EDITING:
        return None
    return render(request, "rule_sets/moved_on.html", {"draft": draft}, status=409)


def show(
    request: ActingRequest,
    page: Page,
    *,
    status: int = 200,
    changed: Changed | None = None,
) -> HttpResponse:
    """Show the page, with what was refused."""
    context = {
        "draft": page.draft,
        "form": page.form,
        "editor": page.form,
        "problems": page.form.problems,
        "changed": changed,
        "standing": changed is None or changed.standing,
        "version": page.version,
        "sources": sources_of(page.draft.document),
        **page.context,
    }
    return render(request, page.template, context, status=status)


def save(
    request: ActingRequest,
    page: Page,
    *,
    act: Callable[[], object],
    target: str,
    done: str | Promise,
) -> HttpResponse:
    """Ask the one service; show the page again with everything that was refused."""
    if not page.form.is_valid():
        return show(request, page, status=422)
    try:
        act()
    except Invalid as error:
        page.form.place(error, page.draft.document)
        return show(request, page, status=422)
    except (StaleVersion, Conflict) as error:
        changed = changed_of(request, page.draft.code, error)
        return show(request, page, status=error.status, changed=changed)
    messages.success(request, str(done))
    return redirect(target)


def changed_of(request: ActingRequest, code: str, error: DomainError) -> Changed:
    """Return what to say of a refusal, with the draft as it is now."""
    draft = draft_get(actor=request.actor, code=code)
    told = InvalidField("", error.message, tuple(error.params.items()))
    if isinstance(error, StaleVersion):
        text = _("{name} changed this rule set after you had opened it.").format(
            name=draft.edited_by_name
        )
    else:
        text = fault_text(told)
    return Changed(text, draft, draft.status == DraftStatus.EDITING)
