"""Ways out in words: one figure where the measured value left one."""

import pytest

from cases.services.checks import rule_set_for
from cases.views.ways import option_rows


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.4, 0.4, "Palatal cusps: 0.4 mm"),
        (0, 0.5, "Palatal cusps: 0.0 to 0.5 mm"),
    ],
)
def test_a_depth_is_one_figure_or_two(db: None, low: float, high: float, said: str):
    option = {
        "kind": "re_preparation",
        "feasible": True,
        "depth_mm": {"lingual_cusps": {"low": low, "high": high}},
    }
    (row,) = option_rows([option], rule_set=rule_set_for(""), tooth="16")

    assert row.depths == (said,)
