"""Hypothesis strategies: units that parse, and JSON that need not."""

from typing import Any

from hypothesis import strategies as st

from rules.requirements import RuleSet
from rules.teeth import (
    PERMANENT_TEETH,
    arch,
    arch_order,
    faces,
    quantity_at,
    sites_for,
)
from rules.terms import Antagonist, Kind, Method, Position, Quantity, Relation
from tests.rules.builders import SHIPPED

hundredths = st.integers(0, 2000).map(lambda n: f"{n / 100:.2f}")


@st.composite
def strip_lengths(draw):
    """Return strip keys in order: slid < dragged < held."""
    cuts = sorted(draw(st.sets(st.integers(1, 400), min_size=3, max_size=3)))
    keys = draw(
        st.sets(st.sampled_from(["passes_mm", "drags_mm", "held_mm"]), min_size=1)
    )
    ordered = [k for k in ("passes_mm", "drags_mm", "held_mm") if k in keys]
    return {key: f"{cut / 100:.2f}" for key, cut in zip(ordered, cuts, strict=False)}


@st.composite
def origins(draw):
    """Return where a reading comes from: side, basis, mounting, staleness."""
    row = draw(
        st.fixed_dictionaries(
            {},
            optional={
                "side": st.sampled_from(["clinic", "laboratory"]),
                "basis": st.sampled_from(["mouth", "model", "scan"]),
                "stale": st.booleans(),
            },
        )
    )
    if row.get("basis") == "model" and draw(st.booleans()):
        row["mounting_number"] = draw(st.integers(1, 99))
    return row


@st.composite
def readings(draw, tooth, kind, relation):
    """Return one reading that fits the unit."""
    site = draw(st.sampled_from(sites_for(tooth, kind, relation)))
    positioned = draw(st.booleans())
    quantity = quantity_at(site, tooth, relation, positioned=positioned)
    row = {"site": site.value}
    if quantity is Quantity.CLEARANCE:
        row["position"] = draw(st.sampled_from(list(Position))).value
    methods = set(Method)
    if quantity is Quantity.CLEARANCE:
        methods -= {Method.INDEX_PROBE}
    method = draw(st.sampled_from(sorted(methods)))
    row["method"] = method.value
    row |= draw(origins())
    if method is Method.STRIP:
        if draw(st.booleans()):
            row["delta_mm"] = draw(st.sampled_from(["0", "0.01", 0.05, "0.1234"]))
        return row | draw(strip_lengths())
    row["value_mm"] = draw(hundredths)
    if method is Method.SCAN and quantity is Quantity.CLEARANCE and draw(st.booleans()):
        row["value_mm"] = f"-{row['value_mm']}"
    if draw(st.booleans()):
        row["u_mm"] = draw(st.sampled_from(["0.001", "0.05", "0.1", "0.3", 1]))
    return row


@st.composite
def planned(draw, tooth, rule_set: RuleSet, kinds=tuple(Kind)):
    """Return a restoration for a tooth: kind, material and their choices."""
    kind = draw(
        st.sampled_from([k for k in kinds if sites_for(tooth, k, Relation.NORMAL)])
    )
    material = draw(st.sampled_from(rule_set.materials))
    row = {"tooth": tooth, "kind": kind.value, "material": material.key}
    if draw(st.booleans()):
        row["cementation"] = draw(st.sampled_from(material.cementations)).value
    if material.occlusal_surfaces and draw(st.booleans()):
        row["occlusal_surface"] = draw(
            st.sampled_from(material.occlusal_surfaces)
        ).value
    return row


@st.composite
def units(draw, tooth=None, rule_set: RuleSet = SHIPPED, kinds=tuple(Kind)):
    """Return one unit that parses, without a span."""
    tooth = tooth or draw(st.sampled_from(PERMANENT_TEETH))
    row = draw(planned(tooth, rule_set, kinds))
    relation = draw(st.sampled_from(list(Relation)))
    antagonist = draw(st.sampled_from(list(Antagonist)))
    if Relation.NO_ANTAGONIST in (relation, antagonist) or antagonist == "none":
        relation, antagonist = Relation.NO_ANTAGONIST, Antagonist.NONE
    if relation is Relation.NO_ANTAGONIST:
        antagonist = Antagonist.NONE
    row |= {"relation": relation.value, "antagonist": antagonist.value}
    if antagonist is Antagonist.PREPARED:
        opposite = [t for t in PERMANENT_TEETH if arch(t) is not arch(tooth)]
        near = [t for t in opposite if faces(tooth, t)]
        names = draw(st.lists(st.sampled_from(near), unique=True, max_size=3))
        row["antagonists"] = [draw(planned(name, rule_set)) for name in names]
        row["planned_plane"] = draw(st.booleans())
    if draw(st.booleans()):
        row["wall_heights_mm"] = draw(
            st.dictionaries(
                st.sampled_from(["facial", "lingual", "mesial", "distal"]), hundredths
            )
        )
        row["base_width_mm"] = draw(st.integers(1, 20))
    kind = Kind(row["kind"])
    row |= draw(structure(kind))
    row["readings"] = draw(st.lists(readings(tooth, kind, relation), max_size=6))
    return row


def structure(kind):
    """Return what may be stated of a preparation or an implant."""
    stated = {
        "convergence_deg": st.sampled_from([0, "12.5", 20, 90]),
        "dentine_mm": st.sampled_from([0, "0.4", "1.2", 3]),
    }
    if kind is Kind.IMPLANT_CROWN:
        stated["retention"] = st.sampled_from(["cement", "screw"])
    return st.fixed_dictionaries({}, optional=stated)


@st.composite
def bridges(draw):
    """Return units of one span in arch order, and its connectors."""
    quadrants = draw(st.sampled_from(["12", "34"]))
    jaw = sorted((t for t in PERMANENT_TEETH if t[0] in quadrants), key=arch_order)
    length = draw(st.integers(1, 4))
    first = draw(st.integers(0, len(jaw) - length))
    teeth = jaw[first : first + length]
    holding = draw(st.sampled_from(teeth))
    members = [
        draw(
            units(
                tooth,
                kinds=(Kind.RETAINER,)
                if tooth == holding
                else (Kind.RETAINER, Kind.PONTIC, Kind.CROWN),
            )
        )
        | {"span": "A"}
        for tooth in teeth
    ]
    sizes = st.sampled_from([1, "2.5", "3.2", 4])
    connectors = [
        {"between": list(pair), "height_mm": draw(sizes), "width_mm": draw(sizes)}
        for pair in zip(teeth, teeth[1:], strict=False)
        if draw(st.booleans())
    ]
    body: dict[str, Any] = {"units": draw(st.permutations(members))}
    return body | ({"connectors": connectors} if connectors else {})


@st.composite
def bodies(draw):
    """Return a request body that parses."""
    if draw(st.integers(0, 3)) == 0:
        return draw(bridges())
    teeth = draw(
        st.lists(
            st.sampled_from([t for t in PERMANENT_TEETH if t[0] in "12"]),
            unique=True,
            min_size=1,
            max_size=3,
        )
    )
    body: dict[str, Any] = {"units": [draw(units(tooth)) for tooth in teeth]}
    if draw(st.booleans()):
        body["decision"] = {"k": draw(st.sampled_from([0, 1, "1.645", 5]))}
    if draw(st.booleans()):
        body["explain"] = draw(st.booleans())
    return body


scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.decimals(),
    st.text(max_size=8),
    st.sampled_from([*Kind, *Method, *Relation, *Position, *PERMANENT_TEETH, "1,5"]),
)
json_values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.text(max_size=6), inner, max_size=4),
    ),
    max_leaves=12,
)


@st.composite
def broken_bodies(draw):
    """Return a body that parses but for some values replaced by anything."""
    body = draw(bodies())
    for _ in range(draw(st.integers(1, 3))):
        place = body
        for _depth in range(draw(st.integers(1, 4))):
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            if not keys:
                break
            key = draw(st.sampled_from(keys))
            inner = place[key]
            if not isinstance(inner, dict | list) or draw(st.booleans()):
                place[key] = draw(json_values)
                break
            place = inner
    return body
