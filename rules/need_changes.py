"""What changed among the needs of two rule sets, in sentences.

Needs are compared by what they are found by, one kind of restoration at a time, so
that a line split in two or moved elsewhere is no change. Kinds that changed alike
share a sentence.
"""

from collections.abc import Iterator
from typing import NamedTuple

from rules.requirements import Alternative, Need, RuleSet
from rules.terms import Kind, Message, label
from rules.wording import Said, changed, exact, labels, material_label, place, several

__all__ = ["need_changes"]


def _(text: str) -> str:
    return text


class _Question(NamedTuple):
    """What a need is found by, the kind aside."""

    material: str
    site: str
    quantity: str
    cementation: str | None
    occlusal_surface: str | None
    classes: frozenset[str]


_Lines = dict[_Question, dict[Kind, Need]]


def need_changes(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    """Yield a sentence for every need added, removed or changed."""
    old, new = _lines(before), _lines(after)
    for question in dict.fromkeys([*old, *new]):
        was, now = old.get(question, {}), new.get(question, {})
        groups: list[tuple[Need | None, Need | None, list[Kind]]] = []
        for kind in Kind:
            one, two = was.get(kind), now.get(kind)
            for first, second, kinds in groups:
                if _same(first, one) and _same(second, two):
                    kinds.append(kind)
                    break
            else:
                groups.append((one, two, [kind]))
        for one, two, kinds in groups:
            where = _where(after if two else before, question, kinds)
            yield from _change(where, one, two)


def _lines(rule_set: RuleSet) -> _Lines:
    found: _Lines = {}
    for need in rule_set.needs:
        question = _Question(
            need.material,
            need.site,
            need.quantity,
            need.cementation,
            need.occlusal_surface,
            frozenset(need.classes),
        )
        found.setdefault(question, {}).update(dict.fromkeys(need.kinds, need))
    return found


def _same(one: Need | None, two: Need | None) -> bool:
    if one is None or two is None:
        return one is two
    return _content(one) == _content(two)


def _content(need: Need) -> tuple[object, ...]:
    # With a thickness the sum follows from the set's allowances, told on their own.
    least = need.min_mm if need.thickness_mm is None else None
    return (
        least,
        need.thickness_mm,
        need.target_mm,
        need.max_mm,
        frozenset(need.positions),
        need.source,
        need.note,
        need.alternatives,
    )


def _where(rule_set: RuleSet, question: _Question, kinds: list[Kind]) -> Said:
    words = [material_label(rule_set, question.material), *map(label, kinds)]
    words.append(place(question.site))
    stated = (question.cementation, question.occlusal_surface)
    words += [place(word) for word in stated if word]
    words += [place(word) for word in sorted(question.classes)]
    return several(words)


def _change(where: Said, one: Need | None, two: Need | None) -> Iterator[Message]:
    if one is not None and two is not None:
        if _content(one) != _content(two):
            yield from _changed(where, one, two)
    elif two is not None:
        params: dict[str, Said] = {
            "where": where,
            "quantity": label(two.quantity),
            "need": exact(two.min_mm),
            "target": exact(two.target_mm),
            "source": two.source,
        }
        yield Message(
            _(
                "{where}: new need of {need} mm {quantity}, target {target} mm. "
                "Source: {source}."
            ),
            params,
        )
    elif one is not None:
        yield Message(
            _("{where}: the need of {need} mm {quantity} is gone."),
            {
                "where": where,
                "quantity": label(one.quantity),
                "need": exact(one.min_mm),
            },
        )


def _changed(where: Said, one: Need, two: Need) -> Iterator[Message]:
    yield from _least(where, one, two)
    at: dict[str, Said] = {"where": where, "quantity": label(two.quantity)}
    if one.target_mm != two.target_mm:
        yield Message(
            _("{where}: the target is {after} mm {quantity} instead of {before} mm."),
            {**at, "before": exact(one.target_mm), "after": exact(two.target_mm)},
        )
    if one.max_mm != two.max_mm:
        before = "" if one.max_mm is None else exact(one.max_mm)
        after = "" if two.max_mm is None else exact(two.max_mm)
        yield changed(at, before, after, _MOST)
    if set(one.positions) != set(two.positions):
        yield Message(
            _("{where}: positions of its own: {after}; before: {before}."),
            {**at, "before": labels(one.positions), "after": labels(two.positions)},
        )
    if one.alternatives != two.alternatives:
        yield Message(
            _("{where}: other figures recorded: {after}; before: {before}."),
            {
                **at,
                "before": _figures(one.alternatives),
                "after": _figures(two.alternatives),
            },
        )
    if one.source != two.source:
        yield changed(at, one.source, two.source, _SOURCE)
    if one.note != two.note:
        yield changed(at, one.note, two.note, _NOTE)


_MOST = {
    "added": _("{where}: more than {after} mm {quantity} is now advised against."),
    "removed": _("{where}: no most is stated any longer; it was {before} mm."),
    "changed": _("{where}: the most is {after} mm {quantity} instead of {before} mm."),
}
_SOURCE = {"changed": _("{where}: the source is “{after}” instead of “{before}”.")}
_NOTE = {
    "added": _("{where}: new note “{after}”."),
    "removed": _("{where}: the note “{before}” is gone."),
    "changed": _("{where}: the note is “{after}” instead of “{before}”."),
}


def _least(where: Said, one: Need, two: Need) -> Iterator[Message]:
    thin, thick = one.thickness_mm, two.thickness_mm
    params: dict[str, Said] = {
        "where": where,
        "quantity": label(two.quantity),
        "before": exact(one.min_mm),
        "after": exact(two.min_mm),
    }
    if thin is not None and thick is not None:
        if thin != thick:
            walls = {"thin": exact(thin), "thick": exact(thick)}
            yield Message(
                _(
                    "{where}: the wall is {thick} mm instead of {thin} mm, so the need "
                    "is {after} mm {quantity}."
                ),
                {**params, **walls},
            )
    elif thick is not None:
        yield Message(
            _(
                "{where}: the need of {after} mm {quantity} is built from a wall of "
                "{thick} mm; before {before} mm were stated."
            ),
            {**params, "thick": exact(thick)},
        )
    elif thin is not None:
        yield Message(
            _(
                "{where}: the need of {after} mm {quantity} is stated; before "
                "{before} mm were built from a wall of {thin} mm."
            ),
            {**params, "thin": exact(thin)},
        )
    elif one.min_mm != two.min_mm:
        yield Message(
            _("{where}: the need is {after} mm {quantity} instead of {before} mm."),
            params,
        )


def _figures(others: tuple[Alternative, ...]) -> Said:
    return several(
        [
            Message(
                _("{least} mm ({said})"),
                {
                    "least": exact(other.min_mm),
                    "said": "; ".join(filter(None, (other.source, other.note))),
                },
            )
            for other in others
        ]
    )
