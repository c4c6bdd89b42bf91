"""What changed among required sites, positions, spans and charges, in sentences."""

from collections import Counter
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from typing import TypeVar

from rules.requirements import (
    Charge,
    PositionRule,
    RequiredSites,
    RuleSet,
    SpanLimit,
)
from rules.terms import Kind, Message, label
from rules.wording import Said, changed_facts, exact, labels, material_label, several

__all__ = [
    "charge_changes",
    "position_changes",
    "required_changes",
    "span_changes",
]


def _(text: str) -> str:
    return text


Line = TypeVar("Line")
Key = TypeVar("Key", bound=Hashable)


def _gone_and_new(
    before: Sequence[Line],
    after: Sequence[Line],
    content: Callable[[Line], Hashable],
) -> tuple[list[Line], list[Line]]:
    """Return the lines only one side has; equal lines are struck off one by one."""

    def only(mine: Sequence[Line], others: Sequence[Line]) -> list[Line]:
        left = Counter(content(line) for line in others)
        found = []
        for line in mine:
            if left[content(line)]:
                left[content(line)] -= 1
            else:
                found.append(line)
        return found

    return only(before, after), only(after, before)


def _scope(*conditions: Sequence[str]) -> Said:
    words = [word for condition in conditions for word in condition]
    return labels(words) if words else _("every unit")


def required_changes(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    """Yield a sentence for every line on required sites that came or went."""

    def content(line: RequiredSites) -> Hashable:
        sets = (line.sites, line.kinds, line.classes, line.relations)
        return (*map(frozenset, sets), line.arch, line.source)

    def said(line: RequiredSites) -> dict[str, Said]:
        jaw = (line.arch,) if line.arch else ()
        return {
            "sites": labels(line.sites),
            "scope": _scope(line.kinds, line.classes, jaw, line.relations),
            "source": line.source,
        }

    gone, new = _gone_and_new(before.required_sites, after.required_sites, content)
    for line in gone:
        yield Message(
            _("Gone: {sites} must be read ({scope}). Source: {source}."), said(line)
        )
    for line in new:
        yield Message(
            _("New: {sites} must be read ({scope}). Source: {source}."), said(line)
        )


def position_changes(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    """Yield a sentence for every line on jaw positions that came or went."""

    def content(line: PositionRule) -> Hashable:
        sets = (line.sites, line.required, line.advised, line.relations)
        return (*map(frozenset, sets), line.arch, line.source)

    def said(line: PositionRule) -> dict[str, Said]:
        jaw = (line.arch,) if line.arch else ()
        return {
            "sites": labels(line.sites),
            "scope": _scope(jaw, line.relations),
            "required": labels(line.required),
            "advised": labels(line.advised),
            "source": line.source,
        }

    gone, new = _gone_and_new(before.positions, after.positions, content)
    for line in gone:
        yield Message(
            _(
                "Gone: {sites} ({scope}) are read in: {required}; advised: {advised}. "
                "Source: {source}."
            ),
            said(line),
        )
    for line in new:
        yield Message(
            _(
                "New: {sites} ({scope}) are read in: {required}; advised: {advised}. "
                "Source: {source}."
            ),
            said(line),
        )


def _paired(
    before: Mapping[Key, Line], after: Mapping[Key, Line]
) -> Iterator[tuple[Key, Line | None, Line | None]]:
    for key in dict.fromkeys([*before, *after]):
        yield key, before.get(key), after.get(key)


_SpanKey = tuple[str, str, bool, int, int]


def span_changes(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    """Yield a sentence for every span limit added, removed or changed."""

    def by_span(rule_set: RuleSet) -> dict[_SpanKey, SpanLimit]:
        return {
            (s.material, s.region, s.cantilever, s.units_from, s.units_to): s
            for s in rule_set.span_limits
        }

    for _key, one, two in _paired(by_span(before), by_span(after)):
        if one is not None and two is not None:
            yield from changed_facts(_span(after, two), _span_facts(one, two))
        elif two is not None:
            yield Message(
                _("New: {where}: {limit}. Source: {source}."),
                {
                    "where": _span(after, two),
                    "limit": _limit(two),
                    "source": two.source,
                },
            )
        elif one is not None:
            yield Message(
                _("Gone: {where}: {limit}."),
                {"where": _span(before, one), "limit": _limit(one)},
            )


def _span(rule_set: RuleSet, line: SpanLimit) -> Message:
    template = _("{material}, {region} span of {least} to {most} units")
    if line.cantilever:
        template = _(
            "{material}, {region} span of {least} to {most} units with a free end"
        )
    return Message(
        template,
        {
            "material": material_label(rule_set, line.material),
            "region": label(line.region),
            "least": str(line.units_from),
            "most": str(line.units_to),
        },
    )


def _limit(line: SpanLimit) -> Said:
    words: list[Said] = [] if line.allowed else [_("not indicated")]
    if line.connector_mm2 is not None:
        area = {"area": exact(line.connector_mm2)}
        words.append(Message(_("connectors of at least {area} mm2"), area))
    if line.last_place is not None:
        place = {"place": str(line.last_place)}
        words.append(Message(_("no further than tooth {place} of a quadrant"), place))
    return several(words) if words else _("allowed")


def _span_facts(one: SpanLimit, two: SpanLimit) -> list[tuple[str, Said, Said]]:
    return [
        (_("limit"), _limit(one), _limit(two)),
        (_("source"), one.source, two.source),
        (_("note"), one.note, two.note),
    ]


def charge_changes(before: RuleSet, after: RuleSet) -> Iterator[Message]:
    """Yield a sentence for every charge added, removed or changed."""

    def by_kind(rule_set: RuleSet) -> dict[tuple[str, Kind | None], Charge]:
        return {
            (line.material, kind): line
            for line in rule_set.charges
            for kind in line.kinds or (None,)
        }

    for (material, kind), one, two in _paired(by_kind(before), by_kind(after)):
        name = material_label(after if two else before, material)
        where = several([name, label(kind) if kind else _("every kind")])
        if one is not None and two is not None:
            facts: list[tuple[str, Said, Said]] = [
                (_("days for a change"), str(one.days), str(two.days)),
                (_("charge for a change"), one.charge, two.charge),
            ]
            yield from changed_facts(where, facts)
        elif two is not None:
            yield Message(
                _("{where}: a change takes {days} days; {charge}"),
                {"where": where, "days": str(two.days), "charge": two.charge},
            )
        elif one is not None:
            yield Message(
                _("{where}: what a change costs is no longer stated."),
                {"where": where},
            )
