"""Rows of the portal, one module per noun."""

from cases.models.audit import (
    AuditDigest,
    AuditDigestStop,
    AuditFact,
    AuditMemo,
    AuditMonth,
    AuditNote,
    AuditQuery,
    AuditSettings,
    AuditView,
)
from cases.models.case import (
    Case,
    CaseParty,
    PatientIdentity,
    Prescription,
    Round,
    Unit,
)
from cases.models.flag import Answer, Flag, Signature
from cases.models.instrument import Instrument, InstrumentStrip, RepeatabilityStudy
from cases.models.measurement import Check, Coverage, Reading, SiteVerdict
from cases.models.outbox import IdempotencyKey, Notice, OutboxRow, Recipient
from cases.models.outcome import (
    FitReport,
    Remake,
    RemakeCause,
    RemakeEvidence,
    RemakeLoss,
    RemakeStatement,
    RemakeTrace,
)
from cases.models.people import (
    ApiToken,
    Delegation,
    Invitation,
    Membership,
    Organisation,
    Partnership,
    SigningGrant,
    User,
)
from cases.models.rule_set import (
    RuleSetDraft,
    RuleSetImpact,
    RuleSetImpactCase,
    RuleSetPublication,
)
from cases.models.thread import Attachment, Message
from cases.models.timeline import TimelineContent, TimelineEntry, TimelineHead
from cases.models.work_order import WorkOrder, WorkOrderCounter

__all__ = [
    "Answer",
    "ApiToken",
    "Attachment",
    "AuditDigest",
    "AuditDigestStop",
    "AuditFact",
    "AuditMemo",
    "AuditMonth",
    "AuditNote",
    "AuditQuery",
    "AuditSettings",
    "AuditView",
    "Case",
    "CaseParty",
    "Check",
    "Coverage",
    "Delegation",
    "FitReport",
    "Flag",
    "IdempotencyKey",
    "Instrument",
    "InstrumentStrip",
    "Invitation",
    "Membership",
    "Message",
    "Notice",
    "Organisation",
    "OutboxRow",
    "Partnership",
    "PatientIdentity",
    "Prescription",
    "Reading",
    "Recipient",
    "Remake",
    "RemakeCause",
    "RemakeEvidence",
    "RemakeLoss",
    "RemakeStatement",
    "RemakeTrace",
    "RepeatabilityStudy",
    "Round",
    "RuleSetDraft",
    "RuleSetImpact",
    "RuleSetImpactCase",
    "RuleSetPublication",
    "Signature",
    "SigningGrant",
    "SiteVerdict",
    "TimelineContent",
    "TimelineEntry",
    "TimelineHead",
    "Unit",
    "User",
    "WorkOrder",
    "WorkOrderCounter",
]
