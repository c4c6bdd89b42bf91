"""The case thread: append-only messages, and attachments by random key."""

from django.db import models

from cases.canonical import new_code
from cases.enums import OrganisationKind
from cases.models.case import Case
from cases.models.people import Membership
from cases.tenancy import TenantManager

__all__ = ["Attachment", "Message"]


class Message(models.Model):
    """What one person wrote to the other side, or within the laboratory."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    case = models.ForeignKey(Case, models.CASCADE, related_name="messages")
    author = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    author_name = models.CharField(max_length=120)
    side = models.CharField(max_length=10, choices=OrganisationKind.choices)
    internal = models.BooleanField(default=False)
    body = models.TextField()
    client_id = models.CharField(max_length=40)
    written_at = models.DateTimeField()

    objects = TenantManager["Message"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case", "author", "client_id"], name="message_sent_once"
            ),
            models.CheckConstraint(
                condition=models.Q(internal=False) | models.Q(side="laboratory"),
                name="message_internal_is_the_laboratorys",
            ),
        ]

    def __str__(self) -> str:
        return f"message {self.code}"


class Attachment(models.Model):
    """A file of the case; served only through an authorised view."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    case = models.ForeignKey(Case, models.CASCADE, related_name="attachments")
    message = models.ForeignKey(
        Message, models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    uploaded_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    uploaded_by_name = models.CharField(max_length=120)
    side = models.CharField(max_length=10, choices=OrganisationKind.choices)
    internal = models.BooleanField(default=False)
    kind = models.CharField(max_length=10)
    file_name = models.CharField(max_length=120)
    content_type = models.CharField(max_length=80)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    storage_key = models.CharField(max_length=80, unique=True)
    uploaded_at = models.DateTimeField()
    submitted_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Attachment"]()

    def __str__(self) -> str:
        return f"attachment {self.code}"
