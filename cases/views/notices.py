"""A person's notices in the portal: read them, mark them, go to the case."""

from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases import clock
from cases.enums import AuditEvent
from cases.selectors.records import notice_list
from cases.services.notices import notices_read
from cases.views.access import ActingRequest, acting_required

if TYPE_CHECKING:
    from cases.models import Notice

__all__ = ["notices", "notices_mark"]


def _words(kind: str) -> str:
    """Return what happened, in words."""
    others = {
        "signed_for": _("Signed in your name by your delegate"),
        "partnership_asked": _("A partnership was asked for"),
        "partnership_accepted": _("A partnership was accepted"),
        "partnership_ended": _("A partnership ended"),
        "rule_set_proposed": _("A rule set waits for your approval"),
        "rule_set_approved": _("A rule set was approved"),
        "rule_set_returned": _("A rule set was returned to editing"),
        "rule_set_published": _("A new rule set was published"),
        "audit_digest": _("The remake audit of last month is ready"),
    }
    if kind in others:
        return others[kind]
    return str(AuditEvent(kind).label) if kind in AuditEvent.values else kind


def _address(row: "Notice") -> str:
    """Return where a notice leads; empty where there is nothing more to see."""
    if row.case is not None:
        return reverse("case", kwargs={"code": row.case.code})
    return reverse("rule_sets") if row.kind.startswith("rule_set_") else ""


@require_safe
@acting_required
def notices(request: ActingRequest) -> HttpResponse:
    """Show the newest notices, unread ones marked."""
    rows: list[dict[str, Any]] = [
        {"notice": row, "words": _words(row.kind), "href": _address(row)}
        for row in notice_list(actor=request.actor)
    ]
    unread = sum(1 for row in rows if row["notice"].read_at is None)
    return render(request, "notices/list.html", {"rows": rows, "unread": unread})


@require_POST
@acting_required
def notices_mark(request: ActingRequest) -> HttpResponse:
    """Mark one notice (``notice``) or all of them as read."""
    wanted = request.POST.get("notice", "")
    # 18 digits stay within what the database can compare.
    one = int(wanted) if wanted.isdecimal() and len(wanted) <= 18 else None
    if one is not None or not wanted:
        notices_read(actor=request.actor, at=clock.now(), notice_id=one)
    return redirect("notices")
