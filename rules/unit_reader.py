"""Reading one unit of a request: tooth, kind, material, antagonists, readings."""

from decimal import Decimal
from typing import Any

from rules.errors import UnknownTooth
from rules.reader import Faults, Read, at, choice, choices, flag, length, shown, text
from rules.reading_reader import read_reading
from rules.request import FacingUnit, Unit
from rules.requirements import Material, RuleSet
from rules.teeth import (
    PERMANENT_TEETH,
    PRIMARY_TEETH,
    faces,
    from_universal,
    kind_fits,
    row_cusps,
)
from rules.terms import (
    Antagonist,
    Cementation,
    Kind,
    OcclusalSurface,
    Relation,
    Retention,
    Site,
    Wall,
)

__all__ = ["MAX_ANTAGONISTS", "MAX_READINGS", "read_unit"]


def _(text: str) -> str:
    return text


# Every site in every position read three times over stays below this.
MAX_READINGS = 200
# A tooth meets at most two or three others.
MAX_ANTAGONISTS = 4


def _tooth(faults: Faults, value: object, pointer: str) -> str:
    if isinstance(value, str) and value in PERMANENT_TEETH:
        return value
    if isinstance(value, str) and value in PRIMARY_TEETH:
        faults.add(
            pointer,
            _("{tooth} is a primary tooth: permanent restorations only, 11 to 48."),
            tooth=value,
        )
        return ""
    try:
        meant = from_universal(value) if isinstance(value, str) else ""
    except UnknownTooth:
        meant = ""
    if isinstance(value, int) and shown(value) in PERMANENT_TEETH:
        faults.add(
            pointer, _('Write the tooth as text: "{tooth}".'), tooth=shown(value)
        )
        return ""
    message = _("“{tooth}” is no tooth: write two digits of ISO 3950, 11 to 48.")
    if meant:
        message = _(
            "“{tooth}” is no tooth in ISO 3950, and other systems are not guessed: "
            "Universal {tooth} would be {meant}."
        )
    faults.add(pointer, message, tooth=shown(value), meant=meant)
    return ""


def _span(faults: Faults, value: object, pointer: str) -> str | None:
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 99:
        return str(value)
    return faults.text(value, pointer, at_most=20)


def _list(limit: int) -> Read:
    return lambda faults, value, pointer: faults.sequence(value, pointer, at_most=limit)


def _walls(
    faults: Faults, value: object, pointer: str
) -> tuple[tuple[Wall, Decimal], ...]:
    heights = {wall.value: length("0", "20") for wall in Wall}
    row = faults.fields(value, pointer, required={}, optional=heights)
    return tuple((wall, row[wall]) for wall in Wall if wall in row)


_PLANNED: dict[str, Read] = {
    "tooth": _tooth,
    "kind": choice(Kind),
    "material": text(60),
}
_VARIANT: dict[str, Read] = {
    "occlusal_surface": choice(OcclusalSurface),
    "cementation": choice(Cementation),
}
_REQUIRED: dict[str, Read] = {
    **_PLANNED,
    "relation": choice(Relation),
    "antagonist": choice(Antagonist),
    "readings": _list(MAX_READINGS),
}
_OPTIONAL: dict[str, Read] = {
    **_VARIANT,
    "antagonists": _list(MAX_ANTAGONISTS),
    "planned_plane": flag,
    "wall_heights_mm": _walls,
    "base_width_mm": length("0.1", "20"),
    "convergence_deg": length("0", "90"),
    "dentine_mm": length("0", "20"),
    "retention": choice(Retention),
    "span": _span,
    "not_applicable": choices(Site),
}


def read_unit(
    faults: Faults, item: object, pointer: str, rule_set: RuleSet
) -> Unit | None:
    """Read one unit; every fault in it is noted, also beside other faults."""
    before = len(faults.items)
    row = faults.fields(item, pointer, required=_REQUIRED, optional=_OPTIONAL)
    _plan(faults, row, pointer, rule_set)
    relation = _relation(faults, row, pointer)
    antagonists = _antagonists(faults, row, pointer, rule_set)
    readings = [
        read_reading(
            faults,
            entry,
            at(at(pointer, "readings"), index),
            tooth=row.get("tooth"),
            kind=row.get("kind"),
            relation=relation,
        )
        for index, entry in enumerate(row.get("readings", ()))
    ]
    if len(faults.items) > before or relation is None:
        return None
    _left_out(faults, row, pointer, rule_set, relation)
    if len(faults.items) > before:
        return None
    return Unit(
        **{
            **row,
            "relation": relation,
            "antagonists": antagonists,
            "readings": tuple(reading for reading in readings if reading),
        }
    )


# A complete crown covers every site; only these may leave one out.
_PARTIAL = (Kind.INLAY, Kind.ONLAY, Kind.VENEER)


def _left_out(
    faults: Faults,
    row: dict[str, Any],
    pointer: str,
    rule_set: RuleSet,
    relation: Relation,
) -> None:
    """Check the required sites a partial restoration is said not to cover."""
    stated: tuple[Site, ...] = row.get("not_applicable", ())
    if not stated:
        return
    place = at(pointer, "not_applicable")
    if row["kind"] not in _PARTIAL:
        faults.add(place, _("A {kind} covers every site."), kind=row["kind"].value)
        return
    required = rule_set.required(row["tooth"], row["kind"], relation)
    read = {entry.get("site") for entry in row["readings"]}
    for index, site in enumerate(stated):
        if site not in required:
            message = _("“{site}” is not required here: leave it out.")
            faults.add(at(place, index), message, site=site.value)
        elif read & {site, *row_cusps(site, row["tooth"])}:
            message = _("“{site}” was read: it cannot be left out too.")
            faults.add(at(place, index), message, site=site.value)
    if set(required) <= set(stated):
        faults.add(place, _("At least one required site must be covered."))


def _plan(faults: Faults, row: dict[str, Any], pointer: str, rule_set: RuleSet) -> None:
    """Check kind and material of a planned restoration; fill in what is usual."""
    if "tooth" in row and "kind" in row and not kind_fits(row["tooth"], row["kind"]):
        faults.add(
            at(pointer, "kind"),
            _("“{kind}” does not fit tooth {tooth}: choose another kind."),
            kind=row["kind"].value,
            tooth=row["tooth"],
        )
    if "retention" in row and row.get("kind") not in (None, Kind.IMPLANT_CROWN):
        faults.add(
            at(pointer, "retention"),
            _("Only an implant crown has a retention: leave it out."),
        )
    if "material" not in row:
        return
    material = rule_set.material(row["material"])
    if material is None:
        faults.add(
            at(pointer, "material"),
            _("The rule set has no material “{material}”. It has: {known}."),
            material=shown(row["material"]),
            known=", ".join(each.key for each in rule_set.materials),
        )
        return
    row.setdefault("cementation", material.usual_cementation)
    row.setdefault("occlusal_surface", material.usual_surface)
    _offered(faults, row, pointer, material)


def _offered(
    faults: Faults, row: dict[str, Any], pointer: str, material: Material
) -> None:
    if row["cementation"] not in material.cementations:
        faults.add(
            at(pointer, "cementation"),
            _("{material} is not cemented that way: {known}."),
            material=material.key,
            known=", ".join(material.cementations),
        )
    surface = row["occlusal_surface"]
    if surface is not None and surface not in material.occlusal_surfaces:
        faults.add(
            at(pointer, "occlusal_surface"),
            _("{material} has no choice of occlusal surface: leave it out."),
            material=material.key,
        )


def _relation(faults: Faults, row: dict[str, Any], pointer: str) -> Relation | None:
    """Return the relation; without an antagonist it is always no_antagonist."""
    relation, antagonist = row.get("relation"), row.get("antagonist")
    if antagonist is Antagonist.NONE:
        if relation not in (None, Relation.NORMAL, Relation.NO_ANTAGONIST):
            faults.add(
                at(pointer, "relation"),
                _("Without an antagonist there is no {relation}: no_antagonist."),
                relation=relation.value,
            )
        return Relation.NO_ANTAGONIST
    if relation is Relation.NO_ANTAGONIST and antagonist is not None:
        faults.add(
            at(pointer, "antagonist"),
            _("The relation says no_antagonist: the antagonist is then none."),
        )
    return relation


def _antagonists(
    faults: Faults, row: dict[str, Any], pointer: str, rule_set: RuleSet
) -> tuple[FacingUnit, ...]:
    place = at(pointer, "antagonists")
    stated = row.get("antagonists", ())
    if stated and row.get("antagonist") not in (None, Antagonist.PREPARED):
        faults.add(
            place,
            _("Only a prepared antagonist has a planned unit: state prepared."),
        )
    found: list[FacingUnit] = []
    for index, item in enumerate(stated):
        where = at(place, index)
        facing = _facing(faults, item, where, row.get("tooth"), rule_set)
        if facing and facing.tooth in {other.tooth for other in found}:
            faults.add(
                at(where, "tooth"),
                _("Tooth {tooth} stands twice: state it once."),
                tooth=facing.tooth,
            )
        elif facing:
            found.append(facing)
    return tuple(found)


def _facing(
    faults: Faults, item: object, pointer: str, tooth: str | None, rule_set: RuleSet
) -> FacingUnit | None:
    before = len(faults.items)
    row = faults.fields(item, pointer, required=_PLANNED, optional=_VARIANT)
    _plan(faults, row, pointer, rule_set)
    if tooth and "tooth" in row and not faces(tooth, row["tooth"]):
        faults.add(
            at(pointer, "tooth"),
            _("Tooth {other} does not face tooth {tooth}: name its antagonist."),
            other=row["tooth"],
            tooth=tooth,
        )
    return FacingUnit(**row) if len(faults.items) == before else None
