"""What happened in the mouth, and what had to be made again."""

from django.db import models

from cases.models.case import Case
from cases.models.people import Membership
from cases.tenancy import TenantManager

__all__ = ["FitReport", "Remake"]


class FitReport(models.Model):
    """The clinic's report after seating. ``findings`` is a list of keys."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="fit_reports")
    outcome = models.CharField(max_length=10)
    findings = models.JSONField(default=list)
    opposing_adjusted_mm = models.DecimalField(
        max_digits=4, decimal_places=2, null=True, blank=True
    )
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
    """Work made again: inside the laboratory, or as a new linked case."""

    case = models.ForeignKey(Case, models.CASCADE, related_name="remakes")
    new_case = models.ForeignKey(
        Case, models.PROTECT, null=True, blank=True, related_name="+"
    )
    internal = models.BooleanField(default=False)
    cause = models.CharField(max_length=40)
    detected_at = models.CharField(max_length=20)
    attribution_clinic = models.CharField(max_length=16, blank=True)
    attribution_laboratory = models.CharField(max_length=16, blank=True)
    note = models.TextField(blank=True)
    recorded_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    objects = TenantManager["Remake"]()

    def __str__(self) -> str:
        return f"remake {self.pk}"
