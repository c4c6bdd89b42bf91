"""Hypothesis strategies: rule sets that parse."""

from typing import Any

from hypothesis import assume
from hypothesis import strategies as st

from rules.errors import InvalidRuleSet
from rules.parse import parse_rule_set
from rules.terms import (
    Arch,
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Quantity,
    Region,
    Relation,
    Role,
    Site,
    ToothClass,
)

KEYS = ["alloy", "glass", "mine", "yours"]
tenths = st.integers(0, 60).map(lambda n: f"{n / 20:g}")
# Anything a laboratory may write in one line of text.
lines_of_text = st.text(
    st.characters(exclude_categories=["Cc", "Cs", "Cf"]), min_size=1, max_size=12
).filter(lambda text: text.strip())


def words(enum, least=0):
    """Return distinct words of a closed list."""
    return st.lists(
        st.sampled_from([word.value for word in enum]), unique=True, min_size=least
    )


def maybe(**fields):
    """Return some of the optional fields of a line."""
    return st.fixed_dictionaries({}, optional=fields)


@st.composite
def materials(draw):
    """Return two classes and perhaps products under them."""
    found = []
    for key in KEYS[: draw(st.integers(1, 4))]:
        row: dict[str, Any] = {
            "key": key,
            "label": draw(lines_of_text),
            "cementations": draw(words(Cementation, 1)),
        }
        row |= draw(
            maybe(
                occlusal_surfaces=words(OcclusalSurface),
                provisional=st.booleans(),
                instructions=lines_of_text,
            )
        )
        strength = draw(
            maybe(iso_6872_class=st.integers(1, 5), iso_22674_type=st.integers(0, 5))
        )
        if strength:
            row |= strength | {"strength_source": draw(lines_of_text)}
        if key in KEYS[2:] and draw(st.booleans()):
            row["under"] = draw(st.sampled_from(KEYS[:2]))
        found.append(row)
    return found


@st.composite
def needs(draw, known):
    """Return one need of a known material."""
    material = draw(st.sampled_from(known))
    site = draw(st.sampled_from([*Site, *Role])).value
    quantities = [Quantity.CLEARANCE, Quantity.REDUCTION]
    if site == Site.FINISH_LINE:
        quantities = [Quantity.WIDTH]
    elif site in (Site.IMPLANT_PLATFORM, Role.SCREWED_PLATFORM):
        quantities = [Quantity.CLEARANCE]
    elif site == Site.FACIAL_SURFACE or site.endswith("_wall"):
        quantities = [Quantity.REDUCTION]
    row = {
        "material": material["key"],
        "kinds": draw(words(Kind, 1)),
        "site": site,
        "quantity": draw(st.sampled_from(quantities)).value,
        draw(st.sampled_from(["min_mm", "thickness_mm"])): draw(tenths),
        "target_mm": draw(st.integers(4, 9)),
        "source": draw(lines_of_text),
    }
    other = st.fixed_dictionaries(
        {"min_mm": tenths, "source": lines_of_text}, optional={"note": lines_of_text}
    )
    row |= draw(
        maybe(
            max_mm=st.integers(9, 20),
            cementation=st.sampled_from(material["cementations"]),
            classes=words(ToothClass),
            positions=words(Position),
            note=lines_of_text,
            alternatives=st.lists(other, max_size=2),
        )
    )
    if material.get("occlusal_surfaces") and draw(st.booleans()):
        row["occlusal_surface"] = draw(st.sampled_from(material["occlusal_surfaces"]))
    return row


@st.composite
def spans(draw, keys):
    """Return one span limit."""
    row = {
        "material": draw(st.sampled_from(keys)),
        "region": draw(st.sampled_from(Region)).value,
        "units_from": draw(st.integers(2, 5)),
        "units_to": draw(st.integers(5, 16)),
        "source": draw(lines_of_text),
    }
    return row | draw(
        maybe(
            cantilever=st.booleans(),
            allowed=st.booleans(),
            connector_mm2=st.integers(1, 3000).map(lambda n: f"{n / 100:g}"),
            last_place=st.integers(1, 8),
            note=lines_of_text,
        )
    )


@st.composite
def documents(draw):
    """Return the values of a rule set; lines may contradict each other."""
    known = draw(materials())
    keys = [material["key"] for material in known]
    scope = {
        "arch": st.sampled_from([a.value for a in Arch]),
        "relations": words(Relation),
    }
    sited = {"sites": words(Site, 1), "source": lines_of_text}
    required = st.fixed_dictionaries(
        sited, optional={**scope, "kinds": words(Kind), "classes": words(ToothClass)}
    )
    sides = st.lists(
        st.sampled_from([*[p.value for p in Position], "working_side"]), unique=True
    )
    position = st.fixed_dictionaries(
        sited, optional={**scope, "required": sides, "advised": sides}
    )
    charge = st.fixed_dictionaries(
        {
            "material": st.sampled_from(keys),
            "days": st.integers(0, 365),
            "charge": lines_of_text,
        },
        optional={"kinds": words(Kind)},
    )
    data = {
        "name": draw(lines_of_text),
        "version": draw(lines_of_text),
        "decision": {
            "k": draw(st.sampled_from([0, "1.645", 5])),
            "strip_delta_mm": draw(st.sampled_from([0, "0.0125", 1])),
            "drag_mm": "0.1",
            "cement_space_mm": draw(st.sampled_from([0, "0.05"])),
            "adjustment_mm": "0.15",
        },
        "materials": known,
        "methods": [
            {"method": m.value, "u_mm": "0.1", "source": draw(lines_of_text)}
            for m in Method
            if m is not Method.STRIP
        ],
        "required_sites": draw(st.lists(required, max_size=2)),
        "positions": draw(st.lists(position, max_size=2)),
        "needs": draw(st.lists(needs(known), max_size=6)),
    }
    data |= draw(
        maybe(
            span_limits=st.lists(spans(keys), max_size=3),
            charges=st.lists(charge, max_size=2),
        )
    )
    return data


@st.composite
def rule_sets(draw):
    """Return a rule set that parses."""
    data = draw(documents())
    try:
        return parse_rule_set(data)
    except InvalidRuleSet as error:
        # Only lines that answer the same and products of a faulty lineage remain.
        assert all(  # noqa: PT017 -- the strategy itself is held to what it may draw
            "answer the same" in f.text() or f.pointer.endswith("under")
            for f in error.faults
        )
        assume(condition=False)
        raise
