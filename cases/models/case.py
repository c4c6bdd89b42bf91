"""The case, its parties, its prescription and the units to be made."""

from typing import ClassVar, Self

from django.db import models
from django.db.models import Q

from cases.canonical import new_code, new_salt
from cases.lifecycle import CaseState
from cases.models.people import Membership, Organisation, User
from cases.tenancy import Actor, TenantManager

__all__ = ["Case", "CaseParty", "PatientIdentity", "Prescription", "Round", "Unit"]

_STATES = [(state.value, state.value) for state in CaseState]


class CaseQuerySet(models.QuerySet["Case"]):
    """Tenancy of cases in code; row-level security repeats it below."""

    def visible_to(self, actor: Actor) -> Self:
        """Return the clinic's own cases, or the laboratory's sent ones."""
        if actor.is_clinic:
            return self.filter(clinic_id=actor.organisation_id)
        return self.filter(
            laboratory_id=actor.organisation_id, submitted_at__isnull=False
        )

    def locked(self) -> Self:
        """Return the rows locked until the transaction ends; case first, always."""
        return self.select_for_update(of=("self",))


class CaseManager(TenantManager["Case"]):
    """Manager of cases with the tenancy queryset."""

    def get_queryset(self) -> CaseQuerySet:
        """Return the scoped queryset, or raise NoTenant."""
        super().get_queryset()
        return CaseQuerySet(self.model, using=self._db)

    def visible_to(self, actor: Actor) -> CaseQuerySet:
        """Return the cases an actor may see."""
        return self.get_queryset().visible_to(actor)


class Case(models.Model):
    """One question between a clinic and a laboratory, from draft to fit.

    ``version`` counts every change of state, prescription, reading or flag and
    is the ETag of the API. ``round`` counts impressions: 1 at submission, +1 for
    each re-preparation, re-impression or remount.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    clinic = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    prescriber = models.ForeignKey(User, models.PROTECT, related_name="+")
    created_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    state = models.CharField(max_length=16, choices=_STATES, default=CaseState.DRAFT)
    version = models.PositiveIntegerField(default=1)
    round = models.PositiveSmallIntegerField(default=1)
    revision = models.PositiveSmallIntegerField(default=0)
    rule_set_digest = models.CharField(max_length=64, blank=True)
    current_check = models.ForeignKey(
        "cases.Check", models.PROTECT, null=True, blank=True, related_name="+"
    )
    verdict = models.CharField(max_length=16, blank=True)
    held_from = models.CharField(max_length=16, blank=True)
    hold_targets = models.JSONField(default=list)
    records_due = models.JSONField(default=list)
    missing = models.TextField(blank=True)
    review_on = models.DateField(null=True, blank=True)
    pan_number = models.CharField(max_length=20, blank=True)
    contents_received = models.JSONField(default=list)
    wanted_on = models.DateField(null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    appointment_at = models.DateTimeField(null=True, blank=True)
    charged_work = models.TextField(blank=True)
    remake_of = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="+"
    )
    created_at = models.DateTimeField()
    submitted_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField(null=True, blank=True)
    moved_at = models.DateTimeField()

    objects: ClassVar[CaseManager] = CaseManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=[state.value for state in CaseState]),
                name="case_state_known",
            ),
            models.CheckConstraint(
                condition=Q(state=CaseState.DRAFT, submitted_at__isnull=True)
                | (~Q(state=CaseState.DRAFT) & Q(submitted_at__isnull=False)),
                name="case_draft_is_not_submitted",
            ),
        ]
        indexes = [
            models.Index(
                fields=["clinic", "-created_at", "-id"], name="case_by_clinic"
            ),
            models.Index(
                fields=["laboratory", "-created_at", "-id"], name="case_by_laboratory"
            ),
        ]

    def __str__(self) -> str:
        return f"case {self.code}"


class CaseParty(models.Model):
    """Who sees a case: the clinic at once, the laboratory from submission on.

    Written by database triggers only.
    """

    case = models.ForeignKey(Case, models.CASCADE, related_name="parties")
    organisation = models.ForeignKey(Organisation, models.PROTECT)
    scope = models.CharField(max_length=16)

    objects = TenantManager["CaseParty"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case", "organisation"], name="case_party_once"
            ),
        ]
        indexes = [
            models.Index(
                fields=["organisation", "case"],
                name="case_party_beside",
                condition=~Q(scope__in=["clinic", "laboratory"]),
            ),
        ]

    def __str__(self) -> str:
        return f"party {self.pk}"


class PatientIdentity(models.Model):
    """All that identifies a patient, in the one table that can be erased.

    Signed content holds a commitment SHA-256(salt, values) of this row.
    """

    case = models.OneToOneField(Case, models.CASCADE, related_name="patient")
    reference = models.CharField(max_length=40)
    initials = models.CharField(max_length=6, blank=True)
    age_band = models.CharField(max_length=10, blank=True)
    salt = models.CharField(max_length=32, default=new_salt)

    objects = TenantManager["PatientIdentity"]()

    class Meta:
        indexes = [models.Index(fields=["reference"], name="patient_by_reference")]

    def __str__(self) -> str:
        return f"patient identity {self.pk}"


class Round(models.Model):
    """One preparation as recorded: why it began and which mounting it is on."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="rounds")
    number = models.PositiveSmallIntegerField()
    cause = models.CharField(max_length=20)
    mounting_number = models.PositiveSmallIntegerField(default=1)
    carries_mouth_readings = models.BooleanField(default=False)
    began_at = models.DateTimeField()

    objects = TenantManager["Round"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["case", "number"], name="round_once"),
        ]

    def __str__(self) -> str:
        return f"round {self.pk}"


class Prescription(models.Model):
    """What is to be made: a numbered revision; signed, it is the authorization."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="prescriptions")
    revision = models.PositiveSmallIntegerField()
    shade = models.CharField(max_length=40, blank=True)
    notes = models.TextField(blank=True)
    occlusal_scheme = models.CharField(max_length=60, blank=True)
    disinfection = models.CharField(max_length=60, blank=True)
    jaw_record = models.CharField(max_length=60, blank=True)
    connectors = models.JSONField(default=list, blank=True)
    # The case takes these over when the revision is signed, not before: the
    # laboratory keeps seeing what was submitted.
    wanted_on = models.DateField(null=True, blank=True)
    appointment_at = models.DateTimeField(null=True, blank=True)
    content = models.JSONField(null=True, blank=True)
    content_sha256 = models.CharField(max_length=64, blank=True)
    signature = models.ForeignKey(
        "cases.Signature", models.PROTECT, null=True, blank=True, related_name="+"
    )
    submitted_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Prescription"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case", "revision"], name="prescription_revision_once"
            ),
            models.CheckConstraint(
                condition=Q(submitted_at__isnull=True) | Q(signature__isnull=False),
                name="prescription_submitted_is_signed",
            ),
        ]

    def __str__(self) -> str:
        return f"prescription {self.pk}"


class Unit(models.Model):
    """One tooth's restoration; units of one bridge share a ``span``.

    Wall heights, base width and dentine in millimetres, convergence in degrees.
    """

    prescription = models.ForeignKey(Prescription, models.CASCADE, related_name="units")
    case = models.ForeignKey(Case, models.CASCADE, related_name="+")
    position = models.PositiveSmallIntegerField()
    tooth = models.CharField(max_length=2)
    kind = models.CharField(max_length=16)
    material = models.CharField(max_length=40)
    occlusal_surface = models.CharField(max_length=10, blank=True)
    cementation = models.CharField(max_length=14, blank=True)
    span = models.CharField(max_length=20, blank=True)
    relation = models.CharField(max_length=16, default="normal")
    antagonist = models.CharField(max_length=20, default="natural")
    antagonists = models.JSONField(default=list)
    planned_plane = models.BooleanField(default=False)
    not_applicable = models.JSONField(
        default=list, db_default=models.Value([], models.JSONField())
    )
    wall_heights_mm = models.JSONField(default=dict)
    base_width_mm = models.DecimalField(
        max_digits=4, decimal_places=2, null=True, blank=True
    )
    convergence_deg = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, blank=True
    )
    dentine_mm = models.DecimalField(
        max_digits=4, decimal_places=2, null=True, blank=True
    )
    retention = models.CharField(max_length=8, blank=True, db_default="")
    abutment = models.CharField(max_length=60, blank=True, db_default="")
    shade = models.CharField(max_length=40, blank=True)
    finish_line = models.CharField(max_length=20, blank=True)
    submitted_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Unit"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["prescription", "tooth"], name="unit_tooth_once"
            ),
        ]

    def __str__(self) -> str:
        return f"unit {self.pk}"
