"""The full derivation of one site's verdict, from the very values it was made of.

In order: need and its sources, other figures, then per jaw position the readings,
how they combine, the decision rule with its numbers, verdict and conformance
probability; last what governs, what is missing, the verdict, the shortage, and where
the rule comes from (JCGM 106:2012; ISO 14253-1:2017, its default k from memory).
Lengths are exact, so that every step can be checked by hand.
"""

from collections.abc import Iterator
from decimal import Decimal

from rules.derived_need import need_derivation
from rules.derived_readings import exact, readings_derivation
from rules.explain import doubt_sentence
from rules.grounds import Grounds
from rules.judge import PositionCheck, chance, shortage
from rules.numbers import plain
from rules.readings import Interval, Point
from rules.terms import Message, Verdict, label

__all__ = ["derive"]


def _(text: str) -> str:
    return text


_UNREAD = {
    Verdict.UNMEASURED: _("The site is required and was not read."),
    Verdict.NOT_APPLICABLE: _(
        "The prescription states that the restoration does not cover the {site}."
    ),
}


def derive(grounds: Grounds) -> tuple[Message, ...]:
    """Return the derivation of one site's verdict, step by step."""
    return tuple(_steps(grounds))


def _steps(grounds: Grounds) -> Iterator[Message]:
    yield from need_derivation(grounds)
    if grounds.leading is None:
        yield Message(_UNREAD[grounds.verdict], {"site": grounds.label})
    for check in grounds.checks:
        if check.position is not None:
            yield Message(_("In {position}:"), {"position": label(check.position)})
        yield from readings_derivation(grounds, check)
        yield from _decision(grounds, check)
    yield from _outcome(grounds)
    if grounds.checks:
        yield Message(
            _(
                "Decision rule: JCGM 106:2012 and ISO 14253-1:2017 (default k 1.645 for "
                "95 % one-sided, from memory); a strip proves by the ends of its "
                "interval."
            )
        )


def _decision(grounds: Grounds, check: PositionCheck) -> Iterator[Message]:
    need, verdict = grounds.need.min_mm, {"verdict": label(check.verdict)}
    if need is not None and not check.contradicted:
        says = check.combined.says
        if isinstance(says, Point):
            yield _point_rule(says, need, grounds.k)
        else:
            yield _strip_rule(says, need)
        yield from _probability(grounds, check, need)
    for doubt in check.doubts:
        yield doubt_sentence(doubt, grounds, check)
    if check.position is None:
        yield Message(_("These readings: {verdict}."), verdict)
    else:
        position = {"position": label(check.position)}
        yield Message(_("Verdict in {position}: {verdict}."), verdict | position)


def _strip_rule(interval: Interval, need: Decimal) -> Message:
    params = {"low": plain(interval.low), "need": plain(need)}
    if interval.high is None:
        return Message(
            _(
                "Sufficient when the lower end {low} mm is at least {need} mm, else "
                "undecided: there is no upper end that could prove a shortage."
            ),
            params,
        )
    return Message(
        _(
            "Sufficient when the lower end {low} mm is at least {need} mm, insufficient "
            "when the upper end {high} mm is at most {need} mm, else undecided."
        ),
        {**params, "high": plain(interval.high)},
    )


def _point_rule(point: Point, need: Decimal, k: Decimal) -> Message:
    params = {
        "value": plain(point.value),
        "k": plain(k),
        "u": plain(point.u),
        "need": plain(need),
        "guard": plain(k * point.u),
        "above": plain(need + k * point.u),
        "below": plain(need - k * point.u),
    }
    if k == 0:
        return Message(
            _(
                "k = 0, simple acceptance: {value} mm is sufficient from {need} mm on, "
                "insufficient below it."
            ),
            params,
        )
    return Message(
        _(
            "Guard band g = k × u = {k} × {u} mm = {guard} mm: {value} mm is sufficient "
            "from {need} + {guard} = {above} mm on, insufficient below {need} − {guard} "
            "= {below} mm, in between undecided."
        ),
        params,
    )


def _probability(
    grounds: Grounds, check: PositionCheck, need: Decimal
) -> Iterator[Message]:
    found, says = chance(check, grounds.need), check.combined.says
    params = {"need": plain(need), "chance": "" if found is None else f"{found:.6f}"}
    if isinstance(says, Point):
        yield Message(
            _(
                "Conformance probability, normal about the value: Φ(({value} − {need}) "
                "/ {u}) = {chance}."
            ),
            {**params, "value": plain(says.value), "u": plain(says.u)},
        )
    elif says.high is None:
        yield Message(_("No conformance probability over an open interval."))
    else:
        yield Message(
            _(
                "Conformance probability, uniform over the interval: ({high} − {need}) "
                "/ ({high} − {low}), clipped to 0 and 1 = {chance}."
            ),
            {**params, "high": plain(says.high), "low": plain(says.low)},
        )


def _outcome(grounds: Grounds) -> Iterator[Message]:
    leading = grounds.leading
    if leading is not None and leading.position is not None:
        yield Message(
            _(
                "Governing position: {position} (the worst verdict, then the smallest "
                "lower end, then the listed order)."
            ),
            {"position": label(leading.position)},
        )
    for position in grounds.lacking:
        yield Message(
            _("Required and not read: {position}; so the site cannot be sufficient."),
            {"position": label(position)},
        )
    yield Message(
        _("Verdict at the {site}: {verdict}."),
        {"site": grounds.label, "verdict": label(grounds.verdict)},
    )
    if leading is not None and grounds.need.min_mm is not None:
        yield _shortage(grounds, leading, grounds.need.min_mm)


def _shortage(grounds: Grounds, leading: PositionCheck, need: Decimal) -> Message:
    found, combined = shortage(leading, grounds.need), leading.combined
    if found is None:
        return Message(_("No reading governs, so no shortage can be stated."))
    low, high = (plain(end) for end in found)
    params: dict[str, str | Message] = {
        "need": plain(need),
        "measured": exact(combined.says),
        "low": low,
        "high": high,
    }
    if low == high:
        return Message(
            _("Shortage, {need} mm less {measured}, never below 0: {high} mm."), params
        )
    return Message(
        _(
            "Shortage, {need} mm less what lies {measured}, never below 0: {low} to "
            "{high} mm."
        ),
        params,
    )
