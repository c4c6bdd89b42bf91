from pathlib import Path

import pytest

from cases.drawings import palette
from cases.drawings.contrast import PAIRS, contrast_ratio, tokens_of

SHEET = Path(__file__).parents[3] / "cases" / "static" / "cases" / "app.css"
TOKENS = tokens_of(SHEET.read_text())


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        # WCAG 2.2, definition of contrast ratio: from 1 to 21.
        ("#000000", "#ffffff", 21.0),
        ("#ffffff", "#ffffff", 1.0),
        # The grey commonly quoted as the lightest that passes on white
        # (from memory: 4.54).
        ("#767676", "#ffffff", 4.54),
    ],
)
def test_contrast_ratio_is_that_of_wcag(one, other, ratio):
    assert contrast_ratio(one, other) == pytest.approx(ratio, abs=0.01)


@pytest.mark.parametrize("name", ["light", "dark", "laboratory"])
@pytest.mark.parametrize(("ink", "ground", "least"), PAIRS)
def test_colours_can_be_told_apart(name, ink, ground, least):
    tokens = TOKENS[name]
    assert contrast_ratio(tokens[ink], tokens[ground]) >= least


def test_dark_and_laboratory_really_differ_from_light():
    assert TOKENS["dark"]["paper"] != TOKENS["light"]["paper"]
    assert TOKENS["dark"].keys() == TOKENS["light"].keys()
    assert TOKENS["laboratory"]["bar"] != TOKENS["light"]["bar"]


def test_drawings_use_the_colours_of_the_sheet():
    light = TOKENS["light"]
    names = {
        "ink": palette.INK,
        "ink-2": palette.INK_2,
        "edge": palette.HAIR,
        "line": palette.FAINT,
        "surface": palette.SURFACE,
        "chart-tooth": palette.TOOTH,
        "chart-room": palette.ROOM,
    }
    names |= {key.replace("_", "-"): value for key, value in palette.VERDICT.items()}
    assert {name: light[name] for name in names} == names
