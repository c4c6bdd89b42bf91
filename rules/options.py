"""Ways out of a shortage, each with what it would cost (design section 5).

Infeasible options stay in the list with their reason. Order: feasible first, then
least removal of sound tissue, then least change of the prescription, then least
time. Accepting a risk leaves a need unmet, so it counts as the larger change.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from rules.explain import mm
from rules.reprep import re_preparation
from rules.request import Unit
from rules.requirements import RuleSet
from rules.results import Option, SiteCheck
from rules.risk import accept_risk
from rules.terms import (
    Cementation,
    Doubt,
    Message,
    OcclusalSurface,
    Verdict,
    label,
)

__all__ = ["Judge", "options_for"]


def _(text: str) -> str:
    return text


Judge = Callable[[Unit], tuple[SiteCheck, ...]]

_ZERO = Decimal(0)
# Change of the prescription and time, as ranks.
_CHANGE = {"change_material": 1, "accept_risk": 2}
_TIME = {"re_measure": 1, "new_jaw_record": 2, "change_material": 1}
_RE_PREPARATION_TIME = 3
_FULL_METAL = "full_metal"
# Doubts that no reading can settle.
_NOT_MEASURED = {Doubt.NO_NEED, Doubt.FACING_NEED_UNKNOWN, Doubt.SPLIT_NOT_FIXED}


def options_for(
    rule_set: RuleSet,
    unit: Unit,
    sites: Sequence[SiteCheck],
    judge: Judge,
) -> tuple[Option, ...]:
    """Return the ways out for a unit; none where every site is sufficient.

    ``judge`` judges the unit's readings anew under another material.
    """
    doubtful = [
        site
        for site in sites
        if site.verdict in (Verdict.INSUFFICIENT, Verdict.UNDECIDED)
    ]
    unread = [site for site in sites if site.verdict is Verdict.UNMEASURED]
    if not doubtful and not unread:
        return ()
    found = [_re_measure(doubtful, unread)]
    if doubtful:
        found += _new_jaw_record(doubtful)
        found += [
            _change_material(rule_set, unit, variant, judge(variant))
            for variant in _variants(rule_set, unit)
        ]
        found.append(accept_risk(doubtful, unread))
    if option := re_preparation(unit, sites):
        found.append(option)
    return tuple(sorted(found, key=_order))


def _order(option: Option) -> tuple[bool, Decimal, int, int]:
    removal = max((high for _site, _low, high in option.depth_mm), default=_ZERO)
    return (
        not option.feasible,
        removal,
        _CHANGE.get(option.kind, 0),
        _TIME.get(option.kind, _RE_PREPARATION_TIME),
    )


def _re_measure(doubtful: Sequence[SiteCheck], unread: Sequence[SiteCheck]) -> Option:
    needed = unread or not all(
        site.doubts and set(site.doubts) <= _NOT_MEASURED for site in doubtful
    )
    if not needed:
        return Option("re_measure", feasible=False, reasons=(Message(_NO_HELP),))
    consequences = [
        Message(_("At the {site}: take the missing reading."), {"site": site.label})
        for site in unread
    ]
    proven = [s for s in doubtful if s.verdict is Verdict.INSUFFICIENT and not s.doubts]
    if proven and len(proven) == len(doubtful):
        consequences.append(Message(_PROVEN))
    consequences.append(Message(_NEW_ROUND))
    return Option("re_measure", feasible=True, consequences=tuple(consequences))


_NO_HELP = _("What is missing here is no reading: see the advice at the sites.")
_PROVEN = _(
    "The readings prove the shortage; measuring again helps only if they are wrong."
)
_NEW_ROUND = _(
    "Nothing is removed. The laboratory remounts or measures once more and a new round "
    "of readings begins."
)


def _new_jaw_record(doubtful: Sequence[SiteCheck]) -> list[Option]:
    """Offer a new jaw record where mouth, model or scan contradict each other."""
    causes = {Doubt.DISAGREEMENT, Doubt.INTERPENETRATION}
    if not any(causes & set(site.doubts) for site in doubtful):
        return []
    return [
        Option(
            "new_jaw_record",
            feasible=True,
            consequences=(
                Message(
                    _(
                        "Nothing is removed. The clinic takes a new jaw record; the "
                        "readings are repeated on it."
                    )
                ),
            ),
        )
    ]


def _variants(rule_set: RuleSet, unit: Unit) -> Iterator[Unit]:
    """Yield the unit in every other material and occlusal surface.

    Its own material comes with its other cementations too, where needs differ by it.
    """
    for material in rule_set.materials:
        surfaces: tuple[OcclusalSurface | None, ...] = material.occlusal_surfaces
        cementations = material.cementations[:1]
        if material.key == unit.material:
            differs = rule_set.cementation_matters(material.key)
            cementations = material.cementations if differs else (unit.cementation,)
        for surface in surfaces or (None,):
            for cementation in cementations:
                variant = replace(
                    unit,
                    material=material.key,
                    occlusal_surface=surface,
                    cementation=cementation,
                )
                if variant != unit:
                    yield variant


def _change_material(
    rule_set: RuleSet, unit: Unit, variant: Unit, sites: Sequence[SiteCheck]
) -> Option:
    reasons: list[Message] = []
    material = rule_set.material(variant.material)
    current = rule_set.material(unit.material)
    if material and current and material.provisional and not current.provisional:
        reasons.append(Message(_("A provisional material makes no final restoration.")))
    if not rule_set.has_needs(variant.material, unit.kind):
        reasons.append(
            Message(
                _("The rule set states no need for this material as {kind}."),
                {"kind": label(unit.kind)},
            )
        )
    else:
        reasons += [_short(site) for site in sites if _is_short(site)]
    return Option(
        "change_material",
        feasible=not reasons,
        reasons=tuple(reasons),
        consequences=() if reasons else tuple(_costs(unit, variant, sites)),
        material=variant.material,
        occlusal_surface=variant.occlusal_surface,
        cementation=variant.cementation,
    )


def _is_short(site: SiteCheck) -> bool:
    unknown = site.measured and Doubt.NO_NEED in site.doubts
    return site.verdict is Verdict.INSUFFICIENT or unknown


def _short(site: SiteCheck) -> Message:
    if site.need_mm is None:
        return Message(
            _("At the {site}: the rule set states no need for it."),
            {"site": site.label},
        )
    return Message(
        _("At the {site}: it needs {need} mm, so {most} mm may be missing."),
        {
            "site": site.label,
            "need": mm(site.need_mm),
            "most": mm(site.shortage_high_mm or _ZERO),
        },
    )


def _costs(unit: Unit, variant: Unit, sites: Sequence[SiteCheck]) -> Iterator[Message]:
    yield Message(
        _(
            "Nothing is removed. A new prescription revision is signed; price and days "
            "follow the laboratory's table."
        )
    )
    if unit.span is not None:
        yield Message(_("The whole span {span} changes with it."), {"span": unit.span})
        yield Message(
            _(
                "Length of the span, connectors and class (ISO 6872) must allow it: see "
                "the instructions for use."
            )
        )
    adhesive = variant.cementation is Cementation.ADHESIVE
    if adhesive and unit.cementation is not Cementation.ADHESIVE:
        yield Message(_("It is cemented adhesively: the field must be kept dry."))
    if variant.material == _FULL_METAL:
        yield Message(_("The restoration shows metal all over: ask the patient."))
    if variant.occlusal_surface is OcclusalSurface.METAL:
        yield Message(_("The occlusal surface shows metal: ask the patient."))
    for site in sites:
        if site.verdict is Verdict.UNDECIDED:
            yield Message(
                _("At the {site}: undecided in this material too."),
                {"site": site.label},
            )
