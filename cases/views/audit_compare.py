"""Two periods of the audit side by side: what differs, and how surely."""

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from cases.forms.audit_words import audit_words
from cases.services.audit_report import audit_comparison
from cases.views.access import ActingRequest, acting_required
from cases.views.audit_page import ask, period_words, show

__all__ = ["compare"]


@require_safe
@acting_required
def compare(request: ActingRequest) -> HttpResponse:
    """Show how the figures of a period differ from those of another one."""
    asked = ask(request, "compare", second=True)
    if asked.filters is None or asked.before is None:
        return show(asked, request, "")
    found = audit_comparison(
        actor=asked.actor,
        filters=asked.filters,
        before=asked.before,
        at=asked.at,
        words=audit_words(),
    )
    return show(
        asked,
        request,
        "audit/compare.html",
        comparison=found,
        earlier=period_words(asked.before),
    )
