"""Members of one's organisation and the invitations that make them."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases import clock, policies
from cases.errors import Invalid
from cases.forms.faults import add_faults
from cases.forms.people import InviteForm
from cases.selectors import people as selectors
from cases.services import invitations as invitation_services
from cases.services import people as services
from cases.views.access import ActingRequest, acting_required

__all__ = [
    "invitation_revoke",
    "invite",
    "membership_end",
    "membership_update",
    "people",
]


def _page(
    request: ActingRequest, form: InviteForm, *, status: int = 200
) -> HttpResponse:
    actor = request.actor
    manages = policies.can_manage(actor, "people")
    context = {
        "form": form,
        "manages": manages,
        "members": list(selectors.members(actor=actor)),
        "invitations": list(selectors.invitations(actor=actor)) if manages else [],
        "bench_roles": services.BENCH_ROLES,
        "now": clock.now(),
    }
    return render(request, "people/people.html", context, status=status)


@acting_required
@require_safe
def people(request: ActingRequest) -> HttpResponse:
    """Show who works here, and to managers who is invited."""
    return _page(request, InviteForm(side=request.actor.side))


@acting_required
@require_POST
def invite(request: ActingRequest) -> HttpResponse:
    """Invite somebody by mail."""
    policies.require_right(request.actor, "people")
    form = InviteForm(request.POST, side=request.actor.side)
    if not form.is_valid():
        return _page(request, form, status=422)
    try:
        invitation = invitation_services.invitation_create(
            actor=request.actor,
            email=form.cleaned_data["email"],
            role=form.cleaned_data["role"],
            responsible_technician=form.cleaned_data.get(
                "responsible_technician", False
            ),
            at=clock.now(),
        )
    except Invalid as error:
        add_faults(form, error)
        return _page(request, form, status=422)
    messages.success(
        request,
        _("Invited: %(email)s. The link works once, for seven days.")
        % {"email": invitation.email},
    )
    return redirect("people")


@acting_required
@require_POST
def invitation_revoke(request: ActingRequest, code: str) -> HttpResponse:
    """Withdraw an invitation."""
    invitation_services.invitation_revoke(
        actor=request.actor, code=code, at=clock.now()
    )
    messages.success(request, _("The invitation is withdrawn; its link is dead."))
    return redirect("people")


@acting_required
@require_POST
def membership_end(request: ActingRequest, pk: int) -> HttpResponse:
    """End a membership."""
    services.membership_end(actor=request.actor, membership_id=pk, at=clock.now())
    messages.success(request, _("The membership has ended."))
    # One's own may be the one that ended.
    return redirect("people" if pk != request.actor.membership_id else "home")


@acting_required
@require_POST
def membership_update(request: ActingRequest, pk: int) -> HttpResponse:
    """Say whether a member may countersign."""
    services.membership_update(
        actor=request.actor,
        membership_id=pk,
        responsible_technician=request.POST.get("responsible_technician") == "on",
    )
    messages.success(request, _("Stored."))
    return redirect("people")
