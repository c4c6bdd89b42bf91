"""Occlusal outlines of the permanent teeth, drawn by us.

Every shape is given once, as an upper right tooth would lie: x runs from -1
(distal) to 1 (mesial), y from -1 (lingual) to 1 (buccal). ``Placement`` turns it
to its arch and side. The viewer faces the patient, so the patient's right lies
on the left of the picture and buccal points away from the mouth's middle.

The proportions are mean crown dimensions in millimetres, mesiodistal then
buccolingual (from memory of tooth anatomy tables; they give the drawing its
proportions and nothing is measured on it).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from cases.drawings.palette import HAIR, TOOTH
from cases.drawings.svg import Point, closed_curve, open_curve, tag

__all__ = ["Outline", "Placement", "outline_for", "outline_paths", "tooth_class"]


@dataclass(frozen=True, slots=True)
class Outline:
    """One shape: its contour, its grooves and the tips of its single cusps."""

    family: str
    contour: tuple[Point, ...]
    grooves: tuple[tuple[Point, ...], ...]
    cusps: Mapping[str, Point]


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a shape lies in the drawing: centre, half sizes and turn."""

    x: float
    y: float
    half_width: float
    half_depth: float
    mesial_right: bool
    buccal_up: bool

    def at(self, point: Point) -> Point:
        """Return drawing coordinates of a point of the shape."""
        turn = 1 if self.mesial_right else -1
        lift = -1 if self.buccal_up else 1
        return (
            self.x + turn * point[0] * self.half_width,
            self.y + lift * point[1] * self.half_depth,
        )


def _outline(
    family: str,
    contour: tuple[Point, ...],
    grooves: tuple[tuple[Point, ...], ...],
    cusps: dict[str, Point] | None = None,
) -> Outline:
    return Outline(family, contour, grooves, MappingProxyType(cusps or {}))


UPPER_MOLAR: Final = _outline(
    "molar",
    (
        (0.97, 0.42), (0.86, 0.8), (0.55, 0.98), (0.25, 0.95), (0.04, 0.87),
        (-0.3, 0.9), (-0.72, 0.74), (-0.92, 0.25), (-1.0, -0.35), (-0.8, -0.85),
        (-0.42, -1.0), (-0.16, -0.9), (0.3, -0.97), (0.76, -0.76), (0.97, -0.2),
    ),
    (
        ((0.72, 0.0), (0.4, 0.08), (0.08, 0.04), (-0.2, 0.1)),
        ((0.08, 0.04), (0.06, 0.45), (0.04, 0.87)),
        ((-0.68, -0.02), (-0.5, -0.2), (-0.24, -0.5), (-0.16, -0.9)),
    ),
    {
        "mesiobuccal_cusp": (0.52, 0.58), "distobuccal_cusp": (-0.44, 0.52),
        "mesiolingual_cusp": (0.38, -0.52), "distolingual_cusp": (-0.6, -0.62),
    },
)  # fmt: skip
LOWER_MOLAR_FIVE: Final = _outline(
    "molar",
    (
        (0.98, 0.3), (0.82, 0.8), (0.5, 0.96), (0.24, 0.88), (-0.08, 0.97),
        (-0.38, 0.86), (-0.7, 0.78), (-0.95, 0.38), (-0.98, -0.15), (-0.84, -0.72),
        (-0.44, -0.95), (0.0, -0.88), (0.46, -0.97), (0.86, -0.74), (1.0, -0.2),
    ),
    (
        ((0.74, -0.06), (0.26, 0.06), (0.0, -0.06), (-0.3, 0.04), (-0.76, -0.06)),
        ((0.26, 0.06), (0.27, 0.5), (0.24, 0.88)),
        ((-0.3, 0.04), (-0.35, 0.45), (-0.38, 0.86)),
        ((0.0, -0.06), (0.02, -0.5), (0.0, -0.88)),
    ),
    {
        "mesiobuccal_cusp": (0.58, 0.54), "distobuccal_cusp": (-0.04, 0.58),
        "distal_cusp": (-0.66, 0.4), "mesiolingual_cusp": (0.48, -0.54),
        "distolingual_cusp": (-0.46, -0.54),
    },
)  # fmt: skip
LOWER_MOLAR_FOUR: Final = _outline(
    "molar",
    (
        (0.98, 0.25), (0.84, 0.76), (0.45, 0.97), (0.0, 0.88), (-0.45, 0.96),
        (-0.84, 0.74), (-0.98, 0.2), (-0.96, -0.3), (-0.8, -0.78), (-0.42, -0.97),
        (0.0, -0.89), (0.42, -0.97), (0.82, -0.78), (0.99, -0.3),
    ),
    (
        ((0.74, 0.0), (0.3, 0.05), (0.0, 0.0), (-0.3, 0.05), (-0.74, 0.0)),
        ((0.0, 0.88), (0.02, 0.4), (0.0, 0.0), (0.02, -0.4), (0.0, -0.89)),
    ),
    {
        "mesiobuccal_cusp": (0.5, 0.55), "distobuccal_cusp": (-0.5, 0.55),
        "mesiolingual_cusp": (0.5, -0.55), "distolingual_cusp": (-0.5, -0.55),
    },
)  # fmt: skip
UPPER_PREMOLAR: Final = _outline(
    "premolar",
    (
        (0.92, 0.25), (0.78, 0.68), (0.35, 0.97), (-0.3, 0.97), (-0.78, 0.68),
        (-0.92, 0.2), (-0.86, -0.35), (-0.6, -0.82), (0.0, -1.0), (0.6, -0.82),
        (0.86, -0.35),
    ),
    (
        ((0.58, 0.0), (0.0, 0.03), (-0.58, 0.0)),
        ((0.76, 0.16), (0.58, 0.0), (0.74, -0.18)),
        ((-0.76, 0.16), (-0.58, 0.0), (-0.74, -0.18)),
    ),
    {"mesiolingual_cusp": (0.36, -0.56), "distolingual_cusp": (-0.36, -0.56)},
)  # fmt: skip
LOWER_PREMOLAR: Final = _outline(
    "premolar",
    (
        (0.94, 0.05), (0.84, 0.55), (0.45, 0.92), (-0.1, 1.0), (-0.6, 0.86),
        (-0.9, 0.42), (-0.95, -0.1), (-0.75, -0.66), (-0.3, -0.96), (0.3, -0.96),
        (0.74, -0.62),
    ),
    (
        ((0.66, 0.02), (0.36, -0.16), (0.0, -0.22), (-0.36, -0.16), (-0.66, 0.02)),
        ((0.0, -0.22), (0.04, -0.55), (0.06, -0.95)),
    ),
    {"mesiolingual_cusp": (0.42, -0.58), "distolingual_cusp": (-0.4, -0.58)},
)  # fmt: skip
CANINE: Final = _outline(
    "anterior",
    (
        (0.95, 0.2), (0.68, 0.68), (0.28, 0.94), (-0.16, 0.95), (-0.62, 0.66),
        (-0.96, 0.14), (-0.74, -0.35), (-0.36, -0.82), (0.0, -0.98), (0.36, -0.82),
        (0.74, -0.32),
    ),
    (
        ((0.86, 0.24), (0.4, 0.36), (0.04, 0.44), (-0.42, 0.3), (-0.88, 0.18)),
        ((0.04, 0.4), (0.02, 0.0), (0.0, -0.36)),
        ((0.4, -0.42), (0.2, -0.34), (0.0, -0.4), (-0.2, -0.34), (-0.4, -0.42)),
    ),
)  # fmt: skip
UPPER_INCISOR: Final = _outline(
    "anterior",
    (
        (0.99, 0.46), (0.78, 0.76), (0.3, 0.94), (-0.25, 0.94), (-0.78, 0.74),
        (-0.99, 0.4), (-0.8, -0.1), (-0.46, -0.7), (0.0, -0.97), (0.46, -0.7),
        (0.8, -0.06),
    ),
    (
        ((0.9, 0.46), (0.45, 0.56), (0.0, 0.59), (-0.45, 0.55), (-0.9, 0.42)),
        ((0.86, 0.3), (0.45, 0.38), (0.0, 0.4), (-0.45, 0.38), (-0.86, 0.28)),
        ((0.68, 0.2), (0.5, -0.3), (0.22, -0.5), (0.0, -0.46), (-0.22, -0.5),
         (-0.5, -0.3), (-0.68, 0.2)),
    ),
)  # fmt: skip
LOWER_INCISOR: Final = _outline(
    "anterior",
    (
        (0.98, 0.3), (0.78, 0.72), (0.3, 0.96), (-0.3, 0.96), (-0.78, 0.72),
        (-0.98, 0.3), (-0.78, -0.3), (-0.42, -0.82), (0.0, -0.98), (0.42, -0.82),
        (0.78, -0.3),
    ),
    (
        ((0.9, 0.28), (0.4, 0.34), (-0.4, 0.34), (-0.9, 0.28)),
        ((0.88, 0.12), (0.4, 0.18), (-0.4, 0.18), (-0.88, 0.12)),
        ((0.36, -0.5), (0.0, -0.38), (-0.36, -0.5)),
    ),
)  # fmt: skip

_SIZES_MM: Final[Mapping[str, tuple[tuple[float, float], ...]]] = MappingProxyType(
    {
        "maxilla": (
            (8.5, 7), (6.5, 6), (7.5, 8), (7, 9), (7, 9), (10, 11), (9.5, 11), (9, 10),
        ),
        "mandible": (
            (5.3, 6), (5.7, 6.4), (7, 7.6), (7, 7.7), (7.2, 8), (11, 10.4),
            (10.5, 10), (10, 9.5),
        ),
    }
)  # fmt: skip


def tooth_class(position: int) -> str:
    """Return the class of a permanent tooth from its place (1 to 8) in the row."""
    if position <= 2:
        return "incisor"
    if position == 3:
        return "canine"
    return "premolar" if position <= 5 else "molar"


def outline_for(kind: str, arch: str, position: int) -> tuple[Outline, float, float]:
    """Return shape, mesiodistal and buccolingual size in mm.

    ``kind`` is incisor, canine, premolar or molar, ``arch`` maxilla or mandible
    and ``position`` the second digit of the ISO 3950 code. Raises KeyError for
    another class or arch.
    """
    upper = arch == "maxilla"
    shapes = {
        "incisor": UPPER_INCISOR if upper else LOWER_INCISOR,
        "canine": CANINE,
        "premolar": UPPER_PREMOLAR if upper else LOWER_PREMOLAR,
        "molar": UPPER_MOLAR
        if upper
        else LOWER_MOLAR_FIVE
        if position == 6
        else LOWER_MOLAR_FOUR,
    }
    width, depth = _SIZES_MM[arch][min(max(position, 1), 8) - 1]
    return shapes[kind], width, depth


def outline_paths(
    shape: Outline,
    place: Placement,
    *,
    stroke: str,
    class_: str,
    width: float,
    groove_width: float,
) -> str:
    """Return contour and grooves of a placed tooth."""
    contour = tag(
        "path",
        d=closed_curve([place.at(point) for point in shape.contour]),
        fill=TOOTH,
        stroke=stroke,
        stroke_width=width,
        class_=f"c-tooth {class_}",
        data_contour="",
    )
    grooves = "".join(
        tag("path", d=open_curve([place.at(point) for point in groove]))
        for groove in shape.grooves
    )
    return contour + tag(
        "g",
        grooves,
        fill="none",
        stroke=HAIR,
        stroke_width=groove_width,
        stroke_linecap="round",
        class_="c-hair",
    )
