"""Schemas of a remake: as its case tells it, and whole."""

from cases.api.schemas.shapes import (
    FLAG,
    MM,
    MOMENT,
    NUMBER,
    TEXT,
    WHOLE,
    Schema,
    array,
    either,
    nullable,
    record,
    words,
)
from cases.enums import Attribution, CoverageKind, Side
from rules.terms import Site, Verdict

__all__ = ["REMAKE", "REMAKE_WHOLE"]

REMAKE: dict[str, Schema] = {
    "id": WHOLE,
    "internal": FLAG,
    "teeth": array(TEXT),
    "cause": TEXT,
    "detected_at": TEXT,
    "attribution_clinic": TEXT,
    "attribution_laboratory": TEXT,
    "note": TEXT,
    "recorded_by": TEXT,
    "recorded_at": MOMENT,
    "new_case": nullable(TEXT),
}
_STATEMENT = record(
    {
        "side": words(Side.values),
        "attribution": words(Attribution.values),
        "note": TEXT,
        "made_by": TEXT,
        "made_at": MOMENT,
    }
)
_TRACE = record(
    {
        "tooth": TEXT,
        "site": words(Site),
        "quantity": TEXT,
        "verdict": words(Verdict),
        "need_mm": nullable(MM),
        "low_mm": nullable(MM),
        "high_mm": nullable(MM),
        "at_submission": FLAG,
        "as_built": FLAG,
        "answer": nullable(TEXT),
        "ground": nullable(words(CoverageKind.values)),
        "automatic": FLAG,
        "made_by": TEXT,
        "made_at": MOMENT,
        "withdrawn_at": nullable(MOMENT),
        "withdrawn_by": TEXT,
        "withdrawn_reason": TEXT,
    }
)
_LOSS = record(
    {
        "amount": nullable(NUMBER),
        "currency": TEXT,
        "minutes": nullable(WHOLE),
        "days_lost": nullable(WHOLE),
    }
)
REMAKE_WHOLE = record(
    {
        **REMAKE,
        "cause_label": TEXT,
        "statements": array(_STATEMENT),
        "traces": array(_TRACE),
        "evidence": array(TEXT),
        "loss": either(_LOSS, {"type": "null"}),
    },
    about="loss: what it costs the own side; nobody else sees it.",
)
