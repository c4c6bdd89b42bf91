"""What a signature covers beside the plain line of a unit, in words."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _

from cases.forms.reading_rows import length_text
from cases.forms.vocabulary import tooth_number
from rules.teeth import site_label
from rules.terms import Retention, Site, Wall, label

__all__ = ["connector_words", "instrument_words", "preparation_words"]

Json = Mapping[str, Any]


def preparation_words(unit: Json) -> list[str]:
    """Return bridge, walls, convergence, dentine, retention and abutment of a unit."""
    found = []
    if span := unit.get("span"):
        found.append(_("bridge {n}").format(n=span))
    if walls := unit.get("wall_heights_mm"):
        heights = ", ".join(
            f"{_(label(Wall(wall)))} {length_text(height)}"
            for wall, height in walls.items()
        )
        found.append(_("wall heights {heights} mm").format(heights=heights))
    lengths = {
        "base_width_mm": _("base {n} mm"),
        "convergence_deg": _("convergence {n}°"),
        "dentine_mm": _("dentine left {n} mm"),
    }
    found += [
        text.format(n=length_text(unit[key]))
        for key, text in lengths.items()
        if unit.get(key) not in (None, "")
    ]
    if held := unit.get("retention"):
        found.append(_(label(Retention(held))))
    if abutment := unit.get("abutment"):
        found.append(_("abutment {name}").format(name=abutment))
    if uncovered := unit.get("not_applicable"):
        sites = ", ".join(_(site_label(Site(s), str(unit["tooth"]))) for s in uncovered)
        found.append(_("not covered: {sites}").format(sites=sites))
    if unit.get("planned_plane"):
        found.append(_("the split of the gap is fixed by a wax-up or the like"))
    return found


def connector_words(connectors: Iterable[Json], system: str) -> list[str]:
    """Return every planned connector: "34–35: 4 × 3 mm (height × width)"."""
    return [
        _("{first}–{second}: {high} × {wide} mm (height × width)").format(
            first=tooth_number(one["between"][0], system),
            second=tooth_number(one["between"][1], system),
            high=length_text(one["height_mm"]),
            wide=length_text(one["width_mm"]),
        )
        for one in connectors
    ]


def instrument_words(reading: Json) -> list[str]:
    """Return the instrument a reading names and its strips' tolerance."""
    found = [str(reading["instrument"])] if reading.get("instrument") else []
    if delta := reading.get("delta_mm"):
        found.append(_("strips ± {mm} mm").format(mm=length_text(delta)))
    return found
