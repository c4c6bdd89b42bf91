"""Opposing teeth adjusted at seating, without and with a query before dispatch.

The number the portal exists to bring down. Who is asked is not chosen by lot: queries
go to the tight preparations, so "with" starts from the worse place.
"""

from cases.audit.association import clustered_difference, fisher, within_clusters
from cases.audit.figures import Figures, OpposingCell
from cases.audit.report_types import Opposing, RateRow, Setup
from cases.audit.rows import Part, label_of, rate_rows
from cases.audit.shortage import rounded
from cases.audit.tables import seating_told, total_state

__all__ = ["opposing", "opposing_cells"]


def opposing(figures: Figures, setup: Setup) -> Opposing:
    """Return both rows and whether they differ; no test where a count is hidden.

    ``odds_ratio``: of those with a query against those without.
    """
    cells = opposing_cells(figures)
    state = total_state(setup, figures.total, "opposing_adjusted")
    if not seating_told(figures.total):
        # Shown beside the remakes, "none adjusted of so many" would tell them.
        cells, state = [], ""
    parts = [
        Part(
            key=key,
            label=label_of(setup, "opposing", key),
            n=sum(cell.reported for cell in cells if cell.flagged is flagged),
            count=sum(cell.adjusted for cell in cells if cell.flagged is flagged),
            most=sum(cell.reported for cell in cells if cell.flagged is flagged),
            cases={"flagged": said, "outcome": "opposing_adjusted"},
        )
        for key, flagged, said in (("without", False, "no"), ("with", True, "yes"))
    ]
    without, with_query = rate_rows(setup, parts, total=state)
    clusters = len({cell.clinician for cell in cells})
    if without.count is None or with_query.count is None:
        return Opposing(without, with_query, None, None, clusters, None)
    return _tested(without, with_query, cells, clusters)


def opposing_cells(figures: Figures) -> list[OpposingCell]:
    """Return the cells of all months."""
    return [cell for month in figures.months for cell in month.opposing]


def _tested(
    without: RateRow, with_query: RateRow, cells: list[OpposingCell], clusters: int
) -> Opposing:
    some, none = with_query.count or 0, without.count or 0
    exact = fisher(some, with_query.n - some, none, without.n - none)
    by_clinician: dict[tuple[str, bool], list[int]] = {}
    for cell in cells:
        one = by_clinician.setdefault((cell.clinician, cell.flagged), [0, 0])
        one[0] += cell.adjusted
        one[1] += cell.reported
    split = [(who, flag, count, n) for (who, flag), (count, n) in by_clinician.items()]
    clustered = clustered_difference(split)
    within = within_clusters(split)
    return Opposing(
        without=without,
        with_query=with_query,
        odds_ratio=exact.odds_ratio if exact else None,
        p=exact.p if exact else None,
        clusters=clusters,
        clustered_p=rounded(clustered.p) if clustered else None,
        within_p=rounded(within.p) if within else None,
    )
