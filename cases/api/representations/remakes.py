"""A remake as JSON, with what each side says of it."""

from typing import TYPE_CHECKING, Any

from cases.api.representations.cases import remake_json
from cases.api.representations.values import iso, mm
from cases.tenancy import Actor

if TYPE_CHECKING:
    from cases.models import RemakeLoss, RemakeStatement, RemakeTrace
    from cases.selectors.remakes import RemakeDetail

__all__ = ["remake_whole"]


def _statement(row: "RemakeStatement") -> dict[str, Any]:
    return {
        "side": row.side,
        "attribution": row.attribution,
        "note": row.note,
        "made_by": row.made_by_name,
        "made_at": iso(row.made_at),
    }


def _trace(row: "RemakeTrace", detail: "RemakeDetail") -> dict[str, Any]:
    site = row.site_verdict
    return {
        "tooth": site.tooth,
        "site": site.site,
        "quantity": site.quantity,
        "verdict": site.verdict,
        "need_mm": mm(site.need_mm),
        "low_mm": mm(site.low_mm),
        "high_mm": mm(site.high_mm),
        "at_submission": site.stored_check_id == detail.first,
        "as_built": site.stored_check_id == detail.built,
        "answer": row.answer.code if row.answer else None,
        "ground": row.coverage.kind if row.coverage else None,
        "automatic": row.automatic,
        "made_by": row.made_by_name,
        "made_at": iso(row.made_at),
        "withdrawn_at": iso(row.withdrawn_at),
        "withdrawn_by": row.withdrawn_by_name,
        "withdrawn_reason": row.withdrawn_reason,
    }


def _loss(row: "RemakeLoss | None") -> dict[str, Any] | None:
    if row is None:
        return None
    return {
        "amount": None if row.amount is None else round(float(row.amount), 2),
        "currency": row.currency,
        "minutes": row.minutes,
        "days_lost": row.days_lost,
    }


def remake_whole(detail: "RemakeDetail", actor: Actor) -> dict[str, Any]:
    """Return a remake with all that hangs on it, as the actor may see it."""
    remake = detail.remake
    return {
        **remake_json(remake, actor),
        "cause_label": detail.labels.get(remake.cause, ""),
        "statements": [_statement(row) for row in detail.statements],
        "traces": [_trace(row, detail) for row in detail.traces],
        "evidence": [row.code for row in detail.evidence],
        "loss": _loss(detail.loss),
    }
