"""A query with its answers as JSON."""

from typing import TYPE_CHECKING, Any

from cases.api.representations.values import iso, numbers, signature_json

if TYPE_CHECKING:
    from cases.models import Answer, Flag

__all__ = ["flag_json"]


def _answer(answer: "Answer") -> dict[str, Any]:
    return {
        "code": answer.code,
        "kind": answer.kind,
        "parameters": answer.parameters,
        "grounds": answer.grounds,
        "consent": answer.consent,
        "answered_at": iso(answer.answered_at),
        "signature": signature_json(answer.signature),
        "countersignature": signature_json(answer.countersignature),
        "declined_reason": answer.declined_reason,
        "declined_by": answer.declined_by_name,
        "declined_at": iso(answer.declined_at),
    }


def flag_json(flag: "Flag") -> dict[str, Any]:
    """Return a query; its answers must have been read with it."""
    return {
        "code": flag.code,
        "status": flag.status,
        "origin": flag.origin,
        "reasons": flag.reasons,
        "text": flag.text,
        "sites": [numbers(site) for site in flag.sites],
        "options": flag.options,
        "revision": flag.revision,
        "round": flag.round,
        "rule_set": flag.rule_set_digest,
        "verified": flag.verified,
        "raised_by": flag.raised_by_name,
        "raised_at": iso(flag.raised_at),
        "settled_at": iso(flag.settled_at),
        "withdrawn_reason": flag.withdrawn_reason,
        "signature": signature_json(flag.signature),
        "answers": [_answer(answer) for answer in flag.answers.all()],
    }
