"""Words for differences between rule sets: lists, places, lengths.

A list is a message of messages, so that each word is translated by itself.
"""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from enum import StrEnum

from rules.readings import plain
from rules.requirements import NON_WORKING, WORKING, RuleSet
from rules.terms import Message, Position, Role, Site, label

__all__ = [
    "Said",
    "changed",
    "changed_facts",
    "exact",
    "labels",
    "material_label",
    "place",
    "several",
]


def _(text: str) -> str:
    return text


Said = str | Message
_SIDES = {WORKING: _("working side"), NON_WORKING: _("non-working side")}
_NONE = _("none")


def exact(length: Decimal) -> str:
    """Return a length with every decimal it has, at least one."""
    text = plain(length)
    return text if "." in text else f"{text}.0"


def several(words: Sequence[Said]) -> Said:
    """Return words parted by commas; "none" where there are none."""
    if not words:
        return _NONE
    if len(words) == 1:
        return words[0]
    return Message(
        _("{first}, {rest}"), {"first": words[0], "rest": several(words[1:])}
    )


def labels(terms: Iterable[StrEnum | str]) -> Said:
    """Return the labels of terms, parted by commas."""
    return several([place(term) for term in terms])


def place(term: str) -> str:
    """Return the label of a site, a cusp role, a jaw position or another term."""
    if isinstance(term, StrEnum):
        return label(term)
    for words in (Site, Role, Position):
        if term in set(words):
            return label(words(term))
    return _SIDES.get(term, term)


def material_label(rule_set: RuleSet, key: str) -> str:
    """Return what a material is called in a set; its key where the set lacks it."""
    known = rule_set.material(key)
    return known.label if known else key


def changed(
    params: dict[str, Said], before: Said, after: Said, words: dict[str, str]
) -> Message:
    """Return the sentence for a text that was added, removed or changed.

    ``words`` has the three templates by those names; an empty text is none.
    """
    shape = "changed" if before and after else "added" if after else "removed"
    return Message(words[shape], {**params, "before": before, "after": after})


def changed_facts(
    where: Said, facts: Iterable[tuple[str, Said, Said]]
) -> Iterator[Message]:
    """Yield a sentence for every fact (name, before, after) that changed."""
    for name, before, after in facts:
        if before != after:
            yield changed({"where": where, "fact": name}, before, after, _FACT)


_FACT = {
    "added": _("{where}, {fact}: {after}; before: none."),
    "removed": _("{where}, {fact}: none; before: {before}."),
    "changed": _("{where}, {fact}: {after}; before: {before}."),
}
