"""The cases behind a number of the audit."""

from typing import Any

from django.http import HttpResponse
from django.views.decorators.http import require_safe

from cases.enums import Role
from cases.errors import Invalid
from cases.forms.audit_words import audit_words
from cases.forms.vocabulary import tooth_number
from cases.selectors.audit_cases import audit_cases
from cases.selectors.audit_setup import audit_settings
from cases.views.access import ActingRequest, acting_required
from cases.views.audit_asked import ask
from cases.views.audit_page import show

__all__ = ["cases"]

PAGE = 50


@require_safe
@acting_required
def cases(request: ActingRequest) -> HttpResponse:
    """List the restorations a number counts, unless they are too few to be shown.

    Where small numbers are hidden the list says nothing that is counted and hidden
    elsewhere (outcome, cause, option): those stand in each case.
    """
    asked = ask(request, "cases")
    if asked.filters is None:
        return show(asked, request, "")
    actor, filters = asked.actor, asked.filters
    after = request.GET.get("after", "")[:200]
    try:
        page = audit_cases(actor=actor, filters=filters, cursor=after, limit=PAGE)
    except Invalid:
        # No list gave that place: begin where it begins.
        page, after = audit_cases(actor=actor, filters=filters, limit=PAGE), ""
    words = audit_words()
    words["material"] = dict(asked.choices.get("material", ()))
    words["cause"] |= dict(asked.choices.get("cause", ()))

    def said(kind: str, key: str) -> str:
        return words[kind].get(key, key)

    rows: list[dict[str, Any]] = [
        {
            "code": row.code,
            "teeth": ", ".join(tooth_number(t, actor.tooth_system) for t in row.teeth),
            "clinic": row.clinic,
            "material": said("material", row.material),
            "kind": said("kind", row.kind),
            "dispatched_on": row.dispatched_on,
            "clearance": said("first_class", row.first_class),
            "option": said("option", row.option),
            "outcome": said("outcome", row.outcome),
            "cause": said("cause", row.cause),
        }
        for row in page.rows
    ]
    return show(
        asked,
        request,
        "audit/cases.html",
        rows=rows,
        # Nothing is hidden from oneself.
        own=actor.role == Role.CLINICIAN,
        n=page.n,
        hidden=page.hidden,
        small_number=audit_settings(actor=actor).small_number,
        first_href=asked.address() if after else "",
        next_href=asked.address(after=page.next_cursor) if page.next_cursor else "",
    )
