"""The append-only, hash-chained timeline of a case.

An entry holds event, actor, time, states and a salted commitment of the
content; the content itself stands in a table of its own and may be erased
without breaking the chain. Position, previous hash and hash are filled in by a
database trigger from a locked counter row.
"""

from django.db import models

from cases.enums import AuditEvent, OrganisationKind
from cases.models.case import Case
from cases.tenancy import TenantManager

__all__ = ["TimelineContent", "TimelineEntry", "TimelineHead"]


class TimelineHead(models.Model):
    """Position and hash of a case's last entry; written by trigger only."""

    case = models.OneToOneField(
        Case, models.CASCADE, primary_key=True, related_name="+"
    )
    position = models.PositiveIntegerField(default=0)
    entry_hash = models.CharField(max_length=64, default="0" * 64)

    objects = TenantManager["TimelineHead"]()

    def __str__(self) -> str:
        return f"head {self.pk}"


class TimelineEntry(models.Model):
    """One thing that happened. ``canonical`` is the hashed text (RFC 8785)."""

    case = models.ForeignKey(Case, models.PROTECT, related_name="timeline")
    position = models.PositiveIntegerField(default=0)
    event = models.CharField(max_length=32, choices=AuditEvent.choices)
    at = models.DateTimeField()
    actor_membership_id = models.BigIntegerField()
    actor_side = models.CharField(max_length=10, choices=OrganisationKind.choices)
    state_before = models.CharField(max_length=16)
    state_after = models.CharField(max_length=16)
    internal = models.BooleanField(default=False)
    content_commitment = models.CharField(max_length=64)
    canonical = models.TextField()
    prev_hash = models.CharField(max_length=64, default="")
    entry_hash = models.CharField(max_length=64, default="")

    objects = TenantManager["TimelineEntry"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case", "position"], name="timeline_position_once"
            ),
        ]

    def __str__(self) -> str:
        return f"timeline entry {self.pk}"


class TimelineContent(models.Model):
    """Salt and content behind an entry's commitment; erasable."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="+")
    entry = models.OneToOneField(
        TimelineEntry, models.CASCADE, related_name="content_row"
    )
    salt = models.CharField(max_length=32)
    content = models.JSONField()

    objects = TenantManager["TimelineContent"]()

    def __str__(self) -> str:
        return f"timeline content {self.pk}"
