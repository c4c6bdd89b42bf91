"""The figures of an audit, month by month: kept ones, and those counted anew.

A month is counted once per filter and kept with the version the month had *before* its
facts were read: what is written meanwhile makes the kept one stale, never wrong. Adding
up months is the reader's; how many cases stand behind them does not matter here.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db import connection

from cases.audit.figures import Figures, MonthFigures
from cases.audit.filters import AuditFilters
from cases.models import AuditMemo, AuditMonth
from cases.selectors.audit_conditions import AuditScope
from cases.selectors.audit_counting import counting_sql
from cases.selectors.audit_scope import audit_scope
from cases.tenancy import Actor

__all__ = ["audit_figures"]

# Counts up when what is kept changes its meaning or shape.
_SHAPE: Final = 1
_KEPT_FOR: Final = timedelta(days=60)
# Months of an organisation that are kept, of all selections together, and how many go
# when there are more: each is some 10 to 30 kB, so that nobody fills the disk by asking
# for ten years under one filter after another.
_MOST_MONTHS: Final = 24_000
_SPARE_MONTHS: Final = 2_400


def audit_figures(*, actor: Actor, filters: AuditFilters, at: datetime) -> Figures:
    """Return the figures of the filters' months; months without a case are empty.

    The number of queries does not depend on the number of months.

    Raises:
        NotAllowed, NotFound: as ``audit_scope``.
    """
    scope = audit_scope(actor=actor, filters=filters)
    versions = dict(
        AuditMonth.objects.filter(
            organisation_id=scope.organisation_id,
            month__gte=filters.first,
            month__lte=filters.last,
        ).values_list("month", "version")
    )
    key = _key(scope)
    found = _kept(scope, key, versions) if versions else {}
    stale = sorted(versions.keys() - found.keys())
    if stale:
        counted = _counted(scope, stale)
        _keep(scope, key, {m: (versions[m], counted[m]) for m in stale}, at=at)
        found |= {month: MonthFigures.read(month, counted[month]) for month in stale}
    return Figures(
        months=tuple(found.get(m) or MonthFigures(m) for m in filters.months),
        as_of=at,
    )


def _key(scope: AuditScope) -> str:
    """Return what a kept month is found by: everything but the period."""
    wanted = scope.filters
    said = [
        _SHAPE,
        scope.side,
        *(
            [one.name, getattr(wanted, one.name)]
            for one in fields(wanted)
            if one.name not in {"first", "last"} and getattr(wanted, one.name)
        ),
    ]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def _kept(
    scope: AuditScope, key: str, versions: Mapping[date, int]
) -> dict[date, MonthFigures]:
    """Return the kept months that are still true."""
    rows = AuditMemo.objects.filter(
        organisation_id=scope.organisation_id, key=key, month__in=versions
    ).values_list("month", "version", "figures")
    found = {}
    for month, version, figures in rows:
        if version != versions[month]:
            continue
        try:
            found[month] = MonthFigures.read(month, figures)
        except (AttributeError, KeyError, TypeError, ValueError):
            # Kept by another release: counted anew.
            continue
    return found


def _counted(scope: AuditScope, months: Sequence[date]) -> dict[date, dict[str, Any]]:
    """Count the months in one statement."""
    with connection.cursor() as cursor:
        # Compiling so many expressions takes longer than counting with them.
        cursor.execute("SET LOCAL jit = off")
        cursor.execute(counting_sql(scope), {**scope.values, "months": [*months]})
        return {month: json.loads(figures) for month, figures in cursor.fetchall()}


def _keep(
    scope: AuditScope,
    key: str,
    counted: Mapping[date, tuple[int, dict[str, Any]]],
    *,
    at: datetime,
) -> None:
    """Keep the months in one statement, in order: two that do so never wait in a ring."""
    _prune(scope, at=at)
    AuditMemo.objects.bulk_create(
        (
            AuditMemo(
                organisation_id=scope.organisation_id,
                month=month,
                key=key,
                version=version,
                figures=figures,
                made_at=at,
            )
            for month, (version, figures) in sorted(counted.items())
        ),
        update_conflicts=True,
        unique_fields=["organisation", "key", "month"],
        update_fields=["version", "figures", "made_at"],
    )


_TOO_MANY = """
SELECT count(*) > %(most)s FROM (SELECT 1 FROM cases_auditmemo
  WHERE organisation_id = %(organisation)s LIMIT %(most)s + 1) m
"""
_FORGET = """
DELETE FROM cases_auditmemo WHERE id IN (
  SELECT m.id FROM cases_auditmemo m WHERE m.organisation_id = %(organisation)s
    AND m.made_at < %(before)s FOR UPDATE SKIP LOCKED)
"""
_FORGET_KEYS = """
DELETE FROM cases_auditmemo WHERE id IN (
  SELECT m.id FROM cases_auditmemo m WHERE m.organisation_id = %(organisation)s
    AND m.key IN (SELECT k.key FROM (
      SELECT o.key, sum(count(*)) OVER (ORDER BY max(o.made_at) DESC, o.key) AS months
      FROM cases_auditmemo o WHERE o.organisation_id = %(organisation)s
      GROUP BY o.key) k WHERE k.months > %(keep)s) FOR UPDATE SKIP LOCKED)
"""


def _prune(scope: AuditScope, *, at: datetime) -> None:
    """Forget what is old, and the longest unused selections when there are too many."""
    values: dict[str, int | datetime] = {
        "organisation": scope.organisation_id,
        "before": at - _KEPT_FOR,
        "most": _MOST_MONTHS,
        "keep": _MOST_MONTHS - _SPARE_MONTHS,
    }
    with connection.cursor() as cursor:
        cursor.execute(_FORGET, values)
        cursor.execute(_TOO_MANY, values)
        if cursor.fetchone() == (True,):
            cursor.execute(_FORGET_KEYS, values)
