"""What the audit of remakes is counted from, and how managers have set it up.

Facts are written by triggers of the database alone, from the rows of the case, in the
transaction that changes them; people and code only read them. Months and memos are the
summaries kept from the facts: a page adds up months instead of cases.
"""

from django.db import models

from cases.canonical import new_code
from cases.models.case import Case
from cases.models.flag import Flag
from cases.models.people import Membership, Organisation, User
from cases.tenancy import TenantManager

__all__ = [
    "AuditDigest",
    "AuditDigestStop",
    "AuditFact",
    "AuditMemo",
    "AuditMonth",
    "AuditNote",
    "AuditQuery",
    "AuditSettings",
    "AuditView",
]


class AuditFact(models.Model):
    """One restoration that left the laboratory: a single unit, or a whole bridge.

    ``part`` is the tooth, or the name of the span. Days and months are those of the
    laboratory's time zone. ``first_*`` is the verdict of the check at submission,
    ``built_*`` that of the check the work order rests on; ``*_class`` is the worst
    required site as one of cases.audit.figures.CLASSES, ``*_shortage_mm`` its need less
    the middle of what was measured (0 where nothing is short).
    """

    case = models.ForeignKey(Case, models.CASCADE, related_name="audit_facts")
    part = models.CharField(max_length=20)
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    clinic = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    prescriber = models.ForeignKey(User, models.PROTECT, related_name="+")
    technician = models.ForeignKey(
        Membership, models.PROTECT, null=True, blank=True, related_name="+"
    )
    teeth = models.JSONField(default=list)
    tooth_class = models.CharField(max_length=8)
    kind = models.CharField(max_length=16)
    material = models.CharField(max_length=40)
    method = models.CharField(max_length=20, blank=True)
    submitted_at = models.DateTimeField()
    dispatched_at = models.DateTimeField()
    dispatched_on = models.DateField()
    month = models.DateField()
    first_verdict = models.CharField(max_length=16, blank=True)
    first_class = models.CharField(max_length=12, blank=True)
    first_shortage_mm = models.DecimalField(max_digits=6, decimal_places=2, default=0)
    built_verdict = models.CharField(max_length=16, blank=True)
    built_class = models.CharField(max_length=12, blank=True)
    built_shortage_mm = models.DecimalField(max_digits=6, decimal_places=2, default=0)
    accepted = models.BooleanField(default=False)
    flagged = models.BooleanField(default=False)
    option = models.CharField(max_length=20, blank=True)
    reported = models.BooleanField(default=False)
    fitted = models.BooleanField(default=False)
    as_delivered = models.BooleanField(default=False)
    restoration_adjusted = models.BooleanField(default=False)
    opposing_adjusted = models.BooleanField(default=False)
    provisional = models.BooleanField(default=False)
    opposing_mm = models.DecimalField(
        max_digits=4, decimal_places=2, null=True, blank=True
    )
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    internal_remakes = models.PositiveSmallIntegerField(default=0)
    internal_cause = models.CharField(max_length=40, blank=True)
    remade = models.BooleanField(default=False)
    remade_at = models.DateTimeField(null=True, blank=True)
    remake_days = models.PositiveIntegerField(null=True, blank=True)
    remake_cause = models.CharField(max_length=40, blank=True)
    remake_detected = models.CharField(max_length=20, blank=True)
    attribution = models.CharField(max_length=16, blank=True)

    objects = TenantManager["AuditFact"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["case", "part"], name="audit_fact_once"),
        ]
        indexes = [
            models.Index(
                fields=["laboratory", "month", "dispatched_at", "id"],
                name="audit_fact_laboratory",
            ),
            models.Index(
                fields=["clinic", "month", "dispatched_at", "id"],
                name="audit_fact_clinic",
            ),
        ]

    def __str__(self) -> str:
        return f"audit fact {self.pk}"


class AuditQuery(models.Model):
    """One query about clearance: how long each side took, and what came of it.

    ``asked_minutes``: from the arrival of the records it speaks of until it was raised
    (the laboratory's time). ``answered_minutes``: until the clinic answered or it was
    withdrawn (the clinic's time; null while open). Minutes of the calendar, nights and
    weekends included.
    """

    flag = models.OneToOneField(
        Flag, models.CASCADE, primary_key=True, related_name="+"
    )
    case = models.ForeignKey(Case, models.CASCADE, related_name="+")
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    clinic = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    prescriber = models.ForeignKey(User, models.PROTECT, related_name="+")
    tooth_class = models.CharField(max_length=8, blank=True)
    kind = models.CharField(max_length=16, blank=True)
    material = models.CharField(max_length=40, blank=True)
    method = models.CharField(max_length=20, blank=True)
    raised_at = models.DateTimeField()
    month = models.DateField()
    asked_minutes = models.PositiveIntegerField()
    answered_minutes = models.PositiveIntegerField(null=True, blank=True)
    closed = models.CharField(max_length=12, blank=True)
    option = models.CharField(max_length=20, blank=True)

    objects = TenantManager["AuditQuery"]()

    class Meta:
        indexes = [
            models.Index(
                fields=["laboratory", "month", "raised_at"],
                name="audit_query_laboratory",
            ),
            models.Index(
                fields=["clinic", "month", "raised_at"], name="audit_query_clinic"
            ),
        ]

    def __str__(self) -> str:
        return f"audit query {self.pk}"


class AuditMonth(models.Model):
    """How often the facts of an organisation's month have changed."""

    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="+")
    month = models.DateField()
    version = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField()

    objects = TenantManager["AuditMonth"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "month"], name="audit_month_once"
            ),
        ]

    def __str__(self) -> str:
        return f"audit month {self.pk}"


class AuditMemo(models.Model):
    """The figures of one month under one filter, true for one version of it."""

    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="+")
    month = models.DateField()
    key = models.CharField(max_length=64)
    version = models.PositiveIntegerField()
    figures = models.JSONField()
    made_at = models.DateTimeField()

    objects = TenantManager["AuditMemo"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "key", "month"], name="audit_memo_once"
            ),
        ]

    def __str__(self) -> str:
        return f"audit memo {self.pk}"


class AuditSettings(models.Model):
    """How an organisation's audit is shown.

    ``small_number``: counts from 1 up to below it are hidden; ``least_cases``: a rate
    needs as many restorations; ``compare_people``: tables that name people.
    """

    organisation = models.OneToOneField(
        Organisation, models.CASCADE, primary_key=True, related_name="+"
    )
    small_number = models.PositiveSmallIntegerField(default=5)
    least_cases = models.PositiveSmallIntegerField(default=10)
    compare_people = models.BooleanField(default=False)
    monthly_digest = models.BooleanField(default=True)
    currency = models.CharField(max_length=3, default="EUR")
    changed_by_name = models.CharField(max_length=120, blank=True)
    changed_at = models.DateTimeField()

    objects = TenantManager["AuditSettings"]()

    def __str__(self) -> str:
        return f"audit settings {self.pk}"


class AuditNote(models.Model):
    """Something that may explain a change: a training held, a new material."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="+")
    on = models.DateField()
    text = models.CharField(max_length=120)
    made_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    made_by_name = models.CharField(max_length=120)
    made_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["AuditNote"]()

    def __str__(self) -> str:
        return f"audit note {self.code}"


class AuditView(models.Model):
    """A person's saved selection: the address of an audit page without its host."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="+")
    membership = models.ForeignKey(Membership, models.CASCADE, related_name="+")
    name = models.CharField(max_length=60)
    page = models.CharField(max_length=20)
    query = models.CharField(max_length=1000, blank=True)
    made_at = models.DateTimeField()

    objects = TenantManager["AuditView"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["membership", "name"], name="audit_view_name_once"
            ),
        ]

    def __str__(self) -> str:
        return f"audit view {self.code}"


class AuditDigest(models.Model):
    """That the digest of a month went out to an organisation's managers."""

    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="+")
    month = models.DateField()
    made_at = models.DateTimeField()

    objects = TenantManager["AuditDigest"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "month"], name="audit_digest_once"
            ),
        ]

    def __str__(self) -> str:
        return f"audit digest {self.pk}"


class AuditDigestStop(models.Model):
    """That a manager wants no mail of the digest; the notice in the portal stays."""

    membership = models.OneToOneField(
        Membership, models.CASCADE, primary_key=True, related_name="+"
    )
    organisation = models.ForeignKey(Organisation, models.CASCADE, related_name="+")
    stopped_at = models.DateTimeField()

    objects = TenantManager["AuditDigestStop"]()

    def __str__(self) -> str:
        return f"audit digest stop {self.pk}"
