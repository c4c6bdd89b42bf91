"""Readings and units of the scenario, in the shape of ``POST /api/v1/check``."""

from typing import Any

__all__ = ["AT_PROTRUSION", "MI", "point", "row", "strip", "unit"]

MI = "maximal_intercuspation"
AT_PROTRUSION = "protrusion"
Body = dict[str, Any]


def strip(site: str, position: str = MI, **lengths: str) -> Body:
    """Return a reading by thickness strip: passes_mm, drags_mm, held_mm."""
    return {"site": site, "position": position, "method": "strip", **lengths}


def point(
    site: str, value_mm: str, *, method: str = "silicone_caliper", position: str = MI
) -> Body:
    """Return a point reading in millimetres."""
    return {
        "site": site,
        "position": position,
        "method": method,
        "value_mm": value_mm,
    }


def row(buccal: str, lingual: str, fossa: str) -> list[Body]:
    """Return strip readings of a posterior unit: "2.0", or "1.0-1.5" when held."""
    sites = ("buccal_cusps", "lingual_cusps", "central_fossa")
    return [
        strip(site, **_lengths(text))
        for site, text in zip(sites, (buccal, lingual, fossa), strict=True)
    ]


def _lengths(text: str) -> dict[str, str]:
    passes, _, held = text.partition("-")
    return {"passes_mm": passes} | ({"held_mm": held} if held else {})


def unit(tooth: str, material: str, readings: list[Body], **more: Any) -> Body:
    """Return a crown, or what ``more`` makes of it."""
    body = {
        "tooth": tooth,
        "kind": "crown",
        "material": material,
        "relation": "normal",
        "antagonist": "natural",
        "readings": readings,
    }
    return {**body, **more}
