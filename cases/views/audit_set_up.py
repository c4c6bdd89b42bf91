"""How the audit is shown, what stands on its charts, and selections one keeps."""

from typing import Any
from urllib.parse import parse_qsl, urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from cases import clock, policies
from cases.errors import Invalid
from cases.forms.audit import NoteForm, SettingsForm, ViewForm
from cases.forms.faults import add_faults
from cases.selectors.audit_setup import audit_notes, audit_settings, audit_views
from cases.services import audit_set_up as services
from cases.views.access import ActingRequest, acting_required
from cases.views.audit_asked import ADDRESSES, TABS

__all__ = ["note_remove", "notes", "set_up", "view_remove", "views"]

_FIELDS = (
    "small_number",
    "least_cases",
    "compare_people",
    "currency",
    "monthly_digest",
)


def _page(
    request: ActingRequest, template: str, *, status: int = 200, **found: Any
) -> HttpResponse:
    context = {
        "sets_up": policies.can_manage(request.actor, "audit_set_up"),
        "audit_menu": [
            ("audit_views", _("Saved views")),
            ("audit_notes", _("Notes")),
            ("audit_set_up", _("Set-up")),
        ],
        **found,
    }
    return render(request, template, context, status=status)


@acting_required
@require_http_methods(["GET", "HEAD", "POST"])
def set_up(request: ActingRequest) -> HttpResponse:
    """Show how the organisation's audit is shown; a manager changes it."""
    actor = request.actor
    policies.require_right(actor, "audit_set_up")
    standing = audit_settings(actor=actor)
    if request.method != "POST":
        form = SettingsForm(initial={name: getattr(standing, name) for name in _FIELDS})
        return _page(request, "audit/set_up.html", form=form, standing=standing)
    form = SettingsForm(request.POST)
    if form.is_valid():
        try:
            services.settings_save(actor=actor, at=clock.now(), **form.cleaned_data)
        except Invalid as error:
            add_faults(form, error)
        else:
            messages.success(request, _("Stored."))
            return redirect("audit_set_up")
    found = {"form": form, "standing": standing}
    return _page(request, "audit/set_up.html", status=422, **found)


@acting_required
@require_http_methods(["GET", "HEAD", "POST"])
def notes(request: ActingRequest) -> HttpResponse:
    """Show what stands on the charts; a manager adds to it."""
    actor = request.actor
    policies.require_right(actor, "audit")
    form, status = NoteForm(), 200
    if request.method == "POST":
        policies.require_right(actor, "audit_set_up")
        form, status = NoteForm(request.POST), 422
        if form.is_valid():
            try:
                services.note_add(actor=actor, at=clock.now(), **form.cleaned_data)
            except Invalid as error:
                add_faults(form, error)
            else:
                messages.success(request, _("The note stands on the charts now."))
                return redirect("audit_notes")
    found = {"form": form, "notes": audit_notes(actor=actor)}
    return _page(request, "audit/notes.html", status=status, **found)


@acting_required
@require_POST
def note_remove(request: ActingRequest, code: str) -> HttpResponse:
    """Take a note off the charts."""
    services.note_remove(actor=request.actor, code=code, at=clock.now())
    messages.success(request, _("Taken off the charts."))
    return redirect("audit_notes")


def _rows(request: ActingRequest) -> list[dict[str, str]]:
    words = {page: str(label) for page, _name, label, _side in TABS}
    return [
        {
            "code": view.code,
            "name": view.name,
            "page": words.get(view.page, view.page),
            "href": f"{reverse(ADDRESSES[view.page])}?{view.query}",
        }
        for view in audit_views(actor=request.actor)
        if view.page in ADDRESSES
    ]


def _offered(request: ActingRequest) -> ViewForm | None:
    """Return the form for the selection the address brings along, if any."""
    page = request.GET.get("page", "")
    if page not in ADDRESSES:
        return None
    pairs = [(name, value) for name, value in request.GET.items() if name != "page"]
    return ViewForm(initial={"page": page, "query": urlencode(pairs)})


@acting_required
@require_http_methods(["GET", "HEAD", "POST"])
def views(request: ActingRequest) -> HttpResponse:
    """Show one's saved selections; keep the one the address brings along."""
    actor = request.actor
    policies.require_right(actor, "audit")
    form, status = _offered(request), 200
    if request.method == "POST":
        form, status = ViewForm(request.POST), 422
        if form.is_valid():
            try:
                services.view_save(
                    actor=actor,
                    name=form.cleaned_data["name"],
                    page=form.cleaned_data["page"],
                    query=form.kept_query(),
                    at=clock.now(),
                )
            except Invalid as error:
                add_faults(form, error)
            else:
                messages.success(request, _("Saved."))
                return redirect("audit_views")
    said = dict(parse_qsl(str(form["query"].value() or ""))) if form else {}
    return _page(
        request,
        "audit/views.html",
        status=status,
        form=form,
        saved=_rows(request),
        said=[f"{name}: {value}" for name, value in said.items()],
    )


@acting_required
@require_POST
def view_remove(request: ActingRequest, code: str) -> HttpResponse:
    """Forget a saved selection."""
    services.view_remove(actor=request.actor, code=code)
    messages.success(request, _("Removed."))
    return redirect("audit_views")
