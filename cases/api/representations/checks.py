"""The current check of a case: the body of ``POST check`` and what it is of."""

from typing import Any

from cases.api.representations.values import iso
from cases.selectors.cases import CaseDetail
from cases.services.checks import check_request, evaluate, rule_set_for
from rules.terms import Verdict

__all__ = ["case_check_json"]


def _unsent(detail: CaseDetail) -> dict[str, Any]:
    """Judge the draft of a case that was never sent."""
    rule_set = rule_set_for(detail.case.rule_set_digest)
    if detail.draft_units:
        request = check_request(
            detail.draft_units,
            detail.draft_readings,
            detail.draft.connectors if detail.draft else (),
        )
        return evaluate(rule_set, request)
    return {
        "rule_set": {
            "name": rule_set.name,
            "version": rule_set.version,
            "digest": rule_set.digest,
        },
        "verdict": Verdict.UNMEASURED.value,
        "units": [],
    }


def case_check_json(detail: CaseDetail) -> dict[str, Any]:
    """Return the stored check in force, or that of the draft (``stored`` false)."""
    check = detail.case.current_check
    return {
        "case": detail.case.code,
        "stored": check is not None,
        "revision": check.revision if check else detail.case.revision + 1,
        "round": check.round if check else detail.case.round,
        "made_at": iso(check.made_at) if check else None,
        "request_sha256": check.request_sha256 if check else None,
        **(check.result if check else _unsent(detail)),
    }
