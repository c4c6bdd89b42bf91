"""The technician's query, the clinician's signed answer, and signatures."""

from django.db import models

from cases.canonical import new_code
from cases.enums import FlagStatus, OrganisationKind
from cases.models.case import Case
from cases.models.people import Membership, User
from cases.tenancy import TenantManager

__all__ = ["Answer", "Flag", "Signature"]


class Signature(models.Model):
    """Who signed exactly what, meaning what, when; never changed.

    ``content`` is the canonical JSON that was shown and hashed. It holds a
    salted commitment of the patient's identity, not the identity itself.
    """

    case = models.ForeignKey(Case, models.CASCADE, related_name="signatures")
    membership = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    user = models.ForeignKey(User, models.PROTECT, related_name="+")
    printed_name = models.CharField(max_length=120)
    role = models.CharField(max_length=16)
    signed_for = models.CharField(max_length=120, blank=True)
    purpose = models.CharField(max_length=32)
    meaning = models.CharField(max_length=300)
    method = models.CharField(max_length=16)
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    signed_at = models.DateTimeField()

    objects = TenantManager["Signature"]()

    def __str__(self) -> str:
        return f"signature {self.pk}"


class Flag(models.Model):
    """A query: it blocks fabrication while it is open.

    ``sites`` lists what is short: ``{"tooth", "site", "need_mm", "low_mm",
    "high_mm", "verdict"}``; ``options`` the ways out the laboratory offers, as the check
    computed them. ``verified``: the die was seated and the mounting verified against
    the jaw record, which a query that rests on the laboratory's readings has to say.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    case = models.ForeignKey(Case, models.CASCADE, related_name="flags")
    status = models.CharField(
        max_length=16, choices=FlagStatus.choices, default=FlagStatus.OPEN
    )
    origin = models.CharField(max_length=10, choices=OrganisationKind.choices)
    reasons = models.JSONField()
    text = models.TextField()
    sites = models.JSONField(default=list)
    options = models.JSONField(default=list)
    revision = models.PositiveSmallIntegerField()
    round = models.PositiveSmallIntegerField()
    rule_set_digest = models.CharField(max_length=64)
    verified = models.BooleanField(default=False, db_default=False)
    raised_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    raised_by_name = models.CharField(max_length=120)
    raised_at = models.DateTimeField()
    signature = models.ForeignKey(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.TextField(blank=True)

    objects = TenantManager["Flag"]()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    status__in=["open", "countersign_due"], settled_at__isnull=True
                )
                | models.Q(
                    status__in=["settled", "withdrawn"], settled_at__isnull=False
                ),
                name="flag_settled_has_a_time",
            ),
        ]
        indexes = [
            models.Index(
                fields=["case"],
                name="flag_open",
                condition=models.Q(status__in=["open", "countersign_due"]),
            ),
        ]

    def __str__(self) -> str:
        return f"flag {self.code}"


class Answer(models.Model):
    """The clinician's signed choice. ``parameters`` depends on the kind."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    case = models.ForeignKey(Case, models.CASCADE, related_name="answers")
    flag = models.ForeignKey(Flag, models.PROTECT, related_name="answers")
    kind = models.CharField(max_length=20)
    parameters = models.JSONField(default=dict)
    grounds = models.TextField(blank=True)
    consent = models.BooleanField(default=False)
    signature = models.ForeignKey(Signature, models.PROTECT, related_name="+")
    answered_at = models.DateTimeField()
    countersignature = models.ForeignKey(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )
    declined_reason = models.TextField(blank=True)
    declined_by_name = models.CharField(max_length=120, blank=True)
    declined_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Answer"]()

    def __str__(self) -> str:
        return f"answer {self.code}"
