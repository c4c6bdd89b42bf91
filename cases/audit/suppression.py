"""Which counts of a table to hide so that no small one can be worked out.

Whom this guards against: a reader who has the table, knows how many cases stand behind
each count and their sum, and knows this procedure, so that he can ask of every table
whether it would have been shown like that. He is left with two values at least for
each hidden count. Two things make that so. A set of hidden counts must not only leave
room for one unit to be moved from one count to another, but for two: whoever sees that
another count was hidden to guard the first ones still does not know whether they had
room for none or for one. And which count guards is decided by what is known anyway,
never by the counts.

Not guarded: rows of which every case, or nearly every one, is counted; tables compared
with other tables. Neither scipy nor statsmodels offers it. Practice: primary and
secondary suppression as in the Washington State Department of Health's standard for
small numbers; the rule for choosing is this module's own, held by brute force.
"""

from collections.abc import Sequence
from typing import Final

__all__ = ["hide"]

_ROOM: Final = 2
_UNBOUNDED: Final = 10**9


def hide(
    counts: Sequence[int],
    threshold: int,
    total_shown: bool = True,
    most: Sequence[int] | None = None,
) -> list[str]:
    """Return for each count "" (shown), "small", or "secondary" (hidden for others).

    Small are 1 to ``threshold`` - 1; a threshold of 1 hides nothing, and one of 2 would
    tell every 1, so it counts as 3. ``most``: what each count can be at most (how many
    cases stand behind it); where that is 1 the count is hidden whatever it is, for
    hiding only the 1 would tell it. Else 0 is shown.

    The whole table is hidden, zeros too ("small" each), where nothing less will do:
    ``total_shown`` is False or the total small (how many are hidden would tell of it),
    or no guard is left. Counts that can guard are taken in order of ``most``.
    """
    ceilings = list(most) if most is not None else [_UNBOUNDED] * len(counts)
    if threshold <= 1 or (total_shown and not any(counts)):
        return [""] * len(counts)
    least = max(threshold, 3)
    if not total_shown or sum(counts) < least or _is_pair(counts, ceilings, least):
        return ["small"] * len(counts)
    states = [
        "small" if ceiling == 1 or 0 < count < least else ""
        for count, ceiling in zip(counts, ceilings, strict=True)
    ]
    guards = sorted(
        (
            place
            for place, count in enumerate(counts)
            if not states[place] and count >= least < ceilings[place]
        ),
        key=lambda place: (ceilings[place], place),
    )
    while not _has_room(counts, ceilings, states, least):
        if not guards:
            return ["small"] * len(counts)
        states[guards.pop(0)] = "secondary"
    return states


def _has_room(
    counts: Sequence[int], ceilings: Sequence[int], states: Sequence[str], least: int
) -> bool:
    """Say whether the hidden counts could trade units, up and down."""
    hidden = below = above = 0
    for count, ceiling, state in zip(counts, ceilings, states, strict=True):
        if not state:
            continue
        low, high = least, ceiling
        if state == "small":
            low, high = (1, min(least - 1, ceiling)) if ceiling > 1 else (0, 1)
        hidden += 1
        below += count - low
        above += high - count
    return not hidden or (hidden > 1 and min(below, above) >= _ROOM)


def _is_pair(counts: Sequence[int], ceilings: Sequence[int], least: int) -> bool:
    """Say whether two counts have the one sum that two of the highest small ones have.

    Only these two would be hidden as a whole for want of room, and so be told: with
    that sum any two are, one of which is small.
    """
    several = sum(1 for ceiling in ceilings if ceiling)
    small = any(0 < count < least for count in counts)
    return several == 2 and small and sum(counts) == 2 * (least - 1)
