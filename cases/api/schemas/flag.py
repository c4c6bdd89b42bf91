"""Schemas of a query, its answers and the signatures under them."""

from cases.api.schemas.shapes import (
    FLAG,
    MM,
    MOMENT,
    TEXT,
    WHOLE,
    Schema,
    array,
    nullable,
    record,
    ref,
    words,
)
from cases.enums import FlagReason, FlagStatus, Role, Side
from cases.lifecycle import AnswerKind
from cases.services.signing import PURPOSES
from rules.terms import Quantity, Site, Verdict

__all__ = ["COMPONENTS", "FLAG_FIELDS", "FLAG_SITE"]

_SIGNATURE = record(
    {
        "name": TEXT,
        "role": words(Role.values),
        "signed_for": TEXT,
        "purpose": words(PURPOSES),
        "meaning": TEXT,
        "method": words(("password", "totp")),
        "signed_at": MOMENT,
        "content_sha256": TEXT,
        "content": {"type": "object"},
    },
    about="content_sha256 is the SHA-256 of the RFC 8785 form of content.",
)
_ANSWER = record(
    {
        "code": TEXT,
        "kind": words(AnswerKind),
        "parameters": {"type": "object"},
        "grounds": TEXT,
        "consent": FLAG,
        "answered_at": MOMENT,
        "signature": ref("Signature"),
        "countersignature": nullable(ref("Signature")),
        "declined_reason": TEXT,
        "declined_by": TEXT,
        "declined_at": nullable(MOMENT),
    }
)
FLAG_SITE = record(
    {
        "tooth": TEXT,
        "site": words(Site),
        "quantity": words(Quantity),
        "verdict": words(Verdict),
        "need_mm": nullable(MM),
        "low_mm": nullable(MM),
        "high_mm": nullable(MM),
    }
)
FLAG_FIELDS = {
    "code": TEXT,
    "status": words(FlagStatus.values),
    "origin": words(Side.values),
    "reasons": array(words(FlagReason.values)),
    "text": TEXT,
    "sites": array(FLAG_SITE),
    "options": array({"type": "object"}),
    "revision": WHOLE,
    "round": WHOLE,
    "rule_set": TEXT,
    "verified": FLAG,
    "raised_by": TEXT,
    "raised_at": MOMENT,
    "settled_at": nullable(MOMENT),
    "withdrawn_reason": TEXT,
    "signature": nullable(ref("Signature")),
    "answers": array(_ANSWER),
}

COMPONENTS: dict[str, Schema] = {
    "Signature": _SIGNATURE,
    "Flag": record(FLAG_FIELDS),
}
