"""What happened in the mouth, and what had to be made again."""

from django.db import models

from cases.canonical import new_code
from cases.enums import OrganisationKind
from cases.models.case import Case
from cases.models.flag import Answer
from cases.models.measurement import Coverage, SiteVerdict
from cases.models.people import Membership, Organisation
from cases.models.thread import Attachment
from cases.tenancy import TenantManager

__all__ = [
    "FitReport",
    "Remake",
    "RemakeCause",
    "RemakeEvidence",
    "RemakeLoss",
    "RemakeStatement",
    "RemakeTrace",
]

_EMPTY = models.Value([], models.JSONField())


class FitReport(models.Model):
    """The clinic's report after seating. ``findings`` is a list of keys.

    ``opposing_teeth``: where the opposing arch was adjusted (ISO 3950), empty when the
    report does not say.
    """

    case = models.ForeignKey(Case, models.CASCADE, related_name="fit_reports")
    outcome = models.CharField(max_length=10)
    findings = models.JSONField(default=list)
    opposing_adjusted_mm = models.DecimalField(
        max_digits=4, decimal_places=2, null=True, blank=True
    )
    opposing_teeth = models.JSONField(default=list, db_default=_EMPTY, blank=True)
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    coping_used = models.BooleanField(null=True)
    note = models.TextField(blank=True)
    reported_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    reported_by_name = models.CharField(max_length=120)
    reported_at = models.DateTimeField()

    objects = TenantManager["FitReport"]()

    def __str__(self) -> str:
        return f"fit report {self.pk}"


class Remake(models.Model):
    """Work made again: inside the laboratory, or as a new linked case.

    ``teeth``: which of the case's teeth are made again, all when empty. ``cause``: a
    key of the list, or the code of the laboratory's own ``RemakeCause``. The two
    attributions are the latest statement of each side; a trigger keeps them.
    """

    case = models.ForeignKey(Case, models.CASCADE, related_name="remakes")
    new_case = models.ForeignKey(
        Case, models.PROTECT, null=True, blank=True, related_name="+"
    )
    internal = models.BooleanField(default=False)
    teeth = models.JSONField(default=list, db_default=_EMPTY, blank=True)
    cause = models.CharField(max_length=40)
    detected_at = models.CharField(max_length=20)
    attribution_clinic = models.CharField(max_length=16, blank=True)
    attribution_laboratory = models.CharField(max_length=16, blank=True)
    note = models.TextField(blank=True)
    recorded_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    recorded_by_name = models.CharField(max_length=120, blank=True, db_default="")
    recorded_at = models.DateTimeField()

    objects = TenantManager["Remake"]()

    def __str__(self) -> str:
        return f"remake {self.pk}"


class RemakeCause(models.Model):
    """A cause a laboratory has added to the common list."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    label = models.CharField(max_length=60)
    made_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["RemakeCause"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["laboratory", "label"],
                condition=models.Q(retired_at__isnull=True),
                name="remake_cause_once",
            ),
        ]

    def __str__(self) -> str:
        return f"remake cause {self.code}"


class RemakeStatement(models.Model):
    """Who, as one side sees it, the remake goes back to; the latest one counts."""

    remake = models.ForeignKey(Remake, models.CASCADE, related_name="statements")
    side = models.CharField(max_length=10, choices=OrganisationKind.choices)
    attribution = models.CharField(max_length=16)
    note = models.TextField(blank=True)
    made_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    made_by_name = models.CharField(max_length=120)
    made_at = models.DateTimeField()

    objects = TenantManager["RemakeStatement"]()

    def __str__(self) -> str:
        return f"remake statement {self.pk}"


class RemakeLoss(models.Model):
    """What a remake cost one side; only that side sees it. The latest one counts."""

    remake = models.ForeignKey(Remake, models.CASCADE, related_name="losses")
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    amount = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    minutes = models.PositiveIntegerField(null=True, blank=True)
    days_lost = models.PositiveSmallIntegerField(null=True, blank=True)
    made_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    objects = TenantManager["RemakeLoss"]()

    def __str__(self) -> str:
        return f"remake loss {self.pk}"


class RemakeEvidence(models.Model):
    """A file of the case that shows what went wrong."""

    remake = models.ForeignKey(Remake, models.CASCADE, related_name="evidence")
    attachment = models.ForeignKey(Attachment, models.PROTECT, related_name="+")

    objects = TenantManager["RemakeEvidence"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["remake", "attachment"], name="remake_evidence_once"
            ),
        ]

    def __str__(self) -> str:
        return f"remake evidence {self.pk}"


class RemakeTrace(models.Model):
    """The verdict, and the answer if there was one, a remake goes back to.

    Drawn by the portal when the remake is recorded (``automatic``) or by a person;
    withdrawn, never deleted.
    """

    remake = models.ForeignKey(Remake, models.CASCADE, related_name="traces")
    site_verdict = models.ForeignKey(SiteVerdict, models.PROTECT, related_name="+")
    answer = models.ForeignKey(
        Answer, models.PROTECT, null=True, blank=True, related_name="+"
    )
    coverage = models.ForeignKey(
        Coverage, models.PROTECT, null=True, blank=True, related_name="+"
    )
    automatic = models.BooleanField()
    made_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    made_by_name = models.CharField(max_length=120)
    made_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(
        Membership, models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_by_name = models.CharField(max_length=120, blank=True)
    withdrawn_reason = models.CharField(max_length=200, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["RemakeTrace"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["remake", "site_verdict"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="remake_trace_once",
            ),
        ]

    def __str__(self) -> str:
        return f"remake trace {self.pk}"
