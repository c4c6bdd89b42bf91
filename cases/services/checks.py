"""The check of a case: same core, same body as ``POST /api/v1/check``.

A stored check holds request and result; with the rule set's digest it can be
computed again for ever.
"""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from cases.canonical import canonical_json, sha256_hex
from cases.models import (
    Case,
    Check,
    Prescription,
    Reading,
    Round,
    SiteVerdict,
    Unit,
)
from cases.selectors.check_catalog import digest_now
from cases.services.units import unit_json
from rules.check import run_check
from rules.loader import ruleset_by_digest, shipped_rule_set
from rules.payload import check_json, parse_check
from rules.requirements import RuleSet

__all__ = [
    "CHECK_FIELDS",
    "check_request",
    "check_store",
    "digest_now",
    "evaluate",
    "readings_in_force",
    "rule_set_for",
]

CHECK_FIELDS = ("current_check", "verdict", "rule_set_digest")


def rule_set_for(digest: str) -> RuleSet:
    """Return the rule set with this digest, or the shipped one for none."""
    return ruleset_by_digest(digest) if digest else shipped_rule_set()


def readings_in_force(case: Case, *, round_number: int) -> list[Reading]:
    """Return the submitted readings a round is judged by, oldest first.

    A remount leaves the preparation as it was: readings taken in the mouth
    carry over, those on the old mounting do not.
    """
    rounds = {r.number: r for r in Round.objects.filter(case=case)}
    carried: list[int] = []
    number = round_number
    while number in rounds and rounds[number].carries_mouth_readings:
        number -= 1
        carried.append(number)
    rows = Reading.objects.filter(
        case=case,
        round__in=[round_number, *carried],
        submitted_at__isnull=False,
        superseded_at__isnull=True,
    ).order_by("taken_at", "id")
    return [r for r in rows if r.round == round_number or r.basis == "mouth"]


def check_request(
    units: Sequence[Unit],
    readings: Sequence[Reading],
    connectors: Sequence[dict[str, Any]] = (),
) -> dict[str, Any]:
    """Return the body of the check for these units, readings and connectors."""
    body: dict[str, Any] = {"units": [unit_json(unit, readings) for unit in units]}
    if connectors:
        body["connectors"] = list(connectors)
    return body


def evaluate(rule_set: RuleSet, request: dict[str, Any]) -> dict[str, Any]:
    """Return the result body of a check request.

    Raises:
        rules.errors.InvalidPayload: every fault with its pointer.
    """
    return check_json(run_check(rule_set, parse_check(request, rule_set=rule_set)))


def _length(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(str(value)).quantize(Decimal("0.01"))


def check_store(case: Case, *, at: datetime) -> Check:
    """Check revision and round of the case, store it and point the case to it.

    The caller saves ``current_check``, ``verdict`` and ``rule_set_digest``.
    """
    prescription = Prescription.objects.get(case=case, revision=case.revision)
    units = list(Unit.objects.filter(prescription=prescription).order_by("position"))
    rule_set = rule_set_for(case.rule_set_digest)
    request = check_request(
        units,
        readings_in_force(case, round_number=case.round),
        prescription.connectors,
    )
    computed = run_check(rule_set, parse_check(request, rule_set=rule_set))
    result = check_json(computed)
    check = Check.objects.create(
        case=case,
        revision=case.revision,
        round=case.round,
        rule_set_digest=rule_set.digest,
        request=request,
        result=result,
        request_sha256=sha256_hex(canonical_json(request)),
        verdict=result["verdict"],
        made_at=at,
    )
    SiteVerdict.objects.bulk_create(
        SiteVerdict(
            case=case,
            stored_check=check,
            tooth=unit.tooth,
            site=site.site,
            quantity=site.quantity,
            verdict=site.verdict,
            need_mm=site.need_mm,
            low_mm=site.low_mm,
            high_mm=site.high_mm,
            is_point=site.is_point,
            at_or_above_need=site.at_or_above_need,
        )
        for unit in computed.units
        for site in unit.sites
    )
    case.current_check = check
    case.verdict = check.verdict
    case.rule_set_digest = rule_set.digest
    return check
