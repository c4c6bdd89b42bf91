"""What the lines of a rule set must agree on with each other.

Every line comes with the pointer it was read at, so that a fault names the line.
"""

from collections.abc import Callable, Collection, Hashable, Sequence
from typing import TypeVar

from rules.reader import Faults, at, shown
from rules.requirements import Charge, Material, MethodDefault, Need, SpanLimit
from rules.terms import Method

__all__ = [
    "Placed",
    "check_charges",
    "check_materials",
    "check_methods",
    "check_needs",
    "check_span_limits",
]


def _(text: str) -> str:
    return text


Line = TypeVar("Line")
Placed = Sequence[tuple[str, Line]]


def check_materials(
    faults: Faults, materials: Placed[Material], named: Collection[str]
) -> None:
    """Every key stands once, and every product under a class."""
    seen: set[str] = set()
    for pointer, material in materials:
        if material.key in seen:
            faults.add(
                at(pointer, "key"),
                _("The material “{key}” stands twice."),
                key=material.key,
            )
        seen.add(material.key)
    under: dict[str, str | None] = dict.fromkeys(named)
    under |= {m.key: m.under for _pointer, m in materials}
    for pointer, material in materials:
        if material.under is not None:
            _check_under(faults, material, at(pointer, "under"), under)


def _check_under(
    faults: Faults, material: Material, pointer: str, under: dict[str, str | None]
) -> None:
    key, above = material.key, material.under or ""
    params = {"key": shown(key), "under": shown(above)}
    if above == key:
        message = _("“{key}” stands under itself: name the class it belongs to.")
    elif above not in under:
        message = _("“{under}” is not a material of this rule set.")
    elif under[above] == key:
        message = _("“{key}” and “{under}” stand under each other: one is the class.")
    elif under[above] is not None:
        message = _("“{under}” is a product itself: name its class instead.")
    else:
        return
    faults.add(pointer, message, **params)


def check_methods(faults: Faults, methods: Sequence[MethodDefault]) -> None:
    """Every point method has one standard uncertainty, a strip has none."""
    named = [line.method for line in methods]
    for method in Method:
        wanted = 0 if method is Method.STRIP else 1
        if named.count(method) != wanted:
            faults.add(
                "/methods",
                _("The method “{method}” needs exactly one standard uncertainty."),
                method=method.value,
            )


def check_needs(faults: Faults, needs: Placed[Need]) -> None:
    """Refuse two lines that would answer the same question equally precisely."""
    _check_rivals(
        faults, needs, lambda n: (n.material, n.site, n.quantity, n.precision), _answer
    )


def _answer(one: Need, two: Need) -> bool:
    pairs = (
        (one.cementation, two.cementation),
        (one.occlusal_surface, two.occlusal_surface),
    )
    return (
        not set(one.kinds).isdisjoint(two.kinds)
        and all(a is None or b is None or a is b for a, b in pairs)
        and (
            not (one.classes and two.classes)
            or not set(one.classes).isdisjoint(two.classes)
        )
    )


def check_span_limits(
    faults: Faults, limits: Placed[SpanLimit], named: Collection[str]
) -> None:
    """Every limit is a known material's, and no two speak of the same span."""
    _check_known(faults, [(p, line.material) for p, line in limits], named)
    _check_rivals(
        faults,
        limits,
        lambda line: (line.material, line.region, line.cantilever),
        lambda one, two: (
            one.units_from <= two.units_to and two.units_from <= one.units_to
        ),
    )


def check_charges(
    faults: Faults, charges: Placed[Charge], named: Collection[str]
) -> None:
    """Every charge is a known material's, and no two hold for the same kind."""
    _check_known(faults, [(p, line.material) for p, line in charges], named)
    _check_rivals(
        faults,
        charges,
        lambda line: (line.material, bool(line.kinds)),
        lambda one, two: not one.kinds or not set(one.kinds).isdisjoint(two.kinds),
    )


def _check_known(faults: Faults, placed: Placed[str], named: Collection[str]) -> None:
    for pointer, material in placed:
        if material not in named:
            faults.add(
                at(pointer, "material"),
                _("“{value}” is not a material of this rule set."),
                value=shown(material),
            )


def _check_rivals(
    faults: Faults,
    lines: Placed[Line],
    place_of: Callable[[Line], Hashable],
    rivals: Callable[[Line, Line], bool],
) -> None:
    places: dict[Hashable, list[tuple[str, Line]]] = {}
    for pointer, line in lines:
        others = places.setdefault(place_of(line), [])
        rival = next((where for where, other in others if rivals(line, other)), None)
        # Only lines that stand are compared with, so that a text of thousands of
        # equal lines is refused quickly.
        if rival is None:
            others.append((pointer, line))
        else:
            faults.add(
                pointer, _("This line and {other} answer the same."), other=rival
            )
