"""Which facts an audit counts, and what of them, as SQL conditions.

Row-level security stands below: it shows an organisation the facts of its own cases
and nothing else. The conditions here repeat that, and keep a clinician to own cases.
"""

from dataclasses import dataclass, replace
from typing import Any, Final

from cases.audit.filters import AuditFilters
from cases.enums import OrganisationKind

__all__ = [
    "AuditScope",
    "adverse_sql",
    "internal_sql",
    "outcome_sql",
    "remade_sql",
]

_COLUMNS: Final = (
    "material",
    "kind",
    "tooth_class",
    "method",
    "option",
    "first_verdict",
    "first_class",
    "built_class",
)
_RUNS_OF: Final = ("first_class", "built_class")
# What a query about clearance has of a restoration.
_OF_QUERIES: Final = ("material", "kind", "tooth_class", "method", "option")
_ONLY_FACTS: Final = (
    "outcome",
    "flagged",
    "first_verdict",
    "first_class",
    "built_class",
)


@dataclass(frozen=True, slots=True)
class AuditScope:
    """Filters found allowed, with the row numbers the codes in them stand for.

    ``side`` names the column of the facts that is the viewer's organisation.
    """

    side: str
    organisation_id: int
    filters: AuditFilters
    clinic_id: int | None = None

    @property
    def is_laboratory(self) -> bool:
        """Whether the viewer's organisation is the laboratory."""
        return self.side == OrganisationKind.LABORATORY

    @property
    def values(self) -> dict[str, Any]:
        """The named parameters of the conditions."""
        wanted = self.filters
        return {
            "organisation": self.organisation_id,
            "clinic": self.clinic_id,
            "clinician": int(wanted.clinician or 0),
            "technician": int(wanted.technician or 0),
            "cause": wanted.cause,
            "outcome": wanted.outcome,
            **{name: getattr(wanted, name) for name in _COLUMNS},
            # Neighbouring classes may be asked for together.
            **{name: getattr(wanted, name).split(".") for name in _RUNS_OF},
        }

    def facts_where(self, alias: str = "f") -> str:
        """Return which facts count, whatever their month, as an SQL condition."""
        wanted = self.filters
        found = self._common(alias, _COLUMNS)
        if wanted.technician:
            found.append(f"{alias}.technician_id = %(technician)s")
        if wanted.flagged:
            found.append(f"{'' if wanted.flagged == 'yes' else 'NOT '}{alias}.flagged")
        if wanted.outcome:
            found.append(_outcome_where(self, alias))
        return " AND ".join(found)

    def queries_where(self, alias: str = "q") -> str:
        """Return which queries count; those of a technician are those they raised.

        Where a filter speaks of what only a restoration has, queries of cases with
        such a restoration count.
        """
        found = self._common(alias, _OF_QUERIES)
        if self.filters.technician:
            found.append(
                f"EXISTS (SELECT 1 FROM cases_flag g WHERE g.id = {alias}.flag_id"  # noqa: S608 -- the alias is ours
                " AND g.raised_by_id = %(technician)s)"
            )
        if any(getattr(self.filters, name) for name in _ONLY_FACTS):
            facts = replace(self, filters=replace(self.filters, technician=""))
            found.append(
                f"EXISTS (SELECT 1 FROM cases_auditfact x WHERE x.case_id ="  # noqa: S608 -- fixed text
                f" {alias}.case_id AND {facts.facts_where('x')})"
            )
        return " AND ".join(found)

    def _common(self, alias: str, columns: tuple[str, ...]) -> list[str]:
        found = [f"{alias}.{self.side}_id = %(organisation)s"]
        if self.clinic_id is not None:
            found.append(f"{alias}.clinic_id = %(clinic)s")
        if self.filters.clinician:
            found.append(f"{alias}.prescriber_id = %(clinician)s")
        found += [
            f'{alias}."{name}" = ANY (%({name})s)'
            if name in _RUNS_OF
            else f'{alias}."{name}" = %({name})s'
            for name in columns
            if getattr(self.filters, name)
        ]
        return found


def remade_sql(scope: AuditScope, alias: str = "f") -> str:
    """Return whether a restoration counts as remade; a cause says which remakes do."""
    only = f" AND {alias}.remake_cause = %(cause)s" if scope.filters.cause else ""
    return f"({alias}.remade{only})"


def internal_sql(scope: AuditScope, alias: str = "f") -> str:
    """Return whether it was made again before dispatch; nobody's but the laboratory's."""
    if not scope.is_laboratory:
        return "false"
    only = f" AND {alias}.internal_cause = %(cause)s" if scope.filters.cause else ""
    return f"({alias}.internal_remakes > 0{only})"


def adverse_sql(scope: AuditScope, alias: str = "f") -> str:
    """Return whether it was remade, not fitted, or cost the opposing tooth substance."""
    return (
        f"({remade_sql(scope, alias)} OR ({alias}.reported AND NOT {alias}.fitted)"
        f" OR {alias}.opposing_adjusted)"
    )


def outcome_sql(scope: AuditScope, alias: str = "f") -> str:
    """Return what became of a restoration: the first of OUTCOMES that holds."""
    return (
        f"CASE WHEN {remade_sql(scope, alias)} THEN 'remade'"
        f" WHEN {alias}.reported AND NOT {alias}.fitted THEN 'not_fitted'"
        f" WHEN {alias}.opposing_adjusted THEN 'opposing_adjusted'"
        f" WHEN {alias}.restoration_adjusted THEN 'restoration_adjusted'"
        f" WHEN {alias}.reported THEN 'as_delivered' ELSE 'not_reported' END"
    )


def _outcome_where(scope: AuditScope, alias: str) -> str:
    """Return the condition of the outcome asked for.

    With a verdict at submission it is one way of the flow, which knows one outcome of
    each restoration; alone it is what a rate counts, and both may hold at once.
    """
    asked = scope.filters.outcome
    counted = {
        "remade": remade_sql(scope, alias),
        "internal": internal_sql(scope, alias),
        "adverse": adverse_sql(scope, alias),
    }
    if asked in counted:
        return counted[asked]
    if asked in {"flagged", "accepted", "reported"} or (
        asked in {"opposing_adjusted", "restoration_adjusted", "as_delivered"}
        and not scope.filters.first_verdict
    ):
        return f"{alias}.{asked}"
    return f"{outcome_sql(scope, alias)} = %(outcome)s"
