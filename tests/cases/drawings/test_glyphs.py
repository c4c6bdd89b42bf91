import math
from itertools import combinations
from pathlib import Path

import pytest

from cases.drawings.glyphs import GLYPHS, glyph, glyph_svg
from cases.drawings.palette import VERDICT
from tests.cases.drawings.reading import SVG, parsed

# Design section 3: the five verdicts.
FIVE = {"sufficient", "insufficient", "undecided", "unmeasured", "not_applicable"}
SPRITE = Path(__file__).parents[3] / "templates" / "parts" / "_sprite.html"


def test_each_verdict_has_a_shape_and_a_colour_of_its_own():
    assert set(GLYPHS) == FIVE == set(VERDICT)
    assert len(set(GLYPHS.values())) == len(FIVE) == len(set(VERDICT.values()))


def _cells(verdict, steps=24):
    """Which cells of a grid the shape covers, by the even-odd rule."""
    polygons = [_flattened(part) for part in GLYPHS[verdict].split("M") if part]
    size = 16 / steps
    return {
        (column, row)
        for column in range(steps)
        for row in range(steps)
        if sum(
            _inside((column + 0.5) * size, (row + 0.5) * size, polygon)
            for polygon in polygons
        )
        % 2
    }


def _flattened(part):
    """Corner points of one outline; an arc counts by its ends and its bulge."""
    tokens = part.replace("Z", "").replace("A", " A ").replace("L", " L ")
    tokens = tokens.replace("H", " H ").replace("V", " V ").split()
    points: list[tuple[float, float]] = []
    i, mode = 0, "L"
    while i < len(tokens):
        if tokens[i] in "ALHV":
            mode, i = tokens[i], i + 1
            continue
        if mode == "A":
            points += _arc(points[-1], [float(t) for t in tokens[i : i + 7]])
            i += 7
        elif mode == "H":
            points.append((float(tokens[i]), points[-1][1]))
            i += 1
        elif mode == "V":
            points.append((points[-1][0], float(tokens[i])))
            i += 1
        else:
            points.append((float(tokens[i]), float(tokens[i + 1])))
            i += 2
            mode = "L"
    return points


def _arc(start, values):
    """Points of an arc around the box's middle, which all our arcs turn about."""
    sweep, end = values[4], (values[5], values[6])
    begin = math.atan2(start[1] - 8, start[0] - 8)
    finish = math.atan2(end[1] - 8, end[0] - 8)
    if sweep and finish <= begin:
        finish += 2 * math.pi
    if not sweep and finish >= begin:
        finish -= 2 * math.pi
    radius = math.hypot(end[0] - 8, end[1] - 8)
    turns = [begin + (finish - begin) * k / 12 for k in range(1, 13)]
    return [(8 + radius * math.cos(t), 8 + radius * math.sin(t)) for t in turns]


def _inside(x, y, polygon):
    crossings = 0
    for (ax, ay), (bx, by) in zip(polygon, [*polygon[1:], polygon[0]], strict=True):
        if (ay > y) != (by > y) and x < (bx - ax) * (y - ay) / (by - ay) + ax:
            crossings += 1
    return crossings % 2


@pytest.mark.parametrize(("one", "other"), list(combinations(sorted(FIVE), 2)))
def test_shapes_differ_without_colour(one, other):
    """Two shapes share less than half of the ground that either covers."""
    first, second = _cells(one), _cells(other)
    assert len(first) > 10
    assert len(second) > 10
    assert len(first & second) / len(first | second) < 0.6


def test_unknown_verdict_is_refused():
    with pytest.raises(KeyError):
        glyph("fine", 0, 0, 16)


def test_picture_is_named_or_hidden():
    named, hidden = (
        parsed(glyph_svg("undecided", size=10, word=word)) for word in ("<b>", "")
    )
    assert (named.get("role"), named[0].tag, named[0].text) == (
        "img",
        f"{SVG}title",
        "<b>",
    )
    assert (hidden.get("role"), hidden.get("aria-hidden")) == (None, "true")


def test_sprite_of_the_pages_holds_the_same_shapes():
    sprite = SPRITE.read_text()
    for verdict, path in GLYPHS.items():
        assert f'<symbol id="v-{verdict}" viewBox="0 0 16 16">' in sprite
        assert f'd="{path}"' in sprite
