"""Schemas of a case: whole, as a line of a list, and its parts."""

from cases.api.schemas.check import DRAFT_UNIT, RESULT
from cases.api.schemas.flag import FLAG_FIELDS, FLAG_SITE
from cases.api.schemas.remake import REMAKE, REMAKE_WHOLE
from cases.api.schemas.shapes import (
    DATE,
    FLAG,
    MM,
    MOMENT,
    NUMBER,
    TEXT,
    WHOLE,
    Schema,
    array,
    nullable,
    record,
    ref,
    words,
)
from cases.enums import (
    Basis,
    CoverageKind,
    Side,
    UOrigin,
    WorkOrderStatus,
)
from cases.lifecycle import CaseState, Command, Mover
from rules.terms import Method, Position, Site, Verdict

__all__ = ["COMPONENTS"]

_ORGANISATION = record({"code": TEXT, "name": TEXT})
_SUMMARY = {
    "code": TEXT,
    "state": words(CaseState),
    "version": WHOLE,
    "whose_move": words(Mover),
}
_DATES = {
    "wanted_on": nullable(DATE),
    "promised_on": nullable(DATE),
    "appointment_at": nullable(MOMENT),
    "created_at": MOMENT,
    "moved_at": MOMENT,
}
_PRESCRIPTION = {
    "shade": TEXT,
    "notes": TEXT,
    "occlusal_scheme": TEXT,
    "disinfection": TEXT,
    "jaw_record": TEXT,
}
_UNIT_FIELDS = {k: v for k, v in DRAFT_UNIT["properties"].items() if k != "readings"}
_UNIT = record(
    _UNIT_FIELDS,
    optional=set(_UNIT_FIELDS)
    - {"tooth", "kind", "material", "relation", "antagonist"},
)
_READING = record(
    {
        "tooth": TEXT,
        "site": words(Site),
        "position": nullable(words(Position)),
        "method": words(Method),
        "passes_mm": nullable(MM),
        "drags_mm": nullable(MM),
        "held_mm": nullable(MM),
        "value_mm": nullable(MM),
        "u_mm": nullable(NUMBER),
        "basis": words(Basis.values),
        "mounting_number": nullable(WHOLE),
        "delta_mm": nullable(NUMBER),
        "u_origin": words(("", *UOrigin.values)),
        "instrument": TEXT,
        "stale_at": nullable(MOMENT),
        "note": TEXT,
        "round": WHOLE,
        "side": words(Side.values),
        "taken_by": TEXT,
        "taken_at": MOMENT,
        "superseded_at": nullable(MOMENT),
    }
)
_SITE = record(
    {
        **FLAG_SITE["properties"],
        "fine": FLAG,
        "clearable": FLAG,
        "ground": nullable(words(CoverageKind.values)),
        "answer": nullable(TEXT),
    }
)
_ROUND = record(
    {
        "number": WHOLE,
        "cause": TEXT,
        "mounting_number": WHOLE,
        "carries_mouth_readings": FLAG,
        "began_at": MOMENT,
    }
)
_ORDER = record(
    {
        "code": TEXT,
        "number": WHOLE,
        "status": words(WorkOrderStatus.values),
        "revision": WHOLE,
        "round": WHOLE,
        "content_sha256": TEXT,
        "released_at": MOMENT,
        "superseded_at": nullable(MOMENT),
    }
)
_FIT = record(
    {
        "outcome": words(("fitted", "not_fitted")),
        "findings": array(TEXT),
        "opposing_adjusted_mm": nullable(MM),
        "opposing_teeth": array(TEXT),
        "minutes": nullable(WHOLE),
        "coping_used": nullable(FLAG),
        "note": TEXT,
        "reported_by": TEXT,
        "reported_at": MOMENT,
    }
)
_STANDING = {
    **_DATES,
    "submitted_at": nullable(MOMENT),
    "received_at": nullable(MOMENT),
    "review_on": nullable(DATE),
    "pan_number": TEXT,
    "contents_received": array(TEXT),
    "missing": TEXT,
    "charged_work": TEXT,
    "records_due": array(TEXT),
    "held_from": nullable(words(CaseState)),
    "revision": WHOLE,
    "round": WHOLE,
    "verdict": nullable(words(Verdict)),
    "rule_set": TEXT,
}
_CASE = record(
    {
        **_SUMMARY,
        "commands": array(words(Command)),
        "clinic": _ORGANISATION,
        "laboratory": _ORGANISATION,
        "prescriber": record({"name": TEXT, "licence_number": TEXT}),
        "patient": record({"reference": TEXT, "initials": TEXT, "age_band": TEXT}),
        "remake_of": nullable(TEXT),
        **_STANDING,
        "prescription": nullable(ref("Prescription")),
        "draft": nullable(ref("Draft")),
        "readings": array(_READING),
        "rounds": array(_ROUND),
        "sites": array(_SITE),
        "gate": array(TEXT),
        "flags": array(ref("Flag")),
        "work_orders": array(_ORDER),
        "fit_reports": array(_FIT),
        "remakes": array(record(REMAKE)),
    },
    about="All that the version covers. gate: why it may not go to the bench yet.",
)
_ROW = record(
    {
        **_SUMMARY,
        "clinic": _ORGANISATION,
        "laboratory": _ORGANISATION,
        "prescriber": TEXT,
        "patient": TEXT,
        "teeth": array(TEXT),
        "verdict": nullable(words(Verdict)),
        "pan_number": TEXT,
        **_DATES,
        "open_flags": WHOLE,
        "countersign_due": FLAG,
    }
)

COMPONENTS: dict[str, Schema] = {
    "Prescription": record(
        {
            "revision": WHOLE,
            **_PRESCRIPTION,
            "connectors": array(ref("Connector")),
            "units": array(_UNIT),
            "submitted_at": MOMENT,
            "signature": ref("Signature"),
        }
    ),
    "Draft": record(
        {
            "revision": WHOLE,
            "prescription": record(_PRESCRIPTION),
            "wanted_on": nullable(DATE),
            "appointment_at": nullable(MOMENT),
            "units": array(ref("DraftUnit")),
            "connectors": array(ref("Connector")),
        }
    ),
    "FlagOfCase": record({**FLAG_FIELDS, "case": record(_SUMMARY)}),
    "Remake": REMAKE_WHOLE,
    "RemakeOfCase": record({**REMAKE, "case": record(_SUMMARY)}),
    "Case": _CASE,
    "CaseList": record({"items": array(_ROW), "next": nullable(TEXT)}),
    "CaseCheck": record(
        {
            "case": TEXT,
            "stored": FLAG,
            "revision": WHOLE,
            "round": WHOLE,
            "made_at": nullable(MOMENT),
            "request_sha256": nullable(TEXT),
            **RESULT,
        },
        optional=("spans",),
    ),
}
