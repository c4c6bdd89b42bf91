"""Whether two things go together: Fisher's exact test, trend, and both by clusters."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import exp, sqrt
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import fisher_exact, norm, t
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.stats.contingency_tables import Table

__all__ = [
    "LEAST_CLUSTERS",
    "SANDWICH_FROM",
    "Clustered",
    "Fisher",
    "LinearTrend",
    "clustered_difference",
    "clustered_trend",
    "fisher",
    "trend",
    "within_clusters",
]

# With fewer the variance between clusters is hardly known.
LEAST_CLUSTERS: Final = 5
# Below some forty clusters the sandwich is too small (rule of thumb, as in Angrist and
# Pischke, Mostly Harmless Econometrics, chapter 8; from memory).
SANDWICH_FROM: Final = 40


@dataclass(frozen=True, slots=True)
class Fisher:
    """``odds_ratio`` is None where it is infinite; ``p`` is two-sided."""

    odds_ratio: float | None
    p: float


@dataclass(frozen=True, slots=True)
class LinearTrend:
    """``z`` is positive where the proportion rises with the score; ``p`` two-sided."""

    z: float
    p: float


@dataclass(frozen=True, slots=True)
class Clustered:
    """``z``: estimate over its robust error, judged by Student's t; ``p`` two-sided.

    ``odds_ratio`` is that of one step of the score.
    """

    z: float
    p: float
    clusters: int
    odds_ratio: float


def fisher(a: int, b: int, c: int, d: int) -> Fisher | None:
    """Return Fisher's exact test of the table (a, b), (c, d).

    The odds ratio is ad / bc. None where a row or a column is empty: nothing to compare.

    Source: by scipy (``fisher_exact``).
    """
    if 0 in {a + b, c + d, a + c, b + d}:
        return None
    found = fisher_exact([[a, b], [c, d]])
    ratio = None if b * c == 0 else a * d / (b * c)
    return Fisher(ratio, float(found.pvalue))


def trend(rows: Sequence[tuple[float, int, int]]) -> LinearTrend | None:
    """Return the Cochran-Armitage test for (score, count, n).

    None where there is no variation: one score only, or a count of 0, or of all.

    Source: Armitage, Biometrics 1955;11:375-386 (from memory); by statsmodels
    (``Table.test_ordinal_association``), whose variance divides by N - 1: scaled here
    to N, which is what R's ``prop.trend.test`` gives.
    """
    used = [row for row in rows if row[2] > 0]
    count, total = sum(row[1] for row in used), sum(row[2] for row in used)
    if len({row[0] for row in used}) < 2 or count in {0, total}:
        return None
    table = Table(
        np.array([(n - of, of) for _, of, n in used], dtype=float), shift_zeros=False
    )
    found = table.test_ordinal_association(
        row_scores=np.array([score for score, _, _ in used], dtype=float),
        col_scores=np.array([0.0, 1.0]),
    )
    z = float(found.zscore) * sqrt(total / (total - 1))
    return LinearTrend(z, float(2 * norm.sf(abs(z))))


def clustered_trend(
    cells: Sequence[tuple[Hashable, float, int, int]],
) -> Clustered | None:
    """Return the trend of (cluster, score, count, n) that allows for clusters.

    A logistic regression on the score, whose error allows for cases of one clinician
    being alike: from ``SANDWICH_FROM`` clusters on by the robust variance by clusters
    (times G / (G - 1)), with fewer, where that is known to be too small, by leaving out
    one cluster after another; either judged by Student's t with G - 1 degrees of
    freedom. None below ``LEAST_CLUSTERS`` clusters; where the scores separate the
    outcomes (no finite odds ratio), with all clusters or without a single one, on which
    everything would then rest; and where all clusters say exactly the same.

    Source: Liang and Zeger, Biometrika 1986;73:13-22 (from memory), by statsmodels
    (``GLM`` with ``cov_type="cluster"``). Jackknife: MacKinnon, Nielsen and Webb,
    Queen's Economics Department Working Paper 1485 (CRV3), which statsmodels offers for
    linear models only; the fits are its own.
    """
    used = [cell for cell in cells if cell[3] > 0]
    numbers = {name: i for i, name in enumerate(dict.fromkeys(c[0] for c in used))}
    if len(numbers) < LEAST_CLUSTERS:
        return None
    # What happened and what did not in rows of their own: the same estimates, and no
    # row is ever fitted exactly, which statsmodels would take for separation.
    rows = [
        (numbers[cluster], score, *row)
        for cluster, score, count, n in used
        for row in ((count, 0), (0, n - count))
        if any(row)
    ]
    data = _Data(*np.array(rows, dtype=float).T)
    if data.separated:
        return None
    fitted = data.fit(
        cov_type="cluster",
        cov_kwds={"groups": data.groups.astype(int), "use_correction": False},
    )
    slope, clusters = float(fitted.params[1]), len(numbers)
    if clusters < SANDWICH_FROM:
        error = _jackknife(data, fitted.params, clusters)
    else:
        error = float(fitted.bse[1]) * sqrt(clusters / (clusters - 1))
    if error is None or error < 1e-9:
        return None
    z = slope / error
    return Clustered(z, float(2 * t.sf(abs(z), clusters - 1)), clusters, exp(slope))


def clustered_difference(
    cells: Sequence[tuple[Hashable, bool, int, int]],
) -> Clustered | None:
    """Return how (cluster, in the second group, count, n) differs between two groups.

    As ``clustered_trend`` with the scores 0 and 1: the odds ratio is that of the second
    group against the first.
    """
    return clustered_trend(
        [(cluster, float(second), count, n) for cluster, second, count, n in cells]
    )


def within_clusters(
    cells: Sequence[tuple[Hashable, float, int, int]],
) -> LinearTrend | None:
    """Return the trend of (cluster, score, count, n) inside the clusters alone.

    Each cluster's cases are compared with one another only, and what is found is summed:
    how much clusters differ from each other plays no part, so it holds with a few, and
    with one is ``trend`` with a variance by N - 1. It speaks of these clusters, not of
    others like them. None where no cluster has both scores and outcomes that vary.

    Source: Mantel, JASA 1963;58:690-700 (from memory). statsmodels has it for two scores
    only (``StratifiedTable.test_null_odds``), to which tests compare it.
    """
    strata: dict[Hashable, list[tuple[float, int, int]]] = {}
    for cluster, score, count, n in cells:
        strata.setdefault(cluster, []).append((score, count, n))
    surplus = variance = 0.0
    for rows in strata.values():
        count, n = sum(row[1] for row in rows), sum(row[2] for row in rows)
        if n < 2:
            continue
        mean = sum(score * of for score, _, of in rows) / n
        squares = sum(of * (score - mean) ** 2 for score, _, of in rows)
        surplus += sum(score * some for score, some, _ in rows) - count * mean
        variance += count * (n - count) * squares / (n * (n - 1))
    if variance < 1e-12:
        return None
    z = surplus / sqrt(variance)
    return LinearTrend(z, float(2 * norm.sf(abs(z))))


@dataclass(frozen=True, slots=True)
class _Data:
    """Rows for a logistic regression on one score."""

    groups: NDArray[np.float64]
    scores: NDArray[np.float64]
    happened: NDArray[np.float64]
    not_so: NDArray[np.float64]

    @property
    def separated(self) -> bool:
        """Whether the scores part what happened from what did not, but for one."""
        yes, no = self.scores[self.happened > 0], self.scores[self.not_so > 0]
        if not yes.size or not no.size:
            return True
        return bool(yes.max() <= no.min() or no.max() <= yes.min())

    def without(self, group: int) -> "_Data":
        """Return the rows of all clusters but one."""
        kept = self.groups != group
        return _Data(
            self.groups[kept], self.scores[kept], self.happened[kept], self.not_so[kept]
        )

    def fit(self, **settings: Any) -> Any:
        """Return statsmodels' results; the score's coefficient is the second."""
        return GLM(
            np.column_stack([self.happened, self.not_so]),
            np.column_stack([np.ones_like(self.scores), self.scores]),
            family=Binomial(),
        ).fit(**settings)


def _jackknife(data: _Data, params: NDArray[np.float64], clusters: int) -> float | None:
    """Return the error of the slope, None where it hangs on one cluster alone."""
    squares = 0.0
    for group in range(clusters):
        rest = data.without(group)
        if rest.separated:
            return None
        slope = rest.fit(start_params=params).params[1]
        squares += float(slope - params[1]) ** 2
    return sqrt(squares * (clusters - 1) / clusters)
