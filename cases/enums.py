"""Closed lists the database stores, with the words people see."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

__all__ = [
    "Attribution",
    "AuditEvent",
    "Basis",
    "Cause",
    "CoverageKind",
    "Detected",
    "DraftStatus",
    "Finding",
    "FlagReason",
    "FlagStatus",
    "ImpactStatus",
    "InstrumentKind",
    "OrganisationKind",
    "Role",
    "Side",
    "ToothSystem",
    "UOrigin",
    "WorkOrderStatus",
]


class OrganisationKind(TextChoices):
    """Which side of the bench an organisation stands on."""

    CLINIC = "clinic", _("Clinic")
    LABORATORY = "laboratory", _("Laboratory")


Side = OrganisationKind


class Role(TextChoices):
    """What a person acts as; a person may hold several, one at a time."""

    CLINICIAN = "clinician", _("Clinician")
    ASSISTANT = "assistant", _("Clinic assistant")
    CLINIC_MANAGER = "clinic_manager", _("Clinic manager")
    TECHNICIAN = "technician", _("Technician")
    LAB_MANAGER = "lab_manager", _("Laboratory manager")


class ToothSystem(TextChoices):
    """Numbering shown to a clinic; ISO 3950 is what is stored."""

    ISO3950 = "iso3950", _("ISO 3950 (two-digit)")
    UNIVERSAL = "universal", _("Universal")
    PALMER = "palmer", _("Palmer")


class Basis(TextChoices):
    """What a reading was taken on."""

    MOUTH = "mouth", _("In the mouth")
    MODEL = "model", _("On the mounted models")
    SCAN = "scan", _("On the scan")


class FlagReason(TextChoices):
    """Why the laboratory asks."""

    CLEARANCE = "clearance", _("Clearance")
    FINISH_LINE = "finish_line", _("Finish line")
    UNDERCUT = "undercut", _("Undercut")
    IMPRESSION = "impression", _("Impression or scan")
    JAW_RECORD = "jaw_record", _("Jaw record")
    SHADE = "shade", _("Shade")
    CHANGE_REQUEST = "change_request", _("Change asked for by the clinic")
    OTHER = "other", _("Other")


class FlagStatus(TextChoices):
    """Where a query stands."""

    OPEN = "open", _("Waiting for the clinician")
    COUNTERSIGN_DUE = "countersign_due", _("Waiting for the countersignature")
    SETTLED = "settled", _("Settled")
    WITHDRAWN = "withdrawn", _("Withdrawn")


class CoverageKind(TextChoices):
    """On what ground a site that is not sufficient may be built."""

    ANSWER = "answer", _("Signed answer")
    UNCERTAINTY = "uncertainty", _("Within measuring uncertainty")


class DraftStatus(TextChoices):
    """Where a laboratory's rule set stands on its way to force."""

    EDITING = "editing", _("Being edited")
    PROPOSED = "proposed", _("Waiting for approval")
    APPROVED = "approved", _("Approved")
    PUBLISHED = "published", _("Published")
    DISCARDED = "discarded", _("Discarded")


class ImpactStatus(TextChoices):
    """How far the comparison of a draft with the cases has come."""

    RUNNING = "running", _("Being computed")
    DONE = "done", _("Computed")
    STOPPED = "stopped", _("Stopped: the draft has changed")


class InstrumentKind(TextChoices):
    """What a reading is taken with."""

    STRIPS = "strips", _("Set of thickness strips")
    CALIPER = "caliper", _("Caliper")
    PROBE = "probe", _("Graduated probe")
    SCANNER = "scanner", _("Scanner")
    OTHER = "other", _("Other")


class UOrigin(TextChoices):
    """Where the uncertainty of a reading comes from; empty: the rule set."""

    TYPED = "typed", _("entered with the reading")
    INSTRUMENT = "instrument", _("the instrument's certificate")
    STUDY = "study", _("own repeatability study")


class WorkOrderStatus(TextChoices):
    """A work order is superseded, never edited."""

    ACTIVE = "active", _("Active")
    SUSPENDED = "suspended", _("Suspended")
    SUPERSEDED = "superseded", _("Superseded")


class Finding(TextChoices):
    """What a fit report may say, several at once; the first stands alone."""

    AS_DELIVERED = "as_delivered", _("As delivered")
    RESTORATION_ADJUSTED = "restoration_adjusted", _("Restoration adjusted")
    OPPOSING_ADJUSTED = "opposing_adjusted", _("Opposing tooth adjusted")
    PROVISIONALLY_CEMENTED = "provisionally_cemented", _("Provisionally cemented")
    PERFORATED = "perforated", _("Perforated while adjusting")
    TOO_HIGH = "too_high", _("Too high")
    MARGIN_OPEN = "margin_open", _("Margin open")
    CONTACT_WRONG = "contact_wrong", _("Proximal contact wrong")
    SHADE_WRONG = "shade_wrong", _("Shade wrong")


class Cause(TextChoices):
    """Why work is made again; a laboratory adds causes of its own.

    Common practice, no source: drawn from what published surveys of rejected crowns
    and of laboratories count (fit, contacts, occlusion, look, records, prescription).
    """

    MARGINAL_FIT = "marginal_fit", _("Marginal fit")
    PROXIMAL_CONTACT = "proximal_contact", _("Proximal contact")
    OCCLUSION_HIGH = "occlusion_high", _("Occlusion too high")
    OCCLUSION_THIN = "occlusion_thin", _("Occlusal thickness too low")
    PERFORATION = "perforation", _("Perforation")
    FRACTURE = "fracture", _("Fracture or chipping")
    SHADE = "shade", _("Shade")
    CONTOUR = "contour", _("Contour")
    IMPRESSION = "impression", _("Impression or scan")
    JAW_RECORD = "jaw_record", _("Jaw record")
    WRONG_PRESCRIPTION = (
        "wrong_prescription",
        _("Wrong tooth, material or prescription"),
    )
    CLEARANCE_RISK_ACCEPTED = "clearance_risk_accepted", _("Accepted clearance risk")
    MISCAST = "miscast", _("Casting or milling fault")
    LABORATORY_ERROR = "laboratory_error", _("Laboratory error")
    CHANGE_OF_PLAN = "change_of_plan", _("Change of plan")
    PATIENT = "patient", _("Patient's wish")


class Detected(TextChoices):
    """Where it was noticed that work has to be made again, in the order of the work."""

    INTAKE = "intake", _("At intake")
    MODEL = "model", _("On the model")
    DESIGN = "design", _("At the wax-up or design")
    FRAMEWORK = "framework", _("At the framework")
    CERAMIC = "ceramic", _("After the ceramic")
    FINAL_CHECK = "final_check", _("At the final check")
    TRY_IN = "try_in", _("At the try-in")
    SEATING = "seating", _("At seating")
    AFTER_CEMENTATION = "after_cementation", _("After cementation")
    # What a report without the place says; never offered.
    AFTER_DISPATCH = "after_dispatch", _("After dispatch")


class Attribution(TextChoices):
    """To whom a remake goes back, as one side sees it."""

    CLINIC = "clinic", _("Clinic")
    LABORATORY = "laboratory", _("Laboratory")
    SHARED = "shared", _("Shared")
    UNDETERMINED = "undetermined", _("Cannot be told")
    DISPUTED = "disputed", _("Disputed")


class AuditEvent(TextChoices):
    """Stable codes of the timeline; never renamed, never reused."""

    CASE_CREATED = "case.created", _("Draft begun")
    CASE_SUBMITTED = "case.submitted", _("Case submitted")
    CASE_RECEIVED = "case.received", _("Received by the laboratory")
    CASE_INCOMPLETE = "case.incomplete", _("Sent back: incomplete")
    CASE_RESUBMITTED = "case.resubmitted", _("Resubmitted")
    READINGS_STALE = "readings.stale", _("Provisional lost or high")
    READINGS_ADDED = "readings.added", _("Readings added")
    RECORDS_SENT = "records.sent", _("New records sent")
    CHECK_STORED = "check.stored", _("Check carried out")
    FLAG_RAISED = "flag.raised", _("Query raised")
    FLAG_WITHDRAWN = "flag.withdrawn", _("Query withdrawn")
    CHANGE_REQUESTED = "change.requested", _("Change asked for")
    ANSWER_SIGNED = "answer.signed", _("Answer signed")
    COUNTERSIGNED = "answer.countersigned", _("Countersigned")
    COUNTERSIGN_DECLINED = "answer.declined", _("Countersignature declined")
    PRESCRIPTION_REVISED = "prescription.revised", _("Prescription revised")
    CASE_RESUMED = "case.resumed", _("Resumed")
    CASE_CLEARED = "case.cleared", _("Cleared for fabrication")
    WORK_ORDER_RELEASED = "work_order.released", _("Work order released")
    WORK_ORDER_RENDERED = "work_order.rendered", _("Work order document made")
    SENT_TO_TRY_IN = "case.try_in", _("Sent for try-in")
    RETURNED = "case.returned", _("Returned to the laboratory")
    DISPATCHED = "case.dispatched", _("Dispatched")
    RECEIPT = "case.receipt", _("Arrived at the clinic")
    FIT_REPORTED = "fit.reported", _("Fit reported")
    INTERNAL_REMAKE = "remake.internal", _("Internal remake recorded")
    REMAKE_OPENED = "remake.opened", _("Remake opened")
    REMAKE_STATED = "remake.stated", _("Attribution of a remake stated")
    REMAKE_TRACED = "remake.traced", _("What a remake goes back to corrected")
    MESSAGE_POSTED = "message.posted", _("Message written")
    ATTACHMENT_ADDED = "attachment.added", _("Attachment added")
    CASE_CANCELLED = "case.cancelled", _("Cancelled")
