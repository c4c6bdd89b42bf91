"""What is measured with: strip sets, calipers, and how well a site measures.

Lengths are millimetres.
"""

from decimal import Decimal

from django.db import models
from django.db.models import Q

from cases.canonical import new_code
from cases.enums import InstrumentKind
from cases.models.people import Membership, Organisation
from cases.tenancy import TenantManager

__all__ = ["Instrument", "InstrumentStrip", "RepeatabilityStudy"]


def _length() -> "models.DecimalField[Decimal | float | str, Decimal]":
    return models.DecimalField(max_digits=6, decimal_places=4)


def _if_known() -> "models.DecimalField[Decimal | float | str | None, Decimal | None]":
    return models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)


class Instrument(models.Model):
    """A strip set or a caliper of a clinic or laboratory.

    ``resolution_mm`` is what its scale shows, ``u_mm`` a standard uncertainty from a
    certificate. ``uses`` counts sterilisations or uses, ``most_uses`` is when it is
    to be retired. A retired one stays, because readings name it.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=10, choices=InstrumentKind.choices)
    label = models.CharField(max_length=60)
    resolution_mm = _if_known()
    u_mm = _if_known()
    uses = models.PositiveIntegerField(default=0)
    most_uses = models.PositiveIntegerField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    created_by_name = models.CharField(max_length=120)
    created_at = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)
    retired_reason = models.CharField(max_length=200, blank=True)

    objects = TenantManager["Instrument"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "label"],
                condition=Q(retired_at__isnull=True),
                name="instrument_label_once",
            ),
        ]

    def __str__(self) -> str:
        return f"instrument {self.code}"


class InstrumentStrip(models.Model):
    """One strip of a set: what it is called and what it was measured to be."""

    instrument = models.ForeignKey(Instrument, models.CASCADE, related_name="strips")
    nominal_mm = _length()
    measured_mm = _if_known()

    objects = TenantManager["InstrumentStrip"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["instrument", "nominal_mm"], name="instrument_strip_once"
            ),
        ]

    def __str__(self) -> str:
        return f"instrument strip {self.pk}"


class RepeatabilityStudy(models.Model):
    """Repeated measurements of one gauge block or model under the same conditions.

    ``repeatability_mm`` is the repeatability standard deviation of ISO 5725-1,
    ``bias_mm`` mean less reference where a reference is known, ``u_mm`` the standard
    uncertainty that follows and is used for the method (and instrument) from then on.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    method = models.CharField(max_length=20)
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, null=True, blank=True, related_name="studies"
    )
    object_note = models.CharField(max_length=120)
    reference_mm = _if_known()
    values = models.JSONField()
    count = models.PositiveSmallIntegerField()
    repeatability_mm = _length()
    bias_mm = _if_known()
    u_mm = _length()
    done_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    done_by_name = models.CharField(max_length=120)
    done_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["RepeatabilityStudy"]()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(u_mm__gt=0), name="repeatability_study_u_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"repeatability study {self.code}"
