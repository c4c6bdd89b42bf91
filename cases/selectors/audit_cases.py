"""The cases behind one number of an audit, unless the number itself is hidden."""

import base64
import binascii
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Final

from django.db import connection

from cases.audit.filters import AuditFilters
from cases.audit.protection import threshold_of
from cases.enums import Role
from cases.errors import Invalid
from cases.selectors.audit_conditions import (
    AuditScope,
    internal_sql,
    outcome_sql,
    remade_sql,
)
from cases.selectors.audit_scope import audit_scope
from cases.selectors.audit_setup import audit_settings
from cases.tenancy import Actor

__all__ = ["AuditCasePage", "AuditCaseRow", "audit_case_list", "audit_cases"]

PAGE_SIZE: Final = 50
MAX_PAGE_SIZE: Final = 200


@dataclass(frozen=True, slots=True)
class AuditCaseRow:
    """One restoration that left the laboratory; ``cause`` of what was made again."""

    code: str
    part: str
    teeth: tuple[str, ...]
    clinic: str
    material: str
    kind: str
    dispatched_on: date
    first_class: str
    outcome: str
    cause: str
    option: str


@dataclass(frozen=True, slots=True)
class AuditCasePage:
    """Rows of one page, latest dispatch first, and the cursor of the next.

    ``n``: restorations that match, all pages together; 0 when they are ``hidden``:
    fewer match than may be shown.
    """

    rows: tuple[AuditCaseRow, ...]
    n: int
    hidden: bool
    next_cursor: str


def audit_cases(
    *,
    actor: Actor,
    filters: AuditFilters,
    cursor: str = "",
    limit: int = PAGE_SIZE,
) -> AuditCasePage:
    """Return the restorations these filters find, by keyset.

    A list shorter than the smallest number that may be shown is not given, nor is the
    empty one that would say "not this" of a single restoration. Clinicians see all of
    their own.

    Raises:
        Invalid: a cursor no list gave.
        NotAllowed, NotFound: as ``audit_scope``.
    """
    scope = audit_scope(actor=actor, filters=filters)
    after = _after(cursor) if cursor else {}
    n = _count(scope)
    if _hidden(actor, scope, n):
        return AuditCasePage((), 0, hidden=True, next_cursor="")
    limit = max(1, min(limit, MAX_PAGE_SIZE))
    found = _page(scope, after, limit + 1)
    more = len(found) > limit
    return AuditCasePage(
        rows=tuple(_row(one) for one in found[:limit]),
        n=n,
        hidden=False,
        next_cursor=_cursor(found[limit - 1]) if more else "",
    )


def audit_case_list(*, actor: Actor, filters: AuditFilters, most: int) -> AuditCasePage:
    """Return all restorations these filters find, as one page.

    More than ``most`` are counted and not read: ``rows`` is empty then.

    Raises:
        NotAllowed, NotFound: as ``audit_scope``.
    """
    scope = audit_scope(actor=actor, filters=filters)
    n = _count(scope)
    if _hidden(actor, scope, n):
        return AuditCasePage((), 0, hidden=True, next_cursor="")
    found = _page(scope, {}, most) if n <= most else []
    rows = tuple(_row(one) for one in found)
    return AuditCasePage(rows, n, hidden=False, next_cursor="")


def _hidden(actor: Actor, scope: AuditScope, n: int) -> bool:
    if actor.role == Role.CLINICIAN:
        return False
    if n:
        return n < threshold_of(audit_settings(actor=actor).small_number)
    every = replace(
        scope.filters,
        cause="",
        outcome="",
        flagged="",
        option="",
        first_verdict="",
        first_class="",
        built_class="",
    )
    return every != scope.filters and _count(replace(scope, filters=every)) == 1


_PERIOD: Final = "f.month BETWEEN %(first)s AND %(last)s"


def _count(scope: AuditScope) -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM cases_auditfact f"  # noqa: S608 -- fixed conditions
            f" WHERE {scope.facts_where()} AND {_PERIOD}",
            _values(scope),
        )
        (count,) = cursor.fetchone() or (0,)
        return int(count)


def _values(scope: AuditScope) -> dict[str, Any]:
    return {
        **scope.values,
        "first": scope.filters.first,
        "last": scope.filters.last,
    }


def _page(
    scope: AuditScope, after: Mapping[str, Any], limit: int
) -> list[tuple[Any, ...]]:
    # In the order of the index, month first, so that a page reads a page's rows.
    further = (
        " AND (f.month, f.dispatched_at, f.id)"
        " < (%(after_month)s, %(after_at)s, %(after_id)s)"
        if after
        else ""
    )
    cause = (
        f"CASE WHEN {remade_sql(scope)} THEN f.remake_cause"
        f" WHEN {internal_sql(scope)} THEN f.internal_cause ELSE '' END"
    )
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
SELECT p.month, p.dispatched_at, p.id, c.code, p.part, o.name, p.material,
  p.kind, p.dispatched_on, p.first_class, p.outcome, p.cause, p."option",
  ARRAY(SELECT jsonb_array_elements_text(p.teeth))
FROM (SELECT f.*, {outcome_sql(scope)} AS outcome, {cause} AS cause
    FROM cases_auditfact f WHERE {scope.facts_where()} AND {_PERIOD}{further}
    ORDER BY f.month DESC, f.dispatched_at DESC, f.id DESC LIMIT %(limit)s) p
  JOIN cases_case c ON c.id = p.case_id
  JOIN cases_organisation o ON o.id = p.clinic_id
ORDER BY p.month DESC, p.dispatched_at DESC, p.id DESC
""",  # noqa: S608 -- fixed conditions, every value is a parameter
            {**_values(scope), **after, "limit": limit},
        )
        rows: list[tuple[Any, ...]] = cursor.fetchall()
        return rows


def _row(found: tuple[Any, ...]) -> AuditCaseRow:
    code, part, clinic, material, kind, day, first, outcome, cause, option, teeth = (
        found[3:]
    )
    return AuditCaseRow(
        code=code,
        part=part,
        teeth=tuple(teeth),
        clinic=clinic,
        material=material,
        kind=kind,
        dispatched_on=day,
        first_class=first,
        outcome=outcome,
        cause=cause,
        option=option,
    )


def _cursor(found: tuple[Any, ...]) -> str:
    month, at, pk = found[:3]
    text = f"{month.isoformat()}|{at.isoformat()}|{pk}"
    return base64.urlsafe_b64encode(text.encode()).decode()


def _after(cursor: str) -> dict[str, Any]:
    refused = Invalid.one("/cursor", "Use a cursor this list gave you.")
    try:
        month, at, pk = base64.urlsafe_b64decode(cursor.encode()).decode().split("|")
        day, moment, number = (
            date.fromisoformat(month),
            datetime.fromisoformat(at),
            int(pk),
        )
    except (ValueError, binascii.Error) as error:
        raise refused from error
    if not 0 < number < 2**63 or moment.tzinfo is None:
        raise refused
    return {"after_month": day, "after_at": moment, "after_id": number}
