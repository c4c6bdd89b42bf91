"""Whose verdicts a change of the rule set could change.

What decides a verdict: the guard factor and what readings stand for, the required
sites and positions, and of a need its least and its own positions. Targets, notes,
sources, spans and charges decide none.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rules.request import CheckRequest
from rules.requirements import Need, RuleSet
from rules.terms import Kind

__all__ = ["Pair", "Scope", "changed_lines"]

# Material key and kind of restoration.
Pair = tuple[str, Kind]


@dataclass(frozen=True, slots=True)
class Scope:
    """Units whose verdict could change: every one, or those of some pairs.

    A unit prepared against another one is concerned by that one's pair as well.
    """

    everything: bool
    pairs: frozenset[Pair] = frozenset()

    def concerns(self, request: CheckRequest) -> bool:
        """Tell whether any verdict of a request could change."""
        if self.everything:
            return True
        own = {(unit.material, unit.kind) for unit in request.units}
        facing = {(f.material, f.kind) for u in request.units for f in u.antagonists}
        return not self.pairs.isdisjoint(own | facing)


def changed_lines(before: RuleSet, after: RuleSet) -> Scope:
    """Return whose verdicts could differ between two rule sets.

    Units outside the scope have the same verdicts under both; within it most will.
    """
    if _general(before) != _general(after):
        return Scope(everything=True)
    pairs = set(_changed_needs(before, after))
    pairs |= set(_changed_materials(before, after))
    under = {
        (material.under, material.key)
        for rule_set in (before, after)
        for material in rule_set.materials
        if material.under
    }
    inherited = {(key, k) for above, key in under for m, k in pairs if m == above}
    return Scope(everything=False, pairs=frozenset(pairs | inherited))


def _general(rule_set: RuleSet) -> tuple[object, ...]:
    """Return what every unit is judged by, in a form that order does not change."""
    required = {
        (*map(frozenset, (r.sites, r.kinds, r.classes, r.relations)), r.arch)
        for r in rule_set.required_sites
    }
    positions = {
        (*map(frozenset, (p.sites, p.required, p.advised, p.relations)), p.arch)
        for p in rule_set.positions
    }
    return (
        rule_set.k,
        rule_set.strip_delta_mm,
        rule_set.drag_mm,
        rule_set.u_by_method,
        required,
        positions,
    )


def _deciding(rule_set: RuleSet) -> dict[tuple[object, ...], tuple[object, ...]]:
    """Return what decides, by everything a need is found by."""
    return {
        (*_question(need), kind): (need.min_mm, frozenset(need.positions))
        for need in rule_set.needs
        for kind in need.kinds
    }


def _question(need: Need) -> tuple[object, ...]:
    classes = frozenset(need.classes)
    conditions = (need.cementation, need.occlusal_surface, classes)
    return need.material, need.site, need.quantity, *conditions


def _changed_needs(before: RuleSet, after: RuleSet) -> Iterator[Pair]:
    old, new = _deciding(before), _deciding(after)
    for key in old.keys() | new.keys():
        if old.get(key) != new.get(key):
            material, kind = key[0], key[-1]
            # The key is built above: a material's key first, a kind last.
            if isinstance(material, str) and isinstance(kind, Kind):
                yield material, kind


def _changed_materials(before: RuleSet, after: RuleSet) -> Iterable[Pair]:
    """A material that comes, goes or changes its class or its choices."""

    def choices(rule_set: RuleSet) -> dict[str, tuple[object, ...]]:
        return {
            m.key: (m.under, m.cementations, m.occlusal_surfaces)
            for m in rule_set.materials
        }

    old, new = choices(before), choices(after)
    for material in old.keys() | new.keys():
        if old.get(material) != new.get(material):
            yield from ((material, kind) for kind in Kind)
