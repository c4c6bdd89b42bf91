"""The first part of a derivation: what is needed at a site, and where it comes from.

Lengths are written exactly, so that a derivation can be worked through by hand.
"""

from collections.abc import Iterator

from rules.grounds import Grounds
from rules.needs import Sharing
from rules.notes import no_need_note
from rules.numbers import plain
from rules.requirements import Need, RuleSet
from rules.teeth import site_label, surface_label
from rules.terms import Message, Role, Site, label

__all__ = ["need_derivation"]


def _(text: str) -> str:
    return text


_SITES = frozenset(Site)


def need_derivation(grounds: Grounds) -> Iterator[Message]:
    """Yield the line of the rule set, how its figure is built, and other figures."""
    need = grounds.need
    if need.own is None:
        yield no_need_note(grounds)
        return
    yield from _line(grounds, need.own, grounds.unit.tooth)
    yield from _lineage(grounds, need.own)
    if need.facing is not None and need.sharing is Sharing.SUMMED:
        yield from _line(grounds, need.facing, need.facing_tooth)
        yield Message(
            _(
                "Both teeth are prepared, so both needs share the gap: {own} mm + "
                "{facing} mm = {need} mm; targets {own_target} mm + {facing_target} mm "
                "= {target} mm."
            ),
            {
                "own": plain(need.own.min_mm),
                "facing": plain(need.facing.min_mm),
                "need": plain(need.own.min_mm + need.facing.min_mm),
                "own_target": plain(need.own.target_mm),
                "facing_target": plain(need.facing.target_mm),
                "target": plain(need.own.target_mm + need.facing.target_mm),
            },
        )
    for other in need.own.alternatives:
        params = {"need": plain(other.min_mm), "source": other.source}
        if other.note:
            yield Message(
                _("Another figure for the same need: {need} mm ({source}; {note})."),
                {**params, "note": other.note},
            )
        else:
            yield Message(
                _("Another figure for the same need: {need} mm ({source})."), params
            )


def _line(grounds: Grounds, line: Need, tooth: str) -> Iterator[Message]:
    yield Message(
        _(
            "Need on tooth {tooth} by the line {material}, {place}{conditions}: at "
            "least {need} mm of {quantity}, target {target} mm. Source: {source}."
        ),
        {
            "tooth": tooth,
            "material": _material(grounds.rule_set, line.material),
            "place": _place(line.site, tooth),
            "conditions": _conditions(line, tooth),
            "need": plain(line.min_mm),
            "quantity": label(line.quantity),
            "target": plain(line.target_mm),
            "source": line.source,
        },
    )
    if line.thickness_mm is not None:
        yield Message(
            _(
                "The line states the finished wall: {thickness} mm thickness + {cement} "
                "mm cement space + {adjustment} mm adjustment allowance = {need} mm."
            ),
            {
                "thickness": plain(line.thickness_mm),
                "cement": plain(grounds.rule_set.cement_space_mm),
                "adjustment": plain(grounds.rule_set.adjustment_mm),
                "need": plain(line.min_mm),
            },
        )


def _material(rule_set: RuleSet, key: str) -> str:
    found = rule_set.material(key)
    return found.label if found else key


def _place(site: str, tooth: str) -> str:
    """Return what a line speaks of: a site, or a cusp role."""
    return site_label(Site(site), tooth) if site in _SITES else label(Role(site))


def _conditions(line: Need, tooth: str) -> str | Message:
    """Return what the line is bound to, as "", ", adhesive cementation" or both."""
    words: list[str] = []
    if line.occlusal_surface is not None:
        words.append(surface_label(line.occlusal_surface, tooth))
    if line.cementation is not None:
        words.append(label(line.cementation))
    if not words:
        return ""
    if len(words) == 1:
        return Message(_(", {one}"), {"one": words[0]})
    return Message(_(", {one}, {other}"), {"one": words[0], "other": words[1]})


def _lineage(grounds: Grounds, line: Need) -> Iterator[Message]:
    """Say whether a product's own line holds or that of the class it stands under."""
    material = grounds.rule_set.material(grounds.unit.material)
    if material is None or material.under is None:
        return
    params = {
        "product": material.label,
        "class": _material(grounds.rule_set, material.under),
        "instructions": material.instructions,
    }
    if line.material != material.key:
        yield Message(
            _(
                "{product} has no line of its own here: that of its class {class} holds."
            ),
            params,
        )
    elif material.instructions:
        yield Message(
            _(
                "{product} has a line of its own, which overrules its class {class}: "
                "{instructions}."
            ),
            params,
        )
    else:
        yield Message(
            _("{product} has a line of its own, which overrules its class {class}."),
            params,
        )
