"""The bench's work ticket: numbered, digested, superseded but never edited."""

from django.db import models

from cases.canonical import new_code
from cases.enums import WorkOrderStatus
from cases.models.case import Case
from cases.models.flag import Signature
from cases.models.measurement import Check
from cases.models.people import Membership, Organisation
from cases.tenancy import TenantManager

__all__ = ["WorkOrder", "WorkOrderCounter"]


class WorkOrderCounter(models.Model):
    """The next work-order number of a laboratory; locked while one is taken."""

    laboratory = models.OneToOneField(
        Organisation, models.PROTECT, primary_key=True, related_name="+"
    )
    last_number = models.PositiveIntegerField(default=0)

    objects = TenantManager["WorkOrderCounter"]()

    def __str__(self) -> str:
        return f"counter {self.pk}"


class WorkOrder(models.Model):
    """One released order. ``content`` is frozen; its digest is printed.

    ``content_sha256`` is the SHA-256 of the RFC 8785 form of ``content``;
    ``pdf_sha256`` that of the document's bytes once the worker rendered it.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    case = models.ForeignKey(Case, models.PROTECT, related_name="work_orders")
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    number = models.PositiveIntegerField()
    revision = models.PositiveSmallIntegerField()
    round = models.PositiveSmallIntegerField()
    based_on = models.ForeignKey(Check, models.PROTECT, related_name="+")
    prescription_signature = models.ForeignKey(
        Signature, models.PROTECT, related_name="+"
    )
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    status = models.CharField(
        max_length=10,
        choices=WorkOrderStatus.choices,
        default=WorkOrderStatus.ACTIVE,
    )
    released_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    released_at = models.DateTimeField()
    superseded_at = models.DateTimeField(null=True, blank=True)
    storage_key = models.CharField(max_length=80, blank=True)
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    rendered_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["WorkOrder"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["laboratory", "number"], name="work_order_number_once"
            ),
            models.UniqueConstraint(
                fields=["case"],
                condition=models.Q(status="active"),
                name="work_order_active_once",
            ),
        ]

    def __str__(self) -> str:
        return f"work order {self.code}"
