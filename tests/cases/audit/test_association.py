"""Fisher, Cochran-Armitage and both by clusters, against outside examples."""

import numpy as np
import pytest
from scipy.stats import fisher_exact
from statsmodels.genmod.cov_struct import Independence
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_estimating_equations import GEE
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.stats.contingency_tables import StratifiedTable, Table

from cases.audit import association
from cases.audit.association import (
    clustered_difference,
    clustered_trend,
    fisher,
    trend,
    within_clusters,
)
from cases.audit.intervals import wilson
from tests.cases.audit.present import present

# PMC7147961, table 3: technicians' rating of occlusal reduction of 3,308 single-unit
# preparations, and how many of the crowns fitted only "acceptably" at delivery (the
# rest "excellent" or "good"): (order, acceptable, n).
EXCESSIVE, ADEQUATE, INSUFFICIENT = (0, 22, 311), (1, 399, 2830), (2, 36, 167)
# The paper's own p of that table, from a mixed model with patients within dentists.
PUBLISHED_P = 0.04


def test_insufficient_reduction_as_published():
    assert (sum(row[2] for row in (EXCESSIVE, ADEQUATE, INSUFFICIENT))) == 3308
    assert wilson(167, 3308) == pytest.approx((0.043530, 0.058480), abs=5e-7)
    assert round(167 / 3308, 2) == 0.05
    # "Excellent or good" was published as 78, 86 and 93 per cent.
    shares = [1 - count / n for _, count, n in (INSUFFICIENT, ADEQUATE, EXCESSIVE)]
    assert [round(share, 2) for share in shares] == [0.78, 0.86, 0.93]


def test_the_naive_trend_overstates_what_was_published():
    found = present(trend([EXCESSIVE, ADEQUATE, INSUFFICIENT]))
    assert found.z == pytest.approx(4.522504, abs=5e-7)
    assert found.z**2 == pytest.approx(20.453, abs=5e-4)
    assert found.p == pytest.approx(6.1e-6, abs=5e-8)
    # Taking 3,308 crowns of 205 dentists for independent makes the same table look
    # thousands of times less likely by chance than its authors found it.
    assert found.p < PUBLISHED_P / 1000


def test_statsmodels_own_statistic_of_the_published_table():
    # ``Table.test_ordinal_association`` on (acceptable, better), which divides by N - 1.
    table = np.array([(22, 289), (399, 2431), (36, 131)])
    theirs = Table(table, shift_zeros=False).test_ordinal_association()
    assert theirs.statistic == 2693
    assert theirs.zscore == pytest.approx(-4.5218, abs=5e-5)
    ours = present(trend([EXCESSIVE, ADEQUATE, INSUFFICIENT])).z
    assert ours == pytest.approx(-theirs.zscore * np.sqrt(3308 / 3307))


@pytest.mark.parametrize(
    ("table", "odds_ratio", "p"),
    [
        # scipy documentation, ``fisher_exact``.
        ((8, 2, 1, 5), 20.0, 0.0349650),
        # Fisher's lady tasting tea; two-sided.
        ((3, 1, 1, 3), 9.0, 0.485714),
        # PMC7147961 as above: insufficient against adequate.
        ((36, 131, 399, 2431), 1.674339, 0.0123236),
    ],
)
def test_fisher_exact(table, odds_ratio, p):
    found = present(fisher(*table))
    assert found.odds_ratio == pytest.approx(odds_ratio, abs=5e-7)
    assert found.p == pytest.approx(p, abs=5e-7)


def test_the_tea_test_one_sided():
    # Both sides of that table are alike, so half of the two-sided p.
    one_sided = fisher_exact([[3, 1], [1, 3]], alternative="greater").pvalue
    assert one_sided == pytest.approx(0.242857, abs=5e-7)
    assert present(fisher(3, 1, 1, 3)).p == pytest.approx(2 * one_sided)


def test_fisher_without_anything_to_compare():
    assert fisher(0, 0, 3, 4) is None
    assert fisher(3, 4, 0, 0) is None
    assert fisher(0, 3, 0, 4) is None
    assert fisher(3, 0, 4, 0) is None
    assert present(fisher(3, 0, 1, 4)).odds_ratio is None
    assert present(fisher(0, 3, 1, 4)).odds_ratio == 0


@pytest.mark.parametrize(
    ("rows", "z", "p"),
    [
        # R, help of ``prop.trend.test`` (smokers among patients, from Fleiss 1981).
        (
            [(1, 83, 86), (2, 90, 93), (3, 129, 136), (4, 70, 82)],
            -2.8679125,
            0.00413190,
        ),
        # R package CATT, its example.
        ([(0, 10, 30), (1, 20, 40), (2, 30, 50)], 2.284161, 0.0223621),
        # R package DescTools, ``CochranArmitageTest``: lungtumor, 10 of each.
        ([(1, 10, 10), (2, 9, 10), (3, 10, 10), (4, 7, 10)], -1.885618, 0.0593464),
    ],
)
def test_cochran_armitage(rows, z, p):
    found = present(trend(rows))
    assert found.z == pytest.approx(z, abs=5e-7)
    assert found.p == pytest.approx(p, abs=5e-8)
    assert present(
        trend([(10 * score + 3, c, n) for score, c, n in rows])
    ).z == pytest.approx(z)


def test_chi_square_of_the_help_of_prop_trend_test():
    found = present(trend([(1, 83, 86), (2, 90, 93), (3, 129, 136), (4, 70, 82)]))
    assert found.z**2 == pytest.approx(8.224922, abs=5e-7)


@pytest.mark.parametrize(
    "rows",
    [
        [],
        [(0, 0, 0)],
        [(0, 3, 9)],
        [(0, 0, 9), (1, 0, 9)],
        [(0, 9, 9), (1, 9, 9)],
        [(0, 3, 9), (1, 0, 0)],
        [(2, 3, 9), (2, 1, 9)],
    ],
)
def test_no_trend_without_variation(rows):
    assert trend(rows) is None


def clustered_cells(seed, clusters, *, alike=0.15, rate=0.12, scores=5):
    """Return cells without any effect of the score, cases of one cluster alike.

    Each cluster has a rate of its own (beta with intraclass correlation ``alike``) and
    cases of some scores rather than others.
    """
    random = np.random.default_rng(seed)
    cells = []
    for cluster in range(clusters):
        own = random.beta(rate * (1 / alike - 1), (1 - rate) * (1 / alike - 1))
        sizes = random.multinomial(
            random.integers(30, 120), random.dirichlet([0.8] * scores)
        )
        cells += [
            (f"c{cluster}", score, int(random.binomial(n, own)), int(n))
            for score, n in enumerate(sizes)
        ]
    return cells


def single_cases(cells):
    return np.array(
        [
            (int(cluster[1:]), score, happened)
            for cluster, score, count, n in cells
            for happened in [1] * count + [0] * (n - count)
        ],
        dtype=float,
    ).T


def test_aggregated_clusters_are_as_single_cases():
    cells = clustered_cells(3, 45)
    groups, scores, outcome = single_cases(cells)
    design = np.column_stack([np.ones_like(scores), scores])
    fitted = GLM(outcome, design, family=Binomial()).fit(
        cov_type="cluster", cov_kwds={"groups": groups.astype(int), "use_correction": 0}
    )
    found = present(clustered_trend(cells))
    assert found.clusters == 45
    assert found.odds_ratio == pytest.approx(np.exp(fitted.params[1]), rel=1e-9)
    error = fitted.bse[1] * np.sqrt(45 / 44)
    assert found.z == pytest.approx(fitted.params[1] / error, rel=1e-8)


def test_as_estimating_equations_with_independence():
    cells = clustered_cells(4, 45)
    groups, scores, outcome = single_cases(cells)
    design = np.column_stack([np.ones_like(scores), scores])
    fitted = GEE(
        outcome, design, groups, family=Binomial(), cov_struct=Independence()
    ).fit()
    found = present(clustered_trend(cells))
    assert found.odds_ratio == pytest.approx(np.exp(fitted.params[1]), rel=1e-6)
    assert found.z == pytest.approx(fitted.tvalues[1], rel=0.02)


def test_jackknife_and_sandwich_agree_where_there_are_many(monkeypatch):
    cells = clustered_cells(5, 120)
    sandwich = present(clustered_trend(cells))
    monkeypatch.setattr(association, "SANDWICH_FROM", 1000)
    jackknife = present(clustered_trend(cells))
    assert jackknife.odds_ratio == sandwich.odds_ratio
    assert jackknife.z == pytest.approx(sandwich.z, rel=0.1)


@pytest.mark.parametrize("clusters", [8, 20, 45])
def test_false_alarms_where_there_is_nothing_but_clusters(clusters):
    """At 5 % the naive test cries out far too often, the clustered one about as often.

    200 data sets without effect: at a true 5 % more than 20 (10 %) would be a rare
    chance (binomial, about one in a thousand).
    """
    naive = clustered = tested = 0
    for seed in range(200):
        cells = clustered_cells(1000 * clusters + seed, clusters)
        found = clustered_trend(cells)
        if found is None:
            continue
        tested += 1
        clustered += found.p < 0.05
        naive += present(trend([cell[1:] for cell in cells])).p < 0.05
    assert tested >= 190
    assert naive / tested > 0.15
    assert clustered / tested <= 0.10


def test_a_true_effect_is_found_by_the_clustered_test():
    random = np.random.default_rng(11)
    cells = []
    for cluster in range(20):
        for score in range(5):
            odds = np.exp(-3 + 0.5 * score + 0.3 * random.standard_normal())
            cells.append((cluster, score, random.binomial(60, odds / (1 + odds)), 60))
    found = present(clustered_trend(cells))
    assert found.p < 1e-4
    assert found.odds_ratio == pytest.approx(np.exp(0.5), rel=0.2)


def test_difference_is_the_trend_of_two_groups():
    cells = [(c, s, k, n) for c, s, k, n in clustered_cells(6, 12) if s in {0, 1}]
    assert clustered_difference(
        [(c, s == 1, k, n) for c, s, k, n in cells]
    ) == clustered_trend(cells)
    # One step of the score is the whole odds ratio of the pooled table.
    sums = [[sum(c[i] for c in cells if c[1] == s) for i in (2, 3)] for s in (0, 1)]
    (none, without), (some, with_it) = sums
    pooled = some * (without - none) / (none * (with_it - some))
    assert present(clustered_trend(cells)).odds_ratio == pytest.approx(pooled, rel=1e-6)


@pytest.mark.parametrize(
    "cells",
    [
        [],
        [(c, s, 2, 9) for c in range(4) for s in (0, 1)],
        [(c, s, 0, 9) for c in range(8) for s in (0, 1)],
        [(c, s, 9, 9) for c in range(8) for s in (0, 1)],
        [(c, 1, 2 + c % 3, 9) for c in range(8)],
        [(c, s, 9 * s, 9) for c in range(8) for s in (0, 1)],
        [(c, s, 3 * s, 9) for c in range(8) for s in (0, 1)],
        [(c, s, 3 if c == 0 else 0, 9) for c in range(8) for s in (0, 1)],
        [(c, s, 3, 9) for c in range(8) for s in (0, 1, 2)],
        [(c, s, 3, 9) for c in range(50) for s in (0, 1, 2)],
        [(c, s, 3, 9 if c < 4 else 0) for c in range(8) for s in (0, 1)],
    ],
    ids=[
        "nothing",
        "few clusters",
        "none happened",
        "all happened",
        "one score",
        "separated",
        "none at the lowest score",
        "all in one cluster",
        "clusters all alike",
        "many clusters all alike",
        "empty clusters",
    ],
)
def test_nothing_is_said_where_nothing_can_be(cells):
    if cells and cells[-1][3] == 0:
        cells = [(c, s, min(k, n), n) for c, s, k, n in cells]
    assert clustered_trend(cells) is None


def test_within_clusters_is_mantels_of_several_tables():
    # (with, of) with and without, by cluster; statsmodels has it for two scores.
    tables = [((8, 30), (5, 40)), ((3, 12), (2, 25)), ((20, 60), (9, 50))]
    cells = [
        (who, float(score), count, n)
        for who, pair in enumerate(tables)
        for score, (count, n) in zip((1, 0), pair, strict=True)
    ]
    stacked = [
        np.array([[count, n - count] for count, n in pair], dtype=float)
        for pair in tables
    ]
    theirs = StratifiedTable(stacked).test_null_odds(correction=False)
    ours = present(within_clusters(cells))
    assert ours.z**2 == pytest.approx(theirs.statistic)
    assert ours.p == pytest.approx(theirs.pvalue)


def test_within_one_cluster_is_the_trend_by_n_less_one():
    rows = [EXCESSIVE, ADEQUATE, INSUFFICIENT]
    ours = present(within_clusters([("only", *row) for row in rows]))
    assert ours.z == pytest.approx(4.5218, abs=5e-5)


def test_what_lies_between_clusters_is_nothing_within_them():
    # Simpson: the cluster with the higher score is worse, whatever its scores.
    cells = [
        ("a", 0.0, 2, 40),
        ("a", 1.0, 2, 40),
        ("b", 2.0, 30, 60),
        ("b", 1.0, 15, 30),
    ]
    assert abs(present(within_clusters(cells)).z) < 1e-9
    assert present(trend([(s, c, n) for _, s, c, n in cells])).p < 0.01
    assert within_clusters([("a", 0.0, 2, 40), ("b", 1.0, 20, 40)]) is None
