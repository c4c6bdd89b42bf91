"""A laboratory's rule sets on their way from draft to force.

The content of a published set lives in ``rules.RuleSetVersion`` by its digest; these
rows say which laboratory works on which text, who approved it and since when it is
in force. Published rows never change.
"""

from django.db import models
from django.db.models import F, Q

from cases.canonical import new_code
from cases.enums import DraftStatus, ImpactStatus
from cases.models.case import Case
from cases.models.people import Membership, Organisation
from cases.tenancy import TenantManager

__all__ = ["RuleSetDraft", "RuleSetImpact", "RuleSetImpactCase", "RuleSetPublication"]


class RuleSetDraft(models.Model):
    """A copy being edited. ``document`` is the canonical form, always without fault.

    ``digest`` is that of the document; ``version`` counts its edits, so that two
    people do not overwrite each other. ``label`` is the version the set will bear.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    based_on = models.CharField(max_length=64)
    name = models.CharField(max_length=80)
    label = models.CharField(max_length=40)
    document = models.JSONField()
    digest = models.CharField(max_length=64)
    version = models.PositiveIntegerField(default=1)
    status = models.CharField(
        max_length=10, choices=DraftStatus.choices, default=DraftStatus.EDITING
    )
    note = models.TextField(blank=True)
    effective_from = models.DateField(null=True, blank=True)
    created_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    created_by_name = models.CharField(max_length=120)
    created_at = models.DateTimeField()
    edited_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    edited_by_name = models.CharField(max_length=120)
    edited_at = models.DateTimeField()
    approved_by = models.ForeignKey(
        Membership, models.PROTECT, null=True, blank=True, related_name="+"
    )
    approved_by_name = models.CharField(max_length=120, blank=True)
    approved_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["RuleSetDraft"]()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(status__in=["approved", "published"])
                | (
                    Q(approved_by__isnull=False)
                    & ~Q(approved_by=F("edited_by"))
                    & Q(effective_from__isnull=False)
                ),
                name="rule_set_draft_four_eyes",
            ),
        ]
        indexes = [
            models.Index(fields=["laboratory", "-edited_at"], name="rule_set_drafts"),
        ]

    def __str__(self) -> str:
        return f"rule set draft {self.code}"


class RuleSetPublication(models.Model):
    """From when on a laboratory works by a set; the latest one begun is in force."""

    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    draft = models.OneToOneField(
        RuleSetDraft, models.PROTECT, related_name="publication"
    )
    digest = models.CharField(max_length=64)
    name = models.CharField(max_length=80)
    label = models.CharField(max_length=40)
    effective_from = models.DateField()
    edited_by_name = models.CharField(max_length=120)
    approved_by_name = models.CharField(max_length=120)
    published_by = models.ForeignKey(Membership, models.PROTECT, related_name="+")
    published_by_name = models.CharField(max_length=120)
    published_at = models.DateTimeField()

    objects = TenantManager["RuleSetPublication"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["laboratory", "effective_from"],
                name="rule_set_publication_one_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"rule set publication {self.pk}"


class RuleSetImpact(models.Model):
    """What a draft would change among the cases: progress and counts.

    ``lanes`` holds, per lane, the last case looked at; ``done`` counts cases.
    """

    code = models.CharField(max_length=10, unique=True, default=new_code)
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    draft = models.ForeignKey(RuleSetDraft, models.CASCADE, related_name="impacts")
    digest = models.CharField(max_length=64)
    against = models.CharField(max_length=64)
    status = models.CharField(
        max_length=10, choices=ImpactStatus.choices, default=ImpactStatus.RUNNING
    )
    document = models.JSONField()
    since = models.DateField()
    total = models.PositiveIntegerField()
    done = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    lanes = models.JSONField(default=dict)
    started_by_name = models.CharField(max_length=120)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["RuleSetImpact"]()

    def __str__(self) -> str:
        return f"rule set impact {self.code}"


class RuleSetImpactCase(models.Model):
    """One case whose verdict would change; ``sites`` lists tooth, site, both verdicts."""

    impact = models.ForeignKey(RuleSetImpact, models.CASCADE, related_name="cases")
    case = models.ForeignKey(Case, models.CASCADE, related_name="+")
    is_open = models.BooleanField()
    before = models.CharField(max_length=16)
    after = models.CharField(max_length=16)
    sites = models.JSONField(default=list)

    objects = TenantManager["RuleSetImpactCase"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["impact", "case"], name="rule_set_impact_case_once"
            ),
        ]

    def __str__(self) -> str:
        return f"rule set impact case {self.pk}"
