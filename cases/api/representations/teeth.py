"""A tooth in the three numbering systems."""

from rules.teeth import to_palmer, to_universal

__all__ = ["tooth_json"]


def tooth_json(given: str, tooth: str) -> dict[str, str]:
    """Return a tooth (ISO 3950) as it was given and in every system."""
    return {
        "given": given,
        "iso3950": tooth,
        "universal": to_universal(tooth),
        "palmer": to_palmer(tooth),
    }
