"""The audit of one viewer, period and filter: the same for page, PDF, CSV and API."""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Final

from cases import policies
from cases.audit.comparison import Comparison, compare
from cases.audit.figures import Figures
from cases.audit.filters import AuditFilters
from cases.audit.report import build
from cases.audit.report_types import AuditReport, Labels, Setup
from cases.enums import Role
from cases.selectors.audit_labels import audit_labels
from cases.selectors.audit_months import audit_figures
from cases.selectors.audit_setup import audit_annotations, audit_settings, causes_for
from cases.tenancy import Actor

__all__ = ["audit_comparison", "audit_report", "audit_setup"]

_NO_WORDS: Final[Labels] = MappingProxyType({})


def _viewer(actor: Actor) -> str:
    return "clinician" if actor.role == Role.CLINICIAN else actor.side


def audit_setup(
    *,
    actor: Actor,
    filters: AuditFilters,
    figures: Figures,
    words: Labels = _NO_WORDS,
) -> Setup:
    """Return for whom figures are shown, and how carefully.

    ``words``: list -> key -> words of the reader's language; names of clinics, people
    and materials and the laboratory's own causes are added.
    """
    settings = audit_settings(actor=actor)
    viewer = _viewer(actor)
    # Nothing is hidden from oneself: a clinician sees own cases only.
    alone = viewer == "clinician"
    names: Mapping[str, Mapping[str, str]] = {
        **audit_labels(actor=actor, figures=figures),
        "cause": causes_for(actor=actor),
    }
    labels = {
        key: {**words.get(key, {}), **names.get(key, {})} for key in {*words, *names}
    }
    return Setup(
        viewer=viewer,
        first=filters.first,
        last=filters.last,
        as_of=figures.as_of,
        small_number=1 if alone else settings.small_number,
        least_cases=settings.least_cases,
        compare_people=settings.compare_people and not alone,
        labels=labels,
        annotations=audit_annotations(
            actor=actor, first=filters.first, last=filters.last
        ),
    )


def audit_report(
    *,
    actor: Actor,
    filters: AuditFilters,
    at: datetime,
    words: Labels = _NO_WORDS,
    charted_by: str = "",
) -> AuditReport:
    """Return everything the audit shows of one period and filter.

    ``charted_by``: "month", "quarter" or "half_year"; empty: what its numbers bear.

    Raises:
        NotAllowed: the role has no audit, or a person is asked for where people are
            not compared.
        NotFound: a clinic or person that is not the viewer's.
    """
    policies.require_right(actor, "audit")
    figures = audit_figures(actor=actor, filters=filters, at=at)
    earlier = audit_figures(actor=actor, filters=filters.before, at=at)
    setup = audit_setup(actor=actor, filters=filters, figures=figures, words=words)
    return build(figures, setup, before=earlier, charted_by=charted_by)


def audit_comparison(
    *,
    actor: Actor,
    filters: AuditFilters,
    before: AuditFilters,
    at: datetime,
    words: Labels = _NO_WORDS,
) -> Comparison:
    """Return what differs between two periods under the same filters.

    Raises:
        NotAllowed, NotFound: as ``audit_report``.
    """
    policies.require_right(actor, "audit")
    now = audit_figures(actor=actor, filters=filters, at=at)
    earlier = audit_figures(actor=actor, filters=before, at=at)
    both = Figures(months=(*earlier.months, *now.months), as_of=now.as_of)
    setup = audit_setup(actor=actor, filters=filters, figures=both, words=words)
    return compare(now, earlier, setup)
