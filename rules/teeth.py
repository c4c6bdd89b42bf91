"""Teeth and their sites: what can be measured where, cusp roles, facing sites.

The numbering functions of ``rules.numbering`` and the labels of
``rules.tooth_labels`` are re-exported, so that this module is the one place to ask
about a tooth. Which cusps a tooth has follows the usual anatomy of the crown (common
practice, no source); functional cusps in normal relation are the lower buccal and the
upper palatal ones, and a crossbite of the tooth pair exchanges them.
"""

from functools import lru_cache

from rules.numbering import (
    ALL_TEETH,
    PERMANENT_TEETH,
    PRIMARY_TEETH,
    arch,
    arch_order,
    faces,
    from_palmer,
    from_universal,
    is_anterior,
    is_right,
    neighbours,
    to_palmer,
    to_universal,
    tooth_class,
)
from rules.terms import Arch, Kind, Position, Quantity, Relation, Role, Site, ToothClass
from rules.tooth_labels import site_label, surface_label, wall_label

__all__ = [
    "ALL_TEETH",
    "CONTACT_FREE",
    "PERMANENT_TEETH",
    "PRIMARY_TEETH",
    "arch",
    "arch_order",
    "contact_surface",
    "cusp_role",
    "faces",
    "facing_sites",
    "from_palmer",
    "from_universal",
    "functional_row",
    "is_anterior",
    "is_right",
    "kind_fits",
    "neighbours",
    "quantity_at",
    "row_cusps",
    "site_label",
    "sites_for",
    "surface_label",
    "to_palmer",
    "to_universal",
    "tooth_class",
    "wall_label",
    "working_side",
]


S = Site
# A check asks the same of the same tooth hundreds of times.
_keep = lru_cache(maxsize=4096)

_BUCCAL = (S.MESIOBUCCAL_CUSP, S.DISTOBUCCAL_CUSP)
_LINGUAL = (S.MESIOLINGUAL_CUSP, S.DISTOLINGUAL_CUSP)
_ROWS = (S.BUCCAL_CUSPS, S.LINGUAL_CUSPS)
_CUSPS = frozenset({*_ROWS, *_BUCCAL, *_LINGUAL, S.DISTAL_CUSP})
_WALLS = (S.FACIAL_WALL, S.LINGUAL_WALL, S.MESIAL_WALL, S.DISTAL_WALL)
_REDUCTIONS = frozenset({*_WALLS, S.FACIAL_SURFACE})

# Relations in which a tooth meets nothing in intercuspation: room to the antagonist
# proves no room for the restoration there (common practice, no source).
CONTACT_FREE = (Relation.SCISSOR, Relation.OPEN)


def row_cusps(row: Site, tooth: str) -> tuple[Site, ...]:
    """Return the single cusps of a row; empty where the row is one cusp.

    Upper second and third molars are listed with a distopalatal cusp; where it is
    missing in the mouth the row is read as a row.
    """
    place = int(tooth[1])
    if is_anterior(tooth) or row not in _ROWS:
        return ()
    if tooth_class(tooth) is ToothClass.PREMOLAR:
        two = arch(tooth) is Arch.LOWER and place == 5 and row is S.LINGUAL_CUSPS
        return _LINGUAL if two else ()
    if row is S.LINGUAL_CUSPS:
        return _LINGUAL
    return (*_BUCCAL, S.DISTAL_CUSP) if tooth in ("36", "46") else _BUCCAL


def kind_fits(tooth: str, kind: Kind) -> bool:
    """Tell whether this kind of restoration exists on this tooth.

    Inlays and onlays need an occlusal table; a molar has no facial veneer.
    """
    if kind in (Kind.INLAY, Kind.ONLAY):
        return not is_anterior(tooth)
    if kind is Kind.VENEER:
        return tooth_class(tooth) is not ToothClass.MOLAR
    return True


def sites_for(
    tooth: str, kind: Kind, relation: Relation = Relation.NORMAL
) -> tuple[Site, ...]:
    """Return the sites a reading may name, in listing order; none if kind misfits."""
    if not kind_fits(tooth, kind):
        return ()
    wanted = _anterior(tooth, relation) if is_anterior(tooth) else _posterior(tooth)
    if kind in (Kind.PONTIC, Kind.IMPLANT_CROWN):
        wanted -= {*_REDUCTIONS, S.FINISH_LINE, S.FUNCTIONAL_CUSP_BEVEL}
        if kind is Kind.IMPLANT_CROWN:
            wanted |= {S.IMPLANT_PLATFORM}
    elif kind is Kind.INLAY:
        wanted &= {S.CENTRAL_FOSSA, S.MARGINAL_RIDGE}
    elif kind is Kind.ONLAY:
        wanted -= _REDUCTIONS
    elif kind is Kind.VENEER:
        wanted = (wanted & {S.INCISAL_EDGE}) | {S.FACIAL_SURFACE, S.FINISH_LINE}
    return tuple(site for site in Site if site in wanted)


def _posterior(tooth: str) -> set[Site]:
    singles = {cusp for row in _ROWS for cusp in row_cusps(row, tooth)}
    occlusal = {S.FUNCTIONAL_CUSP_BEVEL, S.CENTRAL_FOSSA, S.MARGINAL_RIDGE}
    return {*_ROWS, *singles, *occlusal, *_WALLS, S.FINISH_LINE}


def _anterior(tooth: str, relation: Relation) -> set[Site]:
    walls = {S.LINGUAL_WALL, S.MESIAL_WALL, S.DISTAL_WALL}
    both = {S.LINGUAL_SURFACE, S.INCISAL_EDGE, S.FACIAL_SURFACE, S.FINISH_LINE}
    contact = {contact_surface(tooth, relation)}
    return {*walls, *both, *contact}


def contact_surface(tooth: str, relation: Relation) -> Site:
    """Return the surface by which an incisor or canine meets its antagonist."""
    lingual = arch(tooth) is Arch.UPPER
    if relation is Relation.CROSSBITE:
        lingual = not lingual
    return S.LINGUAL_SURFACE if lingual else S.FACIOINCISAL_SURFACE


def quantity_at(
    site: Site, tooth: str, relation: Relation, *, positioned: bool
) -> Quantity:
    """Return what a reading at a site of this tooth means.

    ``positioned`` tells whether the reading names a jaw position: the incisal edge
    is a clearance with one and a reduction without, and so is every occlusal site in
    a scissor or open bite. Without an antagonist every occlusal reading is a reduction
    to the planned plane.
    """
    if site is S.FINISH_LINE:
        return Quantity.WIDTH
    if site in _REDUCTIONS or relation is Relation.NO_ANTAGONIST:
        return Quantity.REDUCTION
    if not positioned and (site is S.INCISAL_EDGE or relation in CONTACT_FREE):
        return Quantity.REDUCTION
    if site in (S.INCISAL_EDGE, S.IMPLANT_PLATFORM):
        return Quantity.CLEARANCE
    if is_anterior(tooth) and site is not contact_surface(tooth, relation):
        return Quantity.REDUCTION
    return Quantity.CLEARANCE


def functional_row(tooth: str, relation: Relation) -> Site:
    """Return the row that carries the bite: the lower buccal, the upper palatal."""
    lingual = arch(tooth) is Arch.UPPER
    if relation is Relation.CROSSBITE:
        lingual = not lingual
    return S.LINGUAL_CUSPS if lingual else S.BUCCAL_CUSPS


@_keep
def cusp_role(site: Site, tooth: str, relation: Relation) -> Role | None:
    """Return the role of a cusp site; None where the site is no cusp.

    Edge to edge both rows are functional; in a scissor bite neither is.
    """
    if site is S.FUNCTIONAL_CUSP_BEVEL:
        return Role.FUNCTIONAL_CUSP
    if site not in _CUSPS:
        return None
    if relation is Relation.EDGE_TO_EDGE:
        return Role.FUNCTIONAL_CUSP
    if relation is Relation.SCISSOR:
        return Role.NONFUNCTIONAL_CUSP
    lingual = site is S.LINGUAL_CUSPS or site in _LINGUAL
    row = S.LINGUAL_CUSPS if lingual else S.BUCCAL_CUSPS
    functional = row is functional_row(tooth, relation)
    return Role.FUNCTIONAL_CUSP if functional else Role.NONFUNCTIONAL_CUSP


@_keep
def facing_sites(
    site: Site, tooth: str, relation: Relation, facing_tooth: str
) -> tuple[Site, ...]:
    """Return the sites of the opposing tooth that share the gap at a site.

    Empty where nothing faces it: axial walls, finish line, scissor bite. What faces
    the seat of a restoration faces the implant platform under it.
    """
    if site is S.IMPLANT_PLATFORM:
        front = is_anterior(tooth)
        site = contact_surface(tooth, relation) if front else S.CENTRAL_FOSSA
    role = cusp_role(site, tooth, relation)
    open_sites = {S.CENTRAL_FOSSA, S.MARGINAL_RIDGE, S.INCISAL_EDGE}
    if relation in (Relation.SCISSOR, Relation.NO_ANTAGONIST):
        return ()
    if role is None and site not in {*open_sites, contact_surface(tooth, relation)}:
        return ()
    if is_anterior(facing_tooth):
        edge = site is S.INCISAL_EDGE
        return (S.INCISAL_EDGE if edge else contact_surface(facing_tooth, relation),)
    if is_anterior(tooth):
        upper = arch(facing_tooth) is Arch.UPPER
        ridge = (S.CENTRAL_FOSSA, S.MARGINAL_RIDGE)
        return ridge if upper else (functional_row(facing_tooth, relation),)
    return _facing_posterior(site, role, relation, facing_tooth)


def _facing_posterior(
    site: Site, role: Role | None, relation: Relation, facing_tooth: str
) -> tuple[Site, ...]:
    carrying = functional_row(facing_tooth, relation)
    guiding = S.BUCCAL_CUSPS if carrying is S.LINGUAL_CUSPS else S.LINGUAL_CUSPS
    if site in (S.CENTRAL_FOSSA, S.MARGINAL_RIDGE):
        return (carrying,)
    if site is S.FUNCTIONAL_CUSP_BEVEL:
        return (guiding,)
    if relation is Relation.EDGE_TO_EDGE:
        lingual = site is S.LINGUAL_CUSPS or site in _LINGUAL
        return (S.LINGUAL_CUSPS if lingual else S.BUCCAL_CUSPS,)
    if role is Role.FUNCTIONAL_CUSP:
        return (S.CENTRAL_FOSSA, S.MARGINAL_RIDGE)
    return (S.FUNCTIONAL_CUSP_BEVEL,)


def working_side(tooth: str) -> Position:
    """Return the laterotrusion in which a tooth stands on the working side."""
    if is_right(tooth):
        return Position.RIGHT_LATEROTRUSION
    return Position.LEFT_LATEROTRUSION
