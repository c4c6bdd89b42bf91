"""Where each site lies on the drawn tooth.

Coordinates are those of ``outlines``: x to mesial, y to buccal. A site that is a
whole row is one band over the row; it is never split into marks on its cusps,
because the reading does not say which cusp it was.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from cases.drawings.outlines import Outline
from cases.drawings.svg import Point

__all__ = ["ROWS", "SITES", "Region", "region_for"]

ROWS: Final = frozenset({"buccal_cusps", "lingual_cusps"})

# Drawing order: what lies outside or underneath comes first. Design section 3.
SITES: Final = (
    "finish_line",
    "implant_platform",
    "facial_wall",
    "lingual_wall",
    "mesial_wall",
    "distal_wall",
    "facial_surface",
    "lingual_surface",
    "facioincisal_surface",
    "incisal_edge",
    "functional_cusp_bevel",
    "marginal_ridge",
    "buccal_cusps",
    "lingual_cusps",
    "central_fossa",
    "mesiobuccal_cusp",
    "distobuccal_cusp",
    "distal_cusp",
    "mesiolingual_cusp",
    "distolingual_cusp",
)


@dataclass(frozen=True, slots=True)
class Region:
    """Bands of a width (drawing units) along lines, and where the mark sits.

    A line of a single point is a round spot. ``contour`` marks the outline as a
    whole instead; ``upright`` sets the letter below the glyph where the band
    runs across the row of teeth.
    """

    lines: tuple[tuple[Point, ...], ...]
    width: float
    mark: Point
    contour: bool = False
    upright: bool = False


def _band(*points: Point, width: float, upright: bool = False) -> Region:
    return Region((points,), width, points[len(points) // 2], upright=upright)


_WALLS: Final[dict[str, Region]] = {
    "finish_line": Region((), 0, (-0.96, -1.02), contour=True),
    # Under the crown and around its seat; an implant crown has no finish line.
    "implant_platform": Region((), 0, (-0.96, -1.02), contour=True),
    "facial_wall": _band((-0.6, 1.17), (0, 1.19), (0.6, 1.17), width=13),
    "lingual_wall": _band((-0.6, -1.17), (0, -1.19), (0.6, -1.17), width=13),
    "mesial_wall": _band((1.2, -0.5), (1.22, 0), (1.2, 0.5), width=13, upright=True),
    "distal_wall": _band((-1.2, -0.5), (-1.22, 0), (-1.2, 0.5), width=13, upright=True),
}
_ANTERIOR: Final[dict[str, Region]] = _WALLS | {
    "marginal_ridge": Region(
        (
            ((0.7, 0.1), (0.62, -0.12), (0.48, -0.4)),
            ((-0.7, 0.1), (-0.62, -0.12), (-0.48, -0.4)),
        ),
        15,
        (0.62, -0.12),
        upright=True,
    ),
    "central_fossa": _band((0.0, -0.1), width=30),
    "facial_surface": _band((-0.45, 0.82), (0, 0.9), (0.45, 0.84), width=17),
    "facioincisal_surface": _band((-0.6, 0.62), (0, 0.7), (0.6, 0.62), width=17),
    "incisal_edge": _band((-0.66, 0.36), (0, 0.42), (0.66, 0.38), width=19),
    "lingual_surface": _band((-0.16, -0.32), (0, -0.34), (0.16, -0.32), width=34),
}
_POSTERIOR: Final[dict[str, Region]] = _WALLS | {
    "facial_surface": _band((-0.5, 0.93), (0, 0.98), (0.5, 0.93), width=13),
    "lingual_surface": _band((-0.5, -0.93), (0, -0.98), (0.5, -0.93), width=13),
    "incisal_edge": _band((-0.4, 0.2), (0, 0.2), (0.4, 0.2), width=15),
    "facioincisal_surface": _band((-0.4, 0.75), (0, 0.78), (0.4, 0.75), width=15),
    "marginal_ridge": Region(
        (
            ((0.8, -0.22), (0.83, 0), (0.8, 0.22)),
            ((-0.8, -0.22), (-0.83, 0), (-0.8, 0.22)),
        ),
        16,
        (0.83, 0),
        upright=True,
    ),
    "central_fossa": _band((0.02, 0.0), width=38),
}


def _bevel(side: int) -> Region:
    return _band((-0.4, side * 0.92), (0, side * 0.97), (0.4, side * 0.92), width=17)


def _molar_row(tips: list[Point], side: int) -> Region:
    """Return the band over a row, its mark between two cusps rather than on one."""
    path = tuple(tips)
    mark = ((tips[0][0] + tips[1][0]) / 2, (tips[0][1] + tips[1][1]) / 2)
    return Region((path,), 32, (mark[0], side * abs(mark[1])))


_PREMOLAR_ROW: Final[Mapping[int, Region]] = MappingProxyType(
    {
        1: _band((-0.42, 0.5), (0, 0.56), (0.42, 0.5), width=30),
        -1: _band((-0.36, -0.54), (0, -0.6), (0.36, -0.54), width=28),
    }
)


def _row(shape: Outline, side: int) -> Region:
    tips = sorted((t for t in shape.cusps.values() if t[1] * side > 0), reverse=True)
    if shape.family == "premolar" or len(tips) < 2:
        return _PREMOLAR_ROW[side]
    return _molar_row(tips, side)


def region_for(shape: Outline, site: str, functional_buccal: bool) -> Region:
    """Return where a site lies on a shape.

    ``functional_buccal`` says on which side the functional cusps are, which is
    where the bevel lies. A single cusp that this shape does not draw falls back
    on the row it belongs to. Raises KeyError for a site that is none of design
    section 3.
    """
    if site in ROWS:
        return _row(shape, 1 if site == "buccal_cusps" else -1)
    if site == "functional_cusp_bevel":
        return _bevel(1 if functional_buccal else -1)
    if site.endswith("_cusp") and site in SITES:
        tip = shape.cusps.get(site)
        if tip is None:
            return _row(shape, -1 if "lingual" in site else 1)
        return _band(tip, width=30)
    table = _ANTERIOR if shape.family == "anterior" else _POSTERIOR
    return table[site]
