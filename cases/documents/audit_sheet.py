"""What the audit's report prints: sections of a picture, sentences and tables."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from cases.audit.funnel import LEAST_CLINICS
from cases.audit.report_types import (
    AuditReport,
    DoseResponse,
    Opposing,
    RateTable,
    Setup,
)
from cases.documents import audit_grids as grids
from cases.documents.audit_lines import Grid, decimals, p_said, percent, said

__all__ = ["Heading", "Section", "Sheet", "audit_sheet"]

Pictures = Mapping[str, SafeString]
_NO_PICTURE = SafeString("")


@dataclass(frozen=True, slots=True)
class Heading:
    """What stands at the head of the report, in words.

    ``filters``: (what is narrowed, to what); ``later``: why a month may still change.
    """

    organisation: str
    period: str
    as_of: str
    filters: Sequence[tuple[str, str]] = ()
    later: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with what stands below it."""

    title: str
    grids: tuple[Grid, ...] = ()
    picture: SafeString = _NO_PICTURE
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole report in words."""

    heading: Heading
    n: int
    share_reported: str
    findings: tuple[tuple[str, str], ...]
    headline: Grid
    sections: tuple[Section, ...]
    small_number: int
    least_cases: int
    suppressed: bool
    hides: bool = field(default=True)


def _over_time(trend: AuditReport, picture: SafeString) -> Section:
    chart = trend.control
    notes = [_("Over the months up to the end of the report's period.")]
    if chart.centre is not None:
        notes.append(
            _(
                "Laney p′ chart: centre {centre}, limits three sigma widened by what "
                "the months differ beyond chance (sigma z {sigma_z})."
            ).format(
                centre=percent(chart.centre),
                sigma_z=decimals(chart.sigma_z or 0, 2),
            )
        )
    return Section(_("Over time"), (grids.control_grid(trend),), picture, tuple(notes))


def _clinics(report: AuditReport, picture: SafeString) -> Section:
    found = report.funnel
    notes = []
    if found is not None and found.target is not None:
        notes.append(_("Common rate: {rate}.").format(rate=percent(found.target)))
    if found is not None and found.overdispersion is not None:
        notes.append(
            _("Overdispersion {phi}: 1 is what chance alone gives.").format(
                phi=decimals(found.overdispersion, 2)
            )
        )
    elif found is not None and found.target is not None:
        notes.append(
            _(
                "Clinics usually differ by more than chance; by how much cannot be said "
                "of fewer than {least}, so a clinic outside is one to look at, no more."
            ).format(least=LEAST_CLINICS)
        )
    tables = [grids.funnel_grid(report)]
    if report.alarms:
        tables.append(grids.alarm_grid(report))
    return Section(_("Clinics"), tuple(tables), picture, tuple(notes))


def _trend_said(dose: DoseResponse, setup: Setup) -> str:
    """Return what the tests say of one measure; nothing where there is none."""
    trend = dose.trend
    if trend is None:
        return ""
    parts = [
        _("{what}: trend over the classes (Cochran–Armitage) {p}.").format(
            what=said(setup, "measure", dose.measure), p=p_said(trend.p)
        )
    ]
    if trend.clustered_p is not None:
        parts.append(
            _(
                "Restorations of one clinician are alike; with {n} clinicians as "
                "clusters {p}. Trust this one."
            ).format(n=trend.clusters, p=p_said(trend.clustered_p))
        )
    elif trend.within_p is not None and setup.viewer != "clinician":
        parts.append(
            _(
                "Restorations of one clinician are alike; within each of {n} clinicians "
                "{p} (Mantel); that speaks of these alone."
            ).format(n=trend.clusters, p=p_said(trend.within_p))
        )
    elif setup.viewer != "clinician":
        parts.append(
            _(
                "Restorations of one clinician are alike, and there are too few "
                "clinicians to allow for it: the figure may look surer than it is."
            )
        )
    return " ".join(parts)


def _dose(report: AuditReport, pictures: Pictures) -> list[Section]:
    """Return a section for each check; the picture is that of its first measure."""
    titles = {
        "first": _("Clearance at submission and outcome"),
        "built": _("Clearance as built and outcome"),
    }
    setup = report.setup
    found = []
    for basis in dict.fromkeys(dose.basis for dose in report.dose if dose.rows):
        measures = [dose for dose in report.dose if dose.basis == basis and dose.rows]
        notes = (_trend_said(dose, setup) for dose in measures)
        found.append(
            Section(
                titles.get(basis, basis),
                tuple(grids.dose_grid(dose, setup) for dose in measures),
                pictures.get(f"dose-{basis}", _NO_PICTURE),
                tuple(note for note in notes if note),
            )
        )
    return found


def _opposing_said(found: Opposing) -> tuple[str, ...]:
    if found.p is None:
        return ()
    parts = [_("Fisher's exact test: {p}.").format(p=p_said(found.p))]
    if found.clustered_p is not None:
        parts.append(
            _("With {n} clinicians as clusters: {p}.").format(
                n=found.clusters, p=p_said(found.clustered_p)
            )
        )
    elif found.within_p is not None and found.clusters > 1:
        parts.append(
            _("Within each of {n} clinicians: {p} (Mantel).").format(
                n=found.clusters, p=p_said(found.within_p)
            )
        )
    parts.append(
        _(
            "Queries are raised where room is short, so the two groups differ from the "
            "start: the difference is not by itself what asking does."
        )
    )
    return tuple(parts)


def _rates(tables: Sequence[RateTable], report: AuditReport) -> Section:
    return Section(
        _("Rates"),
        tuple(grids.rate_grid(table, report.setup) for table in tables if table.rows),
    )


def audit_sheet(
    report: AuditReport,
    *,
    trend: AuditReport,
    heading: Heading,
    pictures: Pictures,
) -> Sheet:
    """Return the report in words; ``trend`` is the one whose months are charted."""

    def picture(name: str) -> SafeString:
        return pictures.get(name, _NO_PICTURE)

    sections = [_over_time(trend, picture("control"))]
    if report.causes:
        sections.append(
            Section(
                _("Causes"),
                (grids.cause_grid(report), *grids.remake_grids(report)),
                picture("pareto"),
            )
        )
    if report.funnel is not None:
        sections.append(_clinics(report, picture("funnel")))
    sections += _dose(report, pictures)
    sections.append(
        Section(
            _("Opposing teeth"),
            (grids.opposing_grid(report),),
            notes=_opposing_said(report.opposing),
        )
    )
    queries = [grids.waiting_grid(report)]
    if report.options:
        queries.append(grids.option_grid(report))
    raised = _("Queries about clearance raised in the period: {n}.")
    sections.append(
        Section(
            _("Queries"),
            tuple(queries),
            picture("waiting"),
            (raised.format(n=report.queries_raised),),
        )
    )
    if report.flow:
        sections.append(
            Section(
                _("What became of them"), (grids.flow_grid(report),), picture("flow")
            )
        )
    sections.append(_rates(list(report.rates.values()), report))
    setup = report.setup
    return Sheet(
        heading=heading,
        n=report.n,
        share_reported=percent(report.reported / report.n if report.n else None),
        findings=tuple(
            (
                _(found.text).format(**found.params),
                _(found.certainty).format(**found.params),
            )
            for found in report.findings
        ),
        headline=grids.headline_grid(report),
        sections=tuple(sections),
        small_number=setup.small_number,
        least_cases=setup.least_cases,
        suppressed=report.suppressed,
        hides=setup.small_number > 1,
    )
