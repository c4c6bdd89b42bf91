"""How an organisation has set up its audit, and what may explain a change in it."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Final

from cases.audit.filters import month_after
from cases.audit.report_types import Annotation
from cases.models import (
    AuditNote,
    AuditSettings,
    AuditView,
    RemakeCause,
    RuleSetPublication,
)
from cases.tenancy import Actor

__all__ = [
    "audit_annotations",
    "audit_notes",
    "audit_settings",
    "audit_views",
    "causes_for",
]

_LONGEST_TEXT: Final = 120


def audit_settings(*, actor: Actor) -> AuditSettings:
    """Return the organisation's settings; the unsaved defaults when it has set none."""
    found = AuditSettings.objects.filter(organisation_id=actor.organisation_id).first()
    return found or AuditSettings(organisation_id=actor.organisation_id)


def audit_notes(*, actor: Actor) -> list[AuditNote]:
    """Return the notes that stand, the latest day first."""
    return list(
        AuditNote.objects.filter(
            organisation_id=actor.organisation_id, removed_at__isnull=True
        ).order_by("-on", "-id")
    )


def audit_annotations(
    *, actor: Actor, first: date, last: date
) -> tuple[Annotation, ...]:
    """Return what happened from the first month to the end of the last one, by day.

    The organisation's own notes, and the rule sets its laboratories began to work by; a
    clinic sees those of every laboratory it works or has worked with.
    """
    ends = month_after(date(last.year, last.month, 1)) - timedelta(days=1)
    notes = AuditNote.objects.filter(
        organisation_id=actor.organisation_id,
        removed_at__isnull=True,
        on__range=(first, ends),
    )
    published = RuleSetPublication.objects.filter(effective_from__range=(first, ends))
    found = [Annotation(on=note.on, text=note.text) for note in notes]
    found += [
        Annotation(
            on=row.effective_from,
            text=f"{row.name} {row.label}"[:_LONGEST_TEXT],
            kind="rule_set",
        )
        for row in published
    ]
    return tuple(sorted(found, key=lambda one: (one.on, one.kind, one.text)))


def audit_views(*, actor: Actor) -> Sequence[AuditView]:
    """Return the person's own saved selections, by name."""
    return list(
        AuditView.objects.filter(
            organisation_id=actor.organisation_id, membership_id=actor.membership_id
        ).order_by("name")
    )


def causes_for(*, actor: Actor) -> dict[str, str]:
    """Return a laboratory's own causes by code, retired ones too.

    A clinic is shown those of every laboratory it works or has worked with.
    """
    return dict(
        RemakeCause.objects.order_by("label", "id").values_list("code", "label")
    )
