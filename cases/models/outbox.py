"""Notices that leave through a transactional outbox, and replayed requests.

Outbox rows hold ids and event codes, never rendered text, and belong to the
organisation that is to be told.
"""

import uuid
from dataclasses import dataclass

from django.db import models

from cases.models.case import Case
from cases.models.people import Membership, Organisation, User
from cases.tenancy import TenantManager

__all__ = ["IdempotencyKey", "Notice", "OutboxRow", "Recipient"]


@dataclass(frozen=True, slots=True)
class Recipient:
    """A person to be told, through one membership; no row."""

    user_id: int
    membership_id: int
    email: str
    language: str


class OutboxRow(models.Model):
    """Something to do after commit; claimed by lease, done at most eight times."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organisation = models.ForeignKey(Organisation, models.CASCADE)
    case = models.ForeignKey(Case, models.CASCADE, null=True, blank=True)
    kind = models.CharField(max_length=32)
    dedupe_key = models.CharField(max_length=120, unique=True)
    payload = models.JSONField(default=dict)
    created_at = models.DateTimeField()
    next_try_at = models.DateTimeField()
    leased_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    done_at = models.DateTimeField(null=True, blank=True)
    dead_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=120, blank=True)

    objects = TenantManager["OutboxRow"]()

    class Meta:
        indexes = [
            models.Index(
                fields=["next_try_at"],
                name="outbox_waiting",
                condition=models.Q(done_at__isnull=True, dead_at__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return f"outbox {self.pk}"


class Notice(models.Model):
    """One message to one person through one channel, exactly once per event."""

    organisation = models.ForeignKey(Organisation, models.CASCADE)
    recipient = models.ForeignKey(User, models.CASCADE, related_name="+")
    membership = models.ForeignKey(Membership, models.CASCADE, related_name="+")
    case = models.ForeignKey(Case, models.CASCADE, null=True, blank=True)
    event = models.CharField(max_length=120)
    kind = models.CharField(max_length=32)
    channel = models.CharField(max_length=8)
    created_at = models.DateTimeField()
    read_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    message_id = models.CharField(max_length=120, blank=True)

    objects = TenantManager["Notice"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["event", "recipient", "channel"], name="notice_once"
            ),
        ]
        indexes = [
            models.Index(
                fields=["membership", "-created_at"], name="notice_by_membership"
            )
        ]

    def __str__(self) -> str:
        return f"notice {self.pk}"


class IdempotencyKey(models.Model):
    """The stored answer of a request that must happen once; kept 24 hours."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organisation = models.ForeignKey(Organisation, models.CASCADE)
    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    route = models.CharField(max_length=160)
    key = models.CharField(max_length=80)
    body_sha256 = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    headers = models.JSONField(default=dict)
    body = models.JSONField(null=True, blank=True)
    created_at = models.DateTimeField()

    objects = TenantManager["IdempotencyKey"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "user", "route", "key"],
                name="idempotency_key_once",
            ),
        ]

    def __str__(self) -> str:
        return f"idempotency key {self.pk}"
