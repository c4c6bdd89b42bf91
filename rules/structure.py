"""Wall height, height-to-base ratio and convergence of a preparation (mm, degrees).

Beams and strength classes of bridges stand in ``rules.beams``.

Published minima after preparation: Goodacre, Campagni, Aquilino, J Prosthet Dent
2001;85:363-376 (abstract): occluso-cervical height 4 mm for molars and 3 mm for
other teeth at 10 to 20 degrees of convergence, height to base ratio 0.4. Below
them auxiliary resistance form is advised; nothing is refused.
"""

import math
from decimal import Decimal

from rules.teeth import functional_row, tooth_class
from rules.terms import Relation, Site, ToothClass, Wall

__all__ = [
    "ADVISED_CONVERGENCE",
    "MINIMUM_RATIO",
    "convergence_from_widths",
    "limiting_convergence",
    "minimum_height",
    "ratio",
    "walls_shortened",
]

MINIMUM_RATIO = Decimal("0.4")

# Degrees of total convergence: 10 to 20 (Goodacre et al. 2001, abstract); above it
# auxiliary features are advised (the same authors, Dent Clin North Am 2004).
ADVISED_CONVERGENCE = Decimal(20)

_FACIAL = frozenset(
    {
        Site.BUCCAL_CUSPS,
        Site.MESIOBUCCAL_CUSP,
        Site.DISTOBUCCAL_CUSP,
        Site.DISTAL_CUSP,
    }
)
_LINGUAL = frozenset(
    {Site.LINGUAL_CUSPS, Site.MESIOLINGUAL_CUSP, Site.DISTOLINGUAL_CUSP}
)


def minimum_height(tooth: str) -> Decimal:
    """Return the published least wall height for a tooth, in mm."""
    return Decimal(4 if tooth_class(tooth) is ToothClass.MOLAR else 3)


def ratio(height: Decimal, base: Decimal) -> Decimal:
    """Return wall height over faciolingual base width."""
    return height / base


def limiting_convergence(height: Decimal, base: Decimal) -> float:
    """Return the greatest total convergence that still resists tipping, in degrees.

    asin(H / B), twice the single-wall angle of Parker's relation (formula from
    memory; it agrees with the published 17.4 degrees for H 3, B 10). A wall as high
    as the base is wide resists at any convergence below 90.
    """
    return math.degrees(math.asin(min(1.0, float(height / base))))


def convergence_from_widths(base: Decimal, top: Decimal, height: Decimal) -> float:
    """Return total occlusal convergence from two widths and a height, in degrees."""
    return math.degrees(2 * math.atan(float((base - top) / (2 * height))))


def walls_shortened(site: Site, tooth: str, relation: Relation) -> tuple[Wall, ...]:
    """Return the walls that lose height when a site is lowered.

    A cusp row takes its own wall down, an incisal edge both; deepening a fossa or
    hollowing a lingual surface costs none. Which marginal ridge was read is not
    stated, so both proximal walls are named.
    """
    if site is Site.INCISAL_EDGE:
        return (Wall.FACIAL, Wall.LINGUAL)
    if site is Site.MARGINAL_RIDGE:
        return (Wall.MESIAL, Wall.DISTAL)
    if site is Site.FUNCTIONAL_CUSP_BEVEL:
        site = functional_row(tooth, relation)
    if site in _LINGUAL:
        return (Wall.LINGUAL,)
    return (Wall.FACIAL,) if site in _FACIAL else ()
