"""Bridges as beams, and what strength class or type a span asks for.

Law of beams (Shillingburg et al., Fundamentals of Fixed Prosthodontics, chapter on
the biomechanics of bridges): bending grows with the cube of the length and falls
with the cube of the height. Lengths are mm, forces N, moduli and stresses MPa.
"""

import math
from collections.abc import Sequence
from decimal import Decimal

from rules.teeth import is_anterior, tooth_class
from rules.terms import Cementation, Kind, ToothClass

__all__ = [
    "METALS",
    "beam_deflection",
    "beam_stress",
    "connector_areas",
    "deflection_index",
    "iso_6872_class_needed",
    "iso_22674_type_needed",
    "section_modulus",
]

# Classes of material whose strength is an alloy's type (ISO 22674), not a class.
METALS = frozenset({"full_metal", "metal_ceramic"})

# Class 5 of ISO 6872 begins at four units; a long span of metal likewise.
_LONG = 4


def deflection_index(
    pontics: int, height: Decimal = Decimal(1), reference: Decimal = Decimal(1)
) -> Decimal:
    """Return how often more a span bends than one pontic of the reference height.

    n^3 * (h0 / h)^3, n the number of pontics in a row.
    """
    return (pontics * reference / height) ** 3


def beam_deflection(
    force: float, length: float, modulus: float, width: float, height: float
) -> float:
    """Return the deflection in mm of a simply supported beam loaded in its middle.

    F * L^3 / (4 * E * b * h^3), rectangular section.
    """
    return force * length**3 / (4 * modulus * width * height**3)


def beam_stress(force: float, length: float, width: float, height: float) -> float:
    """Return the greatest bending stress of such a beam, in MPa.

    3 * F * L / (2 * b * h^2).
    """
    return 3 * force * length / (2 * width * height**2)


def section_modulus(width: Decimal, height: Decimal) -> Decimal:
    """Return b * h^2 / 6 of a rectangular section, in mm3: height counts twice."""
    return width * height**2 / 6


def connector_areas(height: Decimal, width: Decimal) -> tuple[Decimal, Decimal]:
    """Return the least and the most cross-section of such a connector, in mm2.

    A rectangle has height times width, an ellipse pi / 4 of it; a rounded section
    lies between the two.
    """
    most = height * width
    return most * Decimal(str(math.pi / 4)), most


def iso_6872_class_needed(
    teeth: Sequence[str], kind: Kind, cementation: Cementation
) -> int:
    """Return the class of ISO 6872 that so many ceramic units ask for, 1 to 5.

    ISO 6872:2015, table 1 (from memory, to be confirmed): 1 single anterior units,
    veneers, inlays and onlays, bonded; 2 single units, bonded; 3 single units however
    cemented, and three units without a molar; 4 three units with a molar; 5 four
    units and more. Two units count as three (inference, no source). ``kind`` counts
    for a single unit only.
    """
    if len(teeth) >= _LONG:
        return 5
    if len(teeth) > 1:
        molar = any(tooth_class(tooth) is ToothClass.MOLAR for tooth in teeth)
        return 4 if molar else 3
    if cementation is not Cementation.ADHESIVE:
        return 3
    small = kind in (Kind.VENEER, Kind.INLAY, Kind.ONLAY)
    return 1 if small or is_anterior(teeth[0]) else 2


def iso_22674_type_needed(units: int, *, implants: bool = False) -> int:
    """Return the type of ISO 22674 that so many metal units ask for, 2 to 4.

    2 single crowns, 3 bridges of up to three units, 4 long spans and implant
    superstructures (uses by type after a laboratory's summary of the standard, to
    be confirmed; where a span counts as long, from four units on: inference, no
    source).
    """
    if implants or units >= _LONG:
        return 4
    return 3 if units > 1 else 2
