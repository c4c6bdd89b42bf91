"""The background work of a rule set's impact: lanes, chunks and their places.

See ``rule_set_impact`` for what is compared with what.
"""

from collections.abc import Collection, Iterator, Sequence
from datetime import datetime, time
from time import monotonic
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from cases.enums import DraftStatus, ImpactStatus
from cases.lifecycle import TERMINAL
from cases.models import (
    Case,
    Check,
    Organisation,
    RuleSetImpact,
    RuleSetImpactCase,
    SiteVerdict,
)
from cases.services.rule_sets_compare import (
    Comparison,
    Judged,
    SiteKey,
    site_changes,
)
from cases.services.rule_sets_store import read_rule_set
from cases.tenancy import tenant

__all__ = ["CHUNK", "LANES", "impact_slice", "looked_at"]

LANES = (0, 1)
# Cases of one lane per transaction, about: few enough to show progress, enough to
# share the queries.
CHUNK = 500
# Seconds a worker stays with it before waiting notices have their turn.
SLICE = 5.0
# The place of a lane that has no more cases.
_END: list[Any] = []


class _Case(NamedTuple):
    """Where a case stands in the order of the work, and its check."""

    pk: int
    created_at: datetime
    state: str
    current_check_id: int | None


class _Check(NamedTuple):
    """What is read of a stored check."""

    pk: int
    rule_set_digest: str
    verdict: str
    request: dict[str, Any]


def looked_at(impact: RuleSetImpact, laboratory: Organisation) -> QuerySet[Case]:
    """Return the cases an impact compares."""
    zone = ZoneInfo(laboratory.time_zone)
    since = datetime.combine(impact.since, time.min, zone)
    return Case.objects.filter(
        Q(submitted_at__gte=since) | ~Q(state__in=TERMINAL),
        laboratory=laboratory,
        submitted_at__lte=impact.started_at,
    )


def impact_slice(
    *,
    organisation_id: int,
    impact_code: str,
    lane: int,
    at: datetime,
    seconds: float = SLICE,
) -> bool:
    """Work on one lane for some seconds; return whether it has more cases.

    Opens the tenant itself, once per chunk: outside of any transaction every chunk
    is kept as soon as it is done.
    """
    until = monotonic() + seconds
    comparison: Comparison | None = None
    while True:
        with tenant(organisation_id):
            impact = _running(impact_code, at=at)
            if impact is None:
                return False
            if comparison is None:
                comparison = Comparison(read_rule_set(impact.document))
            if not _chunk(impact, comparison, lane=lane, at=at):
                return False
        if monotonic() >= until:
            return True


def _running(code: str, *, at: datetime) -> RuleSetImpact | None:
    """Return an impact that goes on; one whose draft has changed is stopped."""
    impact = (
        RuleSetImpact.objects.filter(code=code, status=ImpactStatus.RUNNING)
        .select_related("draft", "laboratory")
        .defer("document", "draft__document")
        .first()
    )
    if impact is None:
        return None
    draft = impact.draft
    if draft.digest == impact.digest and draft.status != DraftStatus.DISCARDED:
        return impact
    RuleSetImpact.objects.filter(pk=impact.pk, status=ImpactStatus.RUNNING).update(
        status=ImpactStatus.STOPPED, finished_at=at
    )
    return None


def _chunk(
    impact: RuleSetImpact, comparison: Comparison, *, lane: int, at: datetime
) -> bool:
    """Compare the next cases of a lane and keep what was found; False: it has ended."""
    place = impact.lanes.get(str(lane))
    if place == _END:
        return False
    rows = _next(impact, place=place)
    ours = [row for row in rows if row.pk % len(LANES) == lane]
    found = _changed(impact, comparison, ours)
    last = rows[-1] if len(rows) == CHUNK * len(LANES) else None
    now = [last.created_at.isoformat(), last.pk] if last else _END
    return _keep(impact, lane, (place, now), len(ours), found, at=at)


def _next(impact: RuleSetImpact, *, place: list[Any] | None) -> list[_Case]:
    """Return the cases of all lanes that follow a place, newest first, by keyset.

    Asked without lane and check, so that the database walks the index by laboratory
    and creation: what it cannot estimate it would answer by sorting all cases.
    """
    rows = looked_at(impact, impact.laboratory)
    if place:
        when, pk = datetime.fromisoformat(place[0]), place[1]
        # The first condition alone bounds the index scan.
        rows = rows.filter(
            Q(created_at__lt=when) | Q(created_at=when, pk__lt=pk), created_at__lte=when
        )
    ordered = rows.order_by("-created_at", "-pk")[: CHUNK * len(LANES)]
    return [_Case(*row) for row in ordered.values_list(*_Case._fields)]


def _changed(
    impact: RuleSetImpact, comparison: Comparison, rows: Sequence[_Case]
) -> list[RuleSetImpactCase]:
    of_check = {row.current_check_id: row for row in rows}
    judged: dict[int, tuple[_Check, Judged]] = {}
    for check in _checks(of_check):
        after = comparison.judged(check.rule_set_digest, check.request)
        if after is not None:
            judged[check.pk] = check, after
    before = _site_verdicts(judged)
    return [
        RuleSetImpactCase(
            impact=impact,
            case_id=of_check[pk].pk,
            is_open=of_check[pk].state not in TERMINAL,
            before=check.verdict,
            after=after.verdict,
            sites=sites,
        )
        for pk, (check, after) in judged.items()
        if (sites := site_changes(before[pk], after)) or after.verdict != check.verdict
    ]


def _checks(pks: Collection[int | None]) -> Iterator[_Check]:
    rows = Check.objects.filter(pk__in=[pk for pk in pks if pk is not None])
    return (_Check(*row) for row in rows.order_by("-pk").values_list(*_Check._fields))


def _site_verdicts(checks: Collection[int]) -> dict[int, dict[SiteKey, str]]:
    found: dict[int, dict[SiteKey, str]] = {pk: {} for pk in checks}
    rows = SiteVerdict.objects.filter(stored_check__in=checks).order_by("pk")
    for pk, tooth, site, quantity, verdict in rows.values_list(
        "stored_check_id", "tooth", "site", "quantity", "verdict"
    ):
        found[pk][tooth, site, quantity] = verdict
    return found


def _keep(
    impact: RuleSetImpact,
    lane: int,
    places: tuple[list[Any] | None, list[Any]],
    count: int,
    found: Sequence[RuleSetImpactCase],
    *,
    at: datetime,
) -> bool:
    """Store a chunk unless somebody else has done it; return whether the lane goes on.

    The row is locked only here, so that the lanes do not wait for each other.
    """
    before, now = places
    row = RuleSetImpact.objects.select_for_update(of=("self",)).defer("document")
    kept = row.get(pk=impact.pk)
    if kept.status != ImpactStatus.RUNNING or kept.lanes.get(str(lane)) != before:
        return kept.status == ImpactStatus.RUNNING
    RuleSetImpactCase.objects.bulk_create(found)
    kept.lanes[str(lane)] = now
    kept.done += count
    kept.changed += len(found)
    if all(kept.lanes.get(str(each)) == _END for each in LANES):
        kept.status = ImpactStatus.DONE
        kept.finished_at = at
        # A case may have ended while this went on.
        kept.total = kept.done
    kept.save(
        update_fields=["lanes", "done", "changed", "status", "finished_at", "total"]
    )
    return now != _END
