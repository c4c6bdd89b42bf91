"""The middle of a derivation: readings, what each stands for, how they combine."""

from collections.abc import Iterator
from itertools import combinations

from rules.disagreement import conflict_said, disagreement_sentence
from rules.grounds import Grounds
from rules.judge import PositionCheck
from rules.numbers import plain
from rules.readings import Interval, Meaning, Point, Reading
from rules.said import origin_said
from rules.terms import Message, label

__all__ = ["exact", "readings_derivation"]


def _(text: str) -> str:
    return text


def exact(says: Interval | Point) -> Message:
    """Return a point or interval with all its digits."""
    if isinstance(says, Point):
        return Message(
            _("{value} mm, u {u} mm"), {"value": plain(says.value), "u": plain(says.u)}
        )
    if says.high is None:
        return Message(_("{low} mm or more"), {"low": plain(says.low)})
    params = {"low": plain(says.low), "high": plain(says.high)}
    if says.closed:
        return Message(_("from {low} mm to {high} mm"), params)
    return Message(_("from {low} mm to just under {high} mm"), params)


def readings_derivation(grounds: Grounds, check: PositionCheck) -> Iterator[Message]:
    """Yield the readings of one position as entered, and what they say together."""
    combined = check.combined
    for one in combined.meanings:
        yield _reading(grounds, one)
    for reading in combined.set_aside:
        yield Message(
            _(
                "Set aside as stale, because a newer reading counts: {entered} "
                "({origin})."
            ),
            {"entered": _entered(reading), "origin": origin_said(reading)},
        )
    if combined.stale:
        yield Message(
            _("Every reading here is stale: none of them proves sufficiency.")
        )
    if len(combined.meanings) > 1:
        yield from _pairs(check)
    if combined.row_conflict is not None:
        yield disagreement_sentence(grounds.label, grounds.unit.tooth, check)
    if combined.interpenetration:
        yield Message(
            _(
                "A value below zero means the scan passes through the antagonist: no "
                "reading governs."
            )
        )


def _reading(grounds: Grounds, one: Meaning) -> Message:
    reading = one.reading
    params: dict[str, str | Message] = {
        "entered": _entered(reading),
        "origin": origin_said(reading),
        "method": label(reading.method),
        "meaning": exact(one.says),
    }
    if reading.side is not None:
        params["side"] = label(reading.side)
    if isinstance(one.says, Point):
        params |= _uncertainty(grounds, one.says, reading)
        template = _READ_POINT if reading.side is None else _SIDE_POINT
        return Message(template[reading.u_mm is None], params)
    own = reading.delta_mm
    params["delta"] = plain(grounds.rule_set.strip_delta_mm if own is None else own)
    params["drag"] = plain(grounds.rule_set.drag_mm)
    shape = reading.drags_mm is not None
    return Message(
        (_READ_STRIP if reading.side is None else _SIDE_STRIP)[shape], params
    )


_READ_POINT = (
    _("Reading: {entered} ({origin}); {meaning} as stated with it."),
    _("Reading: {entered} ({origin}); {meaning}, the default of {method} ({source})."),
)
_SIDE_POINT = (
    _("Reading of the {side}: {entered} ({origin}); {meaning} as stated with it."),
    _(
        "Reading of the {side}: {entered} ({origin}); {meaning}, the default of "
        "{method} ({source})."
    ),
)
_READ_STRIP = (
    _("Reading: {entered} ({origin}); strip tolerance {delta} mm: {meaning}."),
    _(
        "Reading: {entered} ({origin}); strip tolerance {delta} mm, a dragging strip "
        "stands for its thickness ± {drag} mm: {meaning}."
    ),
)
_SIDE_STRIP = (
    _(
        "Reading of the {side}: {entered} ({origin}); strip tolerance {delta} mm: "
        "{meaning}."
    ),
    _(
        "Reading of the {side}: {entered} ({origin}); strip tolerance {delta} mm, a "
        "dragging strip stands for its thickness ± {drag} mm: {meaning}."
    ),
)


def _uncertainty(grounds: Grounds, point: Point, reading: Reading) -> dict[str, str]:
    defaults = {default.method: default for default in grounds.rule_set.methods}
    default = defaults.get(reading.method)
    return {"u": plain(point.u), "source": default.source if default else ""}


def _entered(reading: Reading) -> Message:
    """Return the reading as it was entered."""
    if reading.value_mm is not None:
        return Message(_("value {value} mm"), {"value": plain(reading.value_mm)})
    stated = {
        "passes": reading.passes_mm,
        "drags": reading.drags_mm,
        "held": reading.held_mm,
    }
    params = {name: plain(mm) for name, mm in stated.items() if mm is not None}
    return Message(_STRIPS[tuple(params)], params)


_STRIPS = {
    ("passes",): _("{passes} mm slid freely"),
    ("drags",): _("{drags} mm dragged"),
    ("held",): _("{held} mm was held"),
    ("passes", "drags"): _("{passes} mm slid freely, {drags} mm dragged"),
    ("passes", "held"): _("{passes} mm slid freely, {held} mm was held"),
    ("drags", "held"): _("{drags} mm dragged, {held} mm was held"),
    ("passes", "drags", "held"): _(
        "{passes} mm slid freely, {drags} mm dragged, {held} mm was held"
    ),
}


def _pairs(check: PositionCheck) -> Iterator[Message]:
    """Yield how the readings of a position agree, or every pair that does not."""
    combined = check.combined
    if combined.conflicts:
        for conflict in combined.conflicts:
            yield Message(
                _("{conflict}: they disagree and neither governs."),
                {"conflict": conflict_said(conflict)},
            )
        return
    points = [one.says for one in combined.meanings if isinstance(one.says, Point)]
    for one, other in combinations(points, 2):
        allowed = (4 * (one.u**2 + other.u**2)).sqrt()
        yield Message(
            _(
                "{one} mm and {other} mm differ by {apart} mm, less than 2 × √({u1}² + "
                "{u2}²) = {allowed} mm: they agree."
            ),
            {
                "one": plain(one.value),
                "other": plain(other.value),
                "apart": plain(abs(one.value - other.value)),
                "u1": plain(one.u),
                "u2": plain(other.u),
                "allowed": f"{allowed:.4f}",
            },
        )
    if combined.point is None:
        yield Message(
            _("The strips together: {meaning}."), {"meaning": exact(combined.interval)}
        )
        return
    if len(points) < len(combined.meanings):
        yield Message(
            _("The value ± 2u reaches what the strips say: the value governs.")
        )
    if len(points) > 1:
        yield Message(
            _("The smaller u governs: {meaning}."), {"meaning": exact(combined.point)}
        )
