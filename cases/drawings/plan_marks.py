"""Marks of a plan in one ink: bands over the sites, and a shape for each quantity."""

from typing import Final

from cases.drawings.outlines import Outline, Placement
from cases.drawings.palette import INK, ROOM
from cases.drawings.regions import Region
from cases.drawings.svg import closed_curve, number, open_curve, tag

__all__ = ["QUANTITIES", "quantity_shape", "region_drawn"]

QUANTITIES: Final = ("clearance", "reduction", "width")

# In a box of 16 by 16. Clearance: two surfaces with a distance between them;
# reduction: an arrow from the planned contour down to the cut; width: a distance
# between two ends.
_SHAPES: Final[dict[str, str]] = {
    "clearance": "M1 2H15M1 14H15M8 4.5V11.5M5.8 6.6L8 4.4L10.2 6.6M5.8 9.4L8 11.6L10.2 9.4",
    "reduction": "M1 3H3.4M5.2 3H7.2M9 3H11M12.8 3H15M1 14H15M8 5V11.4M5.4 8.8L8 11.6L10.6 8.8",
    "width": "M2 3V13M14 3V13M4.2 8H11.8M6.4 5.8L4.2 8L6.4 10.2M9.6 5.8L11.8 8L9.6 10.2",
}


def quantity_shape(quantity: str, x: float, y: float, size: float) -> str:
    """Return the shape of a quantity, centred on x and y.

    Raises KeyError for a quantity that is none of the three.
    """
    scale = size / 16
    move = f"translate({number(x - size / 2)} {number(y - size / 2)})"
    return tag(
        "path",
        d=_SHAPES[quantity],
        transform=f"{move} scale({scale:.4g})",
        fill="none",
        stroke=INK,
        stroke_width=1.7,
        stroke_linecap="round",
        stroke_linejoin="round",
        class_="c-line",
        data_quantity=quantity,
    )


def region_drawn(
    site: str, region: Region, shape: Outline, place: Placement, zoom: float
) -> str:
    """Return a site as a shaded band with an outline, all sites in the same ink."""
    if region.contour:
        points = [place.at((x * 1.08, y * 1.08)) for x, y in shape.contour]
        drawn = tag(
            "path", d=closed_curve(points), fill="none", stroke=INK, stroke_width=1.4,
            stroke_dasharray="6 3", class_="c-line",
        )  # fmt: skip
    else:
        drawn = "".join(_bands(region, place, zoom))
    return tag("g", drawn, data_site=site, data_part="surface")


def _bands(region: Region, place: Placement, zoom: float) -> list[str]:
    parts = []
    width = region.width * zoom * 0.62
    for points in region.lines:
        placed = [place.at(point) for point in points]
        if len(placed) == 1:
            (x, y) = placed[0]
            parts.append(
                tag("circle", cx=x, cy=y, r=width / 2, fill=ROOM, stroke=INK,
                    stroke_width=1.2, class_="c-room c-line")
            )  # fmt: skip
            continue
        path = open_curve(placed)
        for wide, stroke, name in (
            (width, INK, "c-line"),
            (width - 2.4, ROOM, "s-room"),
        ):
            parts.append(
                tag("path", d=path, fill="none", stroke=stroke, stroke_width=wide,
                    stroke_linecap="round", stroke_linejoin="round", class_=name)
            )  # fmt: skip
    return parts
