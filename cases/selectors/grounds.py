"""What a case may be built on: sites, coverages and what still shuts the gate.

The same questions as ``gate_reasons`` in migrations 0001 and 0003.
"""

from dataclasses import dataclass
from datetime import datetime

from cases.enums import CoverageKind, FlagStatus
from cases.models import (
    Case,
    Check,
    Coverage,
    Flag,
    Prescription,
    Reading,
    SiteVerdict,
    Unit,
)
from rules.teeth import site_label
from rules.terms import Site

__all__ = ["SiteGround", "gate_reasons", "open_flags", "site_grounds"]

_FINE = ("sufficient", "not_applicable")


@dataclass(frozen=True, slots=True)
class SiteGround:
    """One site of the current check and the ground on which it may be built."""

    verdict: SiteVerdict
    coverage: Coverage | None

    @property
    def fine(self) -> bool:
        """Whether nothing more is needed for this site."""
        if self.verdict.verdict in _FINE:
            return True
        covered = self.coverage
        if covered is not None and covered.kind == CoverageKind.UNCERTAINTY:
            return self._within_uncertainty
        return covered is not None

    @property
    def clearable(self) -> bool:
        """Whether a technician may clear it "within measuring uncertainty"."""
        return not self.fine and self._within_uncertainty

    @property
    def _within_uncertainty(self) -> bool:
        site = self.verdict
        return site.verdict == "undecided" and site.is_point and site.at_or_above_need


def _in_force(case: Case) -> list[Coverage]:
    rows = Coverage.objects.filter(
        case=case,
        revision=case.revision,
        round=case.round,
        rule_set_digest=case.rule_set_digest,
    ).select_related("answer__flag", "answer__signature", "answer__countersignature")
    counting = [row for row in rows if _counts(row)]
    if not counting:
        return []
    # What a cover was given for is not what a reading is once it went stale.
    stale: dict[str, datetime] = {}
    marked = Reading.objects.filter(case=case, stale_at__isnull=False)
    for tooth, at in marked.order_by("stale_at").values_list("tooth", "stale_at"):
        if at is not None:  # as asked for above
            stale[tooth] = at
    return [
        row
        for row in counting
        if row.tooth not in stale or stale[row.tooth] < _given_at(row)
    ]


def _given_at(row: Coverage) -> datetime:
    """Return when somebody knew the readings and took the site upon themselves."""
    return row.answer.signature.signed_at if row.answer else row.given_at


def _counts(row: Coverage) -> bool:
    if row.kind == CoverageKind.UNCERTAINTY or row.answer is None:
        return True
    answer = row.answer
    return answer.flag.status == "settled" and (
        answer.kind != "accept_risk" or answer.countersignature_id is not None
    )


def site_grounds(case: Case) -> list[SiteGround]:
    """Return every site of the current check with its coverage in force."""
    if case.current_check_id is None:
        return []
    coverages = {
        (c.tooth, c.site, c.quantity, c.low_mm, c.high_mm): c for c in _in_force(case)
    }
    verdicts = SiteVerdict.objects.filter(
        stored_check_id=case.current_check_id
    ).order_by("id")
    return [
        SiteGround(v, coverages.get((v.tooth, v.site, v.quantity, v.low_mm, v.high_mm)))
        for v in verdicts
    ]


def open_flags(case: Case) -> int:
    """Return how many queries of the case are not settled."""
    return Flag.objects.filter(
        case=case, status__in=[FlagStatus.OPEN, FlagStatus.COUNTERSIGN_DUE]
    ).count()


def gate_reasons(case: Case) -> list[str]:
    """Return why the case may not go to the bench yet; empty when it may."""
    reasons: list[str] = []
    prescription = Prescription.objects.filter(
        case=case, revision=case.revision, submitted_at__isnull=False
    ).first()
    if prescription is None or prescription.signature_id is None:
        reasons.append("The prescription is not signed.")
    if open_flags(case):
        reasons.append("A query is still open.")
    check = Check.objects.filter(
        pk=case.current_check_id or 0,
        revision=case.revision,
        round=case.round,
        rule_set_digest=case.rule_set_digest,
    ).first()
    if check is None or prescription is None:
        return [*reasons, "This revision and round have not been checked."]
    grounds = site_grounds(case)
    judged = {ground.verdict.tooth for ground in grounds}
    reasons += [
        f"Tooth {tooth} has no verdict."
        for tooth in Unit.objects.filter(prescription=prescription)
        .order_by("position")
        .values_list("tooth", flat=True)
        if tooth not in judged
    ]
    reasons += [
        f"Tooth {g.verdict.tooth}, "
        f"{site_label(Site(g.verdict.site), g.verdict.tooth)}: "
        f"{g.verdict.verdict}, not covered by an answer."
        for g in grounds
        if not g.fine
    ]
    return reasons
