"""Re-preparation: how deep at each site, and what the walls lose by it.

The depth is an interval: at least what is proven short, at most up to the target.
Only a site that may be below its need is cut: neither the guard band nor a target
above the need takes tooth substance by itself. What is left of walls and dentine is
told by ``rules.walls`` and ``rules.dentine``.
"""

from collections.abc import Sequence
from decimal import Decimal

from rules.dentine import dentine_messages
from rules.explain import mm
from rules.request import Unit
from rules.results import Option, SiteCheck
from rules.terms import (
    Antagonist,
    Doubt,
    Kind,
    Message,
    Position,
    Quantity,
    Site,
    Verdict,
    label,
)
from rules.walls import Depth, wall_messages

__all__ = ["cut_depths", "needed_depths", "re_preparation", "without_preparation"]


def _(text: str) -> str:
    return text


_ZERO = Decimal(0)
# A pontic has no preparation, an implant crown's space is not cut from a tooth.
_NEVER = (Kind.PONTIC, Kind.IMPLANT_CROWN)
# A row is short somewhere, not along its whole length.
_ROWS = (Site.BUCCAL_CUSPS, Site.LINGUAL_CUSPS)
_VERIFY = (Doubt.DISAGREEMENT, Doubt.INTERPENETRATION)


def re_preparation(unit: Unit, sites: Sequence[SiteCheck]) -> Option | None:
    """Return the option with depth and wall heights; None where nothing is cut."""
    doubtful = [
        site
        for site in sites
        if site.verdict in (Verdict.INSUFFICIENT, Verdict.UNDECIDED)
    ]
    if unit.kind in _NEVER or not doubtful:
        return None
    first = [site for site in doubtful if set(site.doubts) & set(_VERIFY)]
    cut = [site for site in doubtful if site not in first and _depth(site)]
    if not cut:
        return Option("re_preparation", False, reasons=_reasons(first, doubtful))
    depths = _merge([depth for site in cut if (depth := _depth(site))])
    walls, lost = wall_messages(unit, depths)
    dentine, stop = dentine_messages(unit, depths, needed_depths(cut))
    return Option(
        "re_preparation",
        feasible=not (lost or stop),
        reasons=(*lost, *stop),
        consequences=(
            *_unproven(cut),
            *(_stop_message(unit, site) for site in cut),
            *_beyond_need(cut),
            *(_verify_message(site) for site in first),
            *walls,
            *dentine,
            *_afterwards(unit),
        ),
        depth_mm=depths,
        removal_mm=max(high for _site, _low, high in depths),
    )


def without_preparation(unit: Unit) -> bool:
    """Tell whether nothing of the unit's own tooth can be cut."""
    return unit.kind in _NEVER


def cut_depths(doubtful: Sequence[SiteCheck]) -> tuple[Depth, ...]:
    """Return how deep each site in doubt is cut; none where readings contradict."""
    return _merge(
        [
            depth
            for site in doubtful
            if not set(site.doubts) & set(_VERIFY) and (depth := _depth(site))
        ]
    )


def _depth(site: SiteCheck) -> Depth | None:
    """Return least and most to remove; None where the need is already shown."""
    if site.target_mm is None or site.low_mm is None or site.shortage_low_mm is None:
        return None
    if not site.shortage_high_mm:
        return None
    return (site.site, site.shortage_low_mm, site.target_mm - site.low_mm)


def needed_depths(cut: Sequence[SiteCheck]) -> tuple[Depth, ...]:
    """Return how deep the needs alone ask to cut, whatever the targets."""
    return _merge(
        [
            (site.site, site.shortage_low_mm or _ZERO, site.shortage_high_mm or _ZERO)
            for site in cut
        ]
    )


def _merge(depths: Sequence[Depth]) -> tuple[Depth, ...]:
    """Join the depths of a site read as clearance and as reduction."""
    found: dict[Site, tuple[Decimal, Decimal]] = {}
    for site, low, high in depths:
        least, most = found.get(site, (_ZERO, _ZERO))
        found[site] = (max(least, low), max(most, high))
    return tuple((site, low, high) for site, (low, high) in found.items())


def _reasons(
    first: Sequence[SiteCheck], doubtful: Sequence[SiteCheck]
) -> tuple[Message, ...]:
    unknown = [site for site in doubtful if site.need_mm is None and site not in first]
    found = [_verify_message(site) for site in first]
    found += [
        Message(
            _("At the {site}: without a need no depth can be stated."),
            {"site": site.label},
        )
        for site in unknown
    ]
    if not found:
        found.append(
            Message(_("No reading shows that more has to be removed anywhere."))
        )
    return tuple(found)


def _verify_message(site: SiteCheck) -> Message:
    return Message(
        _("At the {site}: verify and re-measure before anything is removed."),
        {"site": site.label},
    )


def _unproven(cut: Sequence[SiteCheck]) -> list[Message]:
    """Say first where the shortage is only possible: what is cut stays cut."""
    return [
        Message(
            _(
                "At the {site}: the shortage is not proven. Measure once more before "
                "anything is removed."
            ),
            {"site": site.label},
        )
        for site in cut
        if not site.proven_short
    ]


def _beyond_need(cut: Sequence[SiteCheck]) -> list[Message]:
    """Say where the target lies beyond the need: the rest is a recommendation."""
    return [
        Message(
            _("At the {site}: {need} mm is needed, {target} mm is recommended."),
            {
                "site": site.label,
                "need": mm(site.need_mm),
                "target": mm(site.target_mm),
            },
        )
        for site in cut
        if site.need_mm is not None
        and site.target_mm is not None
        and site.target_mm > site.need_mm
    ]


def _stop_message(unit: Unit, site: SiteCheck) -> Message:
    depth = _depth(site)
    params: dict[str, str | Message] = {
        "site": site.label,
        "most": mm(depth[2]) if depth else "",
        "target": mm(site.target_mm or _ZERO),
    }
    if site.quantity is Quantity.WIDTH:
        return Message(_WIDEN, params)
    if site.quantity is Quantity.REDUCTION:
        return Message(_BY_INDEX, params)
    if unit.antagonist is Antagonist.PREPARED:
        return Message(_WIDEN_GAP, params)
    if site.site in _ROWS:
        params["site"] = Message(
            _("{site}, only where it is short"), {"site": site.label}
        )
    position = site.governing_position
    if position in (None, Position.MAXIMAL_INTERCUSPATION):
        return Message(_BY_STRIP, params)
    return Message(_BY_STRIP_IN, {**params, "position": label(position)})


_WIDEN = _("At the {site}: widen by up to {most} mm and stop at {target} mm.")
_BY_INDEX = _(
    "At the {site}: remove up to {most} mm and stop when the index shows {target} mm."
)
_WIDEN_GAP = _(
    "At the {site}: widen the gap by up to {most} mm and stop at {target} mm."
)
_BY_STRIP = _(
    "At the {site}: remove up to {most} mm and stop when the {target} mm strip slides."
)
_BY_STRIP_IN = _(
    "At the {site}: remove up to {most} mm and stop when the {target} mm strip slides "
    "in {position}."
)


def _afterwards(unit: Unit) -> list[Message]:
    found = []
    if unit.antagonist is Antagonist.PREPARED:
        found.append(_SHARED)
    found.append(_AFTER_ALONE if unit.span is None else _AFTER_SPAN)
    return found


_SHARED = Message(_("The depth is that of the gap: both preparations share it."))
_AFTER_ALONE = Message(_("Afterwards: new readings, an impression and a jaw record."))
_AFTER_SPAN = Message(
    _(
        "Afterwards: new readings, an impression of every abutment of the span, and a "
        "jaw record."
    )
)
