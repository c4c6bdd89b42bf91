"""Re-preparation: how deep at each site, and what the walls lose by it.

The depth is an interval: at least what is proven short, at most up to the target.
Only a site that may be below its need is cut: neither the guard band nor a target
above the need takes tooth substance by itself. Wall heights are judged against published minima (``rules.structure``), below which the
option stays feasible and the clinician decides.
"""

from collections.abc import Sequence
from decimal import Decimal

from rules.explain import mm
from rules.request import Unit
from rules.results import Option, SiteCheck
from rules.structure import (
    MINIMUM_RATIO,
    limiting_convergence,
    minimum_height,
    ratio,
    walls_shortened,
)
from rules.teeth import wall_label
from rules.terms import (
    Antagonist,
    Doubt,
    Kind,
    Message,
    Position,
    Quantity,
    Site,
    Verdict,
    Wall,
    label,
)

__all__ = ["re_preparation"]


def _(text: str) -> str:
    return text


_ZERO = Decimal(0)
# A pontic has no preparation, an implant crown's space is not cut from a tooth.
_NEVER = (Kind.PONTIC, Kind.IMPLANT_CROWN)
_VERIFY = (Doubt.DISAGREEMENT, Doubt.INTERPENETRATION)

_Depth = tuple[Site, Decimal, Decimal]


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
    walls, lost = _wall_messages(unit, depths)
    return Option(
        "re_preparation",
        feasible=not lost,
        reasons=tuple(lost),
        consequences=(
            *_unproven(cut),
            *(_stop_message(unit, site) for site in cut),
            *(_verify_message(site) for site in first),
            *walls,
            *_afterwards(unit),
        ),
        depth_mm=depths,
    )


def _depth(site: SiteCheck) -> _Depth | None:
    """Return least and most to remove; None where the need is already shown."""
    if site.target_mm is None or site.low_mm is None or site.shortage_low_mm is None:
        return None
    if not site.shortage_high_mm:
        return None
    return (site.site, site.shortage_low_mm, site.target_mm - site.low_mm)


def _merge(depths: Sequence[_Depth]) -> tuple[_Depth, ...]:
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
        if site.verdict is Verdict.UNDECIDED
    ]


def _stop_message(unit: Unit, site: SiteCheck) -> Message:
    depth = _depth(site)
    params = {
        "site": site.label,
        "most": mm(depth[2]) if depth else "",
        "target": mm(site.target_mm or _ZERO),
    }
    if site.quantity is Quantity.WIDTH:
        return Message(
            _("At the {site}: widen by up to {most} mm and stop at {target} mm."),
            params,
        )
    if site.quantity is Quantity.REDUCTION:
        return Message(
            _(
                "At the {site}: remove up to {most} mm and stop when the index shows "
                "{target} mm."
            ),
            params,
        )
    if unit.antagonist is Antagonist.PREPARED:
        return Message(
            _(
                "At the {site}: widen the gap by up to {most} mm and stop at {target} "
                "mm."
            ),
            params,
        )
    position = site.governing_position
    if position in (None, Position.MAXIMAL_INTERCUSPATION):
        return Message(
            _(
                "At the {site}: remove up to {most} mm and stop when the {target} mm "
                "strip slides."
            ),
            params,
        )
    return Message(
        _(
            "At the {site}: remove up to {most} mm and stop when the {target} mm strip "
            "slides in {position}."
        ),
        {**params, "position": label(position)},
    )


def _wall_messages(
    unit: Unit, depths: Sequence[_Depth]
) -> tuple[list[Message], list[Message]]:
    """Return what becomes of the walls, and reasons where a wall would be gone."""
    lowered: dict[Wall, Decimal] = {}
    for site, _low, high in depths:
        for wall in walls_shortened(site, unit.tooth, unit.relation):
            lowered[wall] = max(high, lowered.get(wall, _ZERO))
    stated = dict(unit.wall_heights_mm)
    kept: list[Message] = []
    lost: list[Message] = []
    for wall in (wall for wall in Wall if wall in lowered):
        params = {"wall": wall_label(wall, unit.tooth)}
        if wall not in stated:
            kept.append(
                Message(_("The {wall} loses height: state it to check it."), params)
            )
        elif stated[wall] <= lowered[wall]:
            lost.append(Message(_("Nothing would be left of the {wall}."), params))
        else:
            kept += _wall(unit, wall, stated[wall] - lowered[wall])
    return kept, lost


def _wall(unit: Unit, wall: Wall, height: Decimal) -> list[Message]:
    least, base = minimum_height(unit.tooth), unit.base_width_mm
    share = ratio(height, base) if base else None
    params = {
        "wall": wall_label(wall, unit.tooth),
        "height": mm(height),
        "least": mm(least),
        "ratio": f"{share:.2f}" if share is not None else "",
        "share": f"{MINIMUM_RATIO}",
    }
    if height < least or (share is not None and share < MINIMUM_RATIO):
        message = _(
            "The {wall} would be {height} mm high (published minimum {least} mm): "
            "feasible with grooves, boxes or adhesive cementation; the clinician "
            "decides."
        )
        if share is not None:
            message = _(
                "The {wall} would be {height} mm high (published minimum {least} mm) "
                "and {ratio} of the base width (minimum {share}): feasible with "
                "grooves, boxes or adhesive cementation; the clinician decides."
            )
    else:
        message = _("The {wall} stays at least {height} mm high (minimum {least} mm).")
    found = [Message(message, params)]
    if base:
        angle = f"{limiting_convergence(height, base):.0f}"
        found.append(
            Message(
                _(
                    "At that height the {wall} resists tipping only below {angle} "
                    "degrees of total convergence."
                ),
                {"wall": params["wall"], "angle": angle},
            )
        )
    return found


def _afterwards(unit: Unit) -> list[Message]:
    # Over 2 mm of dentine hardly any pulp response, 0.5 mm the least that averts
    # irreversible damage: secondary sources, to be confirmed by the prosthodontist.
    found = [
        Message(
            _(
                "Judge the remaining dentine over the pulp first: caution below 2.0 "
                "mm, stop at 0.5 mm."
            )
        )
    ]
    if unit.antagonist is Antagonist.PREPARED:
        found.append(
            Message(_("The depth is that of the gap: both preparations share it."))
        )
    if unit.span is not None:
        found.append(
            Message(
                _(
                    "Afterwards: new readings, an impression of every abutment of the "
                    "span, and a jaw record."
                )
            )
        )
    else:
        found.append(
            Message(_("Afterwards: new readings, an impression and a jaw record."))
        )
    return found
