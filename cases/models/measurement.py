"""Readings and the checks made of them. All lengths are millimetres."""

from decimal import Decimal

from django.db import models

from cases.canonical import new_code
from cases.enums import Basis, CoverageKind, OrganisationKind, UOrigin
from cases.models.case import Case
from cases.models.instrument import Instrument
from cases.models.people import Membership
from cases.tenancy import TenantManager

__all__ = ["Check", "Coverage", "Reading", "SiteVerdict"]


def _mm() -> "models.DecimalField[Decimal | float | str | None, Decimal | None]":
    return models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)


class Reading(models.Model):
    """One measurement at a site, in a jaw position, by a method, on a basis."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="readings")
    round = models.PositiveSmallIntegerField()
    tooth = models.CharField(max_length=2)
    site = models.CharField(max_length=32)
    position = models.CharField(max_length=24, blank=True)
    method = models.CharField(max_length=20)
    passes_mm = _mm()
    drags_mm = _mm()
    held_mm = _mm()
    value_mm = _mm()
    u_mm = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    basis = models.CharField(max_length=5, choices=Basis.choices, default=Basis.MOUTH)
    mounting_number = models.PositiveSmallIntegerField(null=True, blank=True)
    side = models.CharField(max_length=10, choices=OrganisationKind.choices)
    taken_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    taken_by_name = models.CharField(max_length=120)
    taken_at = models.DateTimeField()
    submitted_at = models.DateTimeField(null=True, blank=True)
    superseded_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    # The figures the reading was taken with are kept: an instrument may be
    # measured again or retired, the reading stays what it was.
    instrument = models.ForeignKey(
        Instrument,
        models.PROTECT,
        to_field="code",
        null=True,
        blank=True,
        related_name="+",
    )
    instrument_label = models.CharField(max_length=60, blank=True)
    delta_mm = models.DecimalField(
        max_digits=6, decimal_places=4, null=True, blank=True
    )
    u_origin = models.CharField(max_length=10, choices=UOrigin.choices, blank=True)
    stale_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Reading"]()

    class Meta:
        indexes = [models.Index(fields=["case", "round"], name="reading_by_round")]

    def __str__(self) -> str:
        return f"reading {self.pk}"


class Check(models.Model):
    """Verdicts of one prescription revision and one round under one rule set.

    ``request`` and ``result`` are the bodies of ``POST /api/v1/check``: with the
    digest of the rule set they reproduce the check for ever.
    """

    case = models.ForeignKey(Case, models.CASCADE, related_name="checks")
    revision = models.PositiveSmallIntegerField()
    round = models.PositiveSmallIntegerField()
    rule_set_digest = models.CharField(max_length=64)
    request = models.JSONField()
    result = models.JSONField()
    request_sha256 = models.CharField(max_length=64)
    verdict = models.CharField(max_length=16)
    made_at = models.DateTimeField()

    objects = TenantManager["Check"]()

    def __str__(self) -> str:
        return f"check {self.pk}"


class SiteVerdict(models.Model):
    """One site's verdict as the release gate of the database reads it."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="+")
    # "check" is a method of every Django model, hence the longer name.
    stored_check = models.ForeignKey(
        Check, models.CASCADE, related_name="site_verdicts"
    )
    tooth = models.CharField(max_length=2)
    site = models.CharField(max_length=32)
    quantity = models.CharField(max_length=10)
    verdict = models.CharField(max_length=16)
    need_mm = _mm()
    low_mm = _mm()
    high_mm = _mm()
    is_point = models.BooleanField(default=False)
    at_or_above_need = models.BooleanField(default=False)

    objects = TenantManager["SiteVerdict"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                # An incisal edge may be read as clearance and as reduction.
                fields=["stored_check", "tooth", "site", "quantity"],
                name="site_verdict_once",
            ),
        ]

    def __str__(self) -> str:
        return f"site verdict {self.pk}"


class Coverage(models.Model):
    """The signed or recorded ground on which a short site may be built.

    Bound to tooth, site and quantity, prescription revision, round, rule-set digest and the
    measured interval: any change of these and it no longer counts.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    case = models.ForeignKey(Case, models.CASCADE, related_name="coverages")
    kind = models.CharField(max_length=12, choices=CoverageKind.choices)
    tooth = models.CharField(max_length=2)
    site = models.CharField(max_length=32)
    quantity = models.CharField(max_length=10)
    revision = models.PositiveSmallIntegerField()
    round = models.PositiveSmallIntegerField()
    rule_set_digest = models.CharField(max_length=64)
    low_mm = _mm()
    high_mm = _mm()
    answer = models.ForeignKey(
        "cases.Answer", models.PROTECT, null=True, blank=True, related_name="coverages"
    )
    given_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    given_by_name = models.CharField(max_length=120)
    given_at = models.DateTimeField()

    objects = TenantManager["Coverage"]()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind="uncertainty", answer__isnull=True)
                | models.Q(kind="answer", answer__isnull=False),
                name="coverage_names_its_answer",
            ),
        ]

    def __str__(self) -> str:
        return f"coverage {self.code}"
