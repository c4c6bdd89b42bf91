"""One table of the audit as a file, for pages and programs alike."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from cases.audit.filters import AuditFilters
from cases.audit.report_types import AuditReport
from cases.documents.audit_csv import HIDDEN, Cell, Table, about, file_name, written
from cases.documents.audit_tables import table_of
from cases.errors import Invalid
from cases.selectors.audit_cases import AuditCasePage, audit_case_list
from cases.tenancy import Actor

__all__ = ["CASES", "MOST_CASES", "Exported", "export_cases", "export_report"]

CASES: Final = "cases"
# A file is made whole before it leaves (no rows are read once the tenant's transaction
# is over): so many take a second or two and some ten megabytes.
MOST_CASES: Final = 50_000
# What is counted and may be hidden elsewhere (outcome, cause, option) stands in each
# case, as on the page that lists them.
_COLUMNS: Final = (
    "case",
    "part",
    "teeth",
    "clinic",
    "material",
    "kind",
    "dispatched_on",
    "clearance_at_submission",
)


@dataclass(frozen=True, slots=True)
class Exported:
    """A file's bytes and name."""

    content: bytes
    name: str


def _file(table: Table, filters: AuditFilters, as_of: datetime) -> Exported:
    first, last = filters.first, filters.last
    before = about(as_of=as_of, first=first, last=last, filters=filters.address())
    name = file_name(table.name, as_of=as_of, first=first, last=last)
    return Exported(written(table, before=before), name)


def export_report(report: AuditReport, filters: AuditFilters, name: str) -> Exported:
    """Return a table of a report that was made with these filters.

    Raises:
        NotFound: there is no such table for this viewer.
    """
    return _file(table_of(report, name), filters, report.setup.as_of)


def export_cases(*, actor: Actor, filters: AuditFilters, at: datetime) -> Exported:
    """Return the cases these filters find, latest dispatch first.

    Fewer than may be listed are one row of the word for hidden.

    Raises:
        Invalid: more than ``MOST_CASES``.
        NotAllowed, NotFound: as ``audit_cases``.
    """
    found = audit_case_list(actor=actor, filters=filters, most=MOST_CASES)
    if found.n > MOST_CASES:
        raise Invalid.one(
            "/from",
            "{n} restorations are more than one file holds ({most}): choose a shorter "
            "period or narrow the list.",
            n=str(found.n),
            most=str(MOST_CASES),
        )
    return _file(Table(CASES, _COLUMNS, _rows(found)), filters, at)


def _rows(found: AuditCasePage) -> tuple[tuple[Cell, ...], ...]:
    if found.hidden:
        return ((HIDDEN,) * len(_COLUMNS),)
    return tuple(
        (
            row.code,
            row.part,
            " ".join(row.teeth),
            row.clinic,
            row.material,
            row.kind,
            row.dispatched_on,
            row.first_class,
        )
        for row in found.rows
    )
