"""Another material, or another occlusal surface of the same one.

A change holds for the whole span: it is feasible only where every unit of it has
room, and where class, span limit and connectors allow it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from rules.explain import mm
from rules.requirements import RuleSet
from rules.results import Option
from rules.span_layout import Layout
from rules.span_limits import Limits, limits_of
from rules.subject import Outcome, Subject
from rules.teeth import is_anterior, site_label
from rules.terms import (
    Cementation,
    Kind,
    Message,
    OcclusalSurface,
    Quantity,
    Site,
)
from rules.variants import Variant, VariantKey

__all__ = ["SpanWays", "material_ways"]


def _(text: str) -> str:
    return text


_Heard = tuple[Subject, Outcome]
_FULL_METAL = "full_metal"
# Later than any laboratory promises: days that are not stated come last.
_UNSTATED = 10_000
_LINE = (Site.FINISH_LINE, Quantity.WIDTH)
_FRONT = ((Site.FACIAL_SURFACE, Quantity.REDUCTION), _LINE)
_BACK = ((Site.FACIAL_WALL, Quantity.REDUCTION), _LINE)


@dataclass(slots=True, eq=False)
class SpanWays:
    """A span with the subjects of all its units; everything is worked out once."""

    layout: Layout
    members: tuple[Subject, ...]
    _limits: dict[str, Limits] = field(default_factory=dict)
    _heard: dict[VariantKey, tuple[_Heard, ...]] = field(default_factory=dict)

    def limits(self, rule_set: RuleSet, material: str) -> Limits:
        """Return what holds for the span in a material."""
        if material not in self._limits:
            self._limits[material] = limits_of(rule_set, self.layout, material)
        return self._limits[material]

    def heard(self, key: VariantKey) -> tuple[_Heard, ...]:
        """Return the units of which something is to be said, all made in a variant."""
        if key not in self._heard:
            outcomes = ((one, one.outcome(one.plan[key])) for one in self.members)
            self._heard[key] = tuple(
                (one, found) for one, found in outcomes if found[2] or found[3]
            )
        return self._heard[key]


def material_ways(subject: Subject, span: SpanWays | None) -> list[Option]:
    """Return every change of design, then of material, the quickest first."""
    found = sorted(subject.variants(), key=lambda variant: _rank(subject, variant))
    return [_way(subject, variant, span) for variant in found]


def _rank(subject: Subject, variant: Variant) -> tuple[bool, bool, int]:
    """Settled before undecided, bare metal in front last, then the quickest first."""
    metal = variant.material.key == _FULL_METAL and is_anterior(subject.unit.tooth)
    days = _UNSTATED if variant.days is None else variant.days
    return bool(subject.outcome(variant).doubts), metal, days


def _way(subject: Subject, variant: Variant, span: SpanWays | None) -> Option:
    material, surface, cementation = variant.key
    own = material == subject.unit.material
    reasons = _reasons(subject, variant, span)
    design = own and surface is not subject.unit.occlusal_surface
    return Option(
        "change_design" if design else "change_material",
        not reasons,
        reasons,
        () if reasons else tuple(_consequences(subject, variant, span)),
        material,
        surface,
        cementation,
    )


def _reasons(
    subject: Subject, variant: Variant, span: SpanWays | None
) -> tuple[Message, ...]:
    outcome = subject.outcome(variant)
    found = outcome.reasons
    if not found and not outcome.settles:
        found = (_SETTLES_NOTHING,)
    if variant.material.provisional and not subject.provisional:
        found = (_PROVISIONAL, *found)
    own = variant.material.key == subject.unit.material
    if not own and subject.rule_set.class_of(subject.unit.material) == variant.key[0]:
        # Else the class's thinner figure would get round the instructions for use.
        found = (_OWN_CLASS, *found)
    if span is None:
        alone = not own and subject.unit.kind is not Kind.PONTIC
        return found + variant.weak if alone else found
    for other, outcome in span.heard(variant.key):
        if other is not subject:
            found += outcome.elsewhere
    # A limit the span breaks as it is planned is not broken by a change of design.
    limits = () if own else span.limits(subject.rule_set, variant.key[0]).faults
    return found + limits


def _consequences(
    subject: Subject, variant: Variant, span: SpanWays | None
) -> Iterator[Message]:
    yield _REMOVES_NOTHING
    yield variant.charge
    own = variant.material.key == subject.unit.material
    if span is not None:
        yield Message(_WHOLE_SPAN, {"span": span.layout.span})
        if not own:
            yield from span.limits(subject.rule_set, variant.material.key).notes
            yield _INSTRUCTIONS
        for other, outcome in span.heard(variant.key):
            if other is not subject:
                yield from outcome.unknown
    elif not own:
        yield from variant.unclassed
    yield from _unread(subject, variant)
    yield from _looks(variant, own)
    yield from _cementation(subject, variant)
    yield from subject.outcome(variant).doubts


def _unread(subject: Subject, variant: Variant) -> Iterator[Message]:
    """Name places nobody read where the other restoration needs more than this one."""
    unit, read = subject.unit, subject.places
    now = subject.plan.get((unit.material, unit.occlusal_surface, unit.cementation))
    more = []
    for place in _FRONT if is_anterior(unit.tooth) else _BACK:
        then = None if place in read else variant.line(*place)
        least = now.line(*place) if now else None
        if then and (least is None or then.min_mm > least.min_mm):
            params = {"site": site_label(place[0], unit.tooth), "need": mm(then.min_mm)}
            more.append(Message(_MORE, params))
    yield from more


def _looks(variant: Variant, own: bool) -> Iterable[Message]:
    surface = variant.planned.occlusal_surface
    if variant.material.key == _FULL_METAL:
        yield _ALL_METAL
    if surface is OcclusalSurface.METAL:
        yield _METAL
    elif surface is OcclusalSurface.MONOLITHIC:
        yield _MONOLITHIC
    if not own:
        yield _SHADE


def _cementation(subject: Subject, variant: Variant) -> Iterable[Message]:
    """Say what a change of cementation asks for (common practice, no source)."""
    now, then = subject.unit.cementation, variant.planned.cementation
    if then is Cementation.ADHESIVE and now is not Cementation.ADHESIVE:
        yield _DRY
    elif then is Cementation.CONVENTIONAL and now is not Cementation.CONVENTIONAL:
        yield _HOLDS


_OWN_CLASS = Message(
    _(
        "The planned product is of this class: its instructions for use hold. Name "
        "another product with its own."
    )
)
_MORE = _("At the {site}, not read: it needs {need} mm, more than planned now.")
_SETTLES_NOTHING = Message(
    _("It settles nothing: what is in doubt now stays in doubt in it.")
)
_PROVISIONAL = Message(_("A provisional material makes no final restoration."))
_REMOVES_NOTHING = Message(
    _("Nothing is removed. A new prescription revision is signed.")
)
_WHOLE_SPAN = _("The whole span {span} changes with it.")
_INSTRUCTIONS = Message(
    _(
        "Take the class and the section of the connectors from the instructions for "
        "use of the material at hand."
    )
)
_ALL_METAL = Message(_("The restoration shows metal all over: ask the patient."))
_METAL = Message(_("The occlusal surface shows metal: ask the patient."))
_MONOLITHIC = Message(
    _(
        "The contacts lie in the unlayered ceramic; only the facial surface is "
        "layered. Show the patient the shade."
    )
)
_SHADE = Message(
    _("Shade, translucency and the wear of the opposing tooth may differ.")
)
_DRY = Message(
    _(
        "It is cemented adhesively: the field must be kept dry, and the finish line "
        "is best in enamel."
    )
)
_HOLDS = Message(
    _("It is cemented conventionally: wall height and convergence alone must hold it.")
)
