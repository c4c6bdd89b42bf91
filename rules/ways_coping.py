"""Reduction coping: the laboratory trims the die and shows by a coping what is over.

Offered for one short site only: an incisal edge, a cusp, a cusp row or one surface,
at least 1 mm away from the finish line (after laboratory teaching pages of 2013 and
2014; the other limits are common practice, no source).
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from rules.dentine import dentine_messages
from rules.explain import mm
from rules.reprep import cut_depths, needed_depths, without_preparation
from rules.request import Unit
from rules.results import Option, SiteCheck
from rules.subject import CONTRADICTING, Subject
from rules.teeth import arch, is_anterior, wall_label
from rules.terms import Antagonist, Arch, Kind, Message, Site
from rules.walls import Depth, lowered_walls

__all__ = ["FROM_FINISH_LINE_MM", "MOST_MM", "reduction_coping"]


def _(text: str) -> str:
    return text


_ZERO = Decimal(0)
FROM_FINISH_LINE_MM = Decimal("1.0")
# More asks for a new preparation and impression (common practice, no source).
MOST_MM = Decimal("1.0")
_TOO_THIN = (Kind.VENEER, Kind.INLAY)
# Within 1 mm of the finish line, or of no height of its own.
_AXIAL = frozenset(
    {
        Site.FACIAL_WALL,
        Site.LINGUAL_WALL,
        Site.MESIAL_WALL,
        Site.DISTAL_WALL,
        Site.FINISH_LINE,
    }
)


def reduction_coping(subject: Subject) -> Option | None:
    """Return the option with the depth the coping shows; None where none is cut."""
    if without_preparation(subject.unit):
        return None
    reason = _reason(subject)
    if reason is not None:
        return Option("reduction_coping", feasible=False, reasons=(reason,))
    least = max(site.shortage_low_mm or _ZERO for site in subject.doubtful)
    most = max(site.shortage_high_mm or _ZERO for site in subject.doubtful)
    return Option(
        "reduction_coping",
        feasible=True,
        consequences=tuple(_consequences(subject, most)),
        depth_mm=((subject.doubtful[0].site, least, most),),
        removal_mm=most,
    )


def _reason(subject: Subject) -> Message | None:
    unit, doubtful = subject.unit, subject.doubtful
    if unit.kind in _TOO_THIN:
        return _THIN
    if subject.provisional:
        return _FOR_A_PROVISIONAL
    if unit.antagonist is Antagonist.PREPARED:
        return _PREPARED
    # A site read as clearance and as reduction is one site.
    if len({site.site for site in doubtful}) > 1:
        return _ONE_SITE
    reasons = (_reason_at(subject, site) for site in doubtful)
    found = next((reason for reason in reasons if reason is not None), None)
    return found or _too_deep(unit, needed_depths(doubtful))


def _too_deep(unit: Unit, depths: Sequence[Depth]) -> Message | None:
    """Refuse what wall, pulp or the fit of a trimmed die would not bear."""
    stated = dict(unit.wall_heights_mm)
    for wall, loss in lowered_walls(unit, depths).items():
        if wall in stated and stated[wall] - loss < FROM_FINISH_LINE_MM:
            return Message(_WALL, {"wall": wall_label(wall, unit.tooth)})
    _said, stop = dentine_messages(unit, depths, depths)
    if stop:
        return stop[0]
    most = max((high for _site, _low, high in depths), default=_ZERO)
    if most > MOST_MM:
        return Message(_TOO_MUCH, {"most": mm(MOST_MM), "missing": mm(most)})
    return None


def _reason_at(subject: Subject, site: SiteCheck) -> Message | None:
    tooth = subject.unit.tooth
    palatal = site.site is Site.LINGUAL_SURFACE and arch(tooth) is Arch.UPPER
    if site.site in _AXIAL:
        return Message(_FINISH_LINE, {"site": site.label})
    if palatal and is_anterior(tooth):
        return _PALATAL
    if CONTRADICTING & set(site.doubts):
        return Message(_VERIFY, {"site": site.label})
    return None if cut_depths((site,)) else _NOTHING_SHOWN


def _consequences(subject: Subject, most: Decimal) -> Iterator[Message]:
    site = subject.doubtful[0]
    if not any(each.proven_short for each in subject.doubtful):
        yield Message(_UNPROVEN, {"site": site.label})
    yield Message(_TRIM, {"site": site.label, "most": mm(most)})
    yield from _ALWAYS
    if not is_anterior(subject.unit.tooth):
        yield _HARD


_THIN = Message(_("A veneer or an inlay is too thin to risk it."))
_FOR_A_PROVISIONAL = Message(_("No tooth is trimmed for a provisional."))
_WALL = _("Less than 1 mm of the {wall} would be left above the finish line.")
_TOO_MUCH = _(
    "{missing} mm may be missing: more than {most} mm asks for a new preparation and "
    "impression."
)
_PREPARED = Message(
    _("Both teeth are prepared: the coping cannot show which of them is too high.")
)
_ONE_SITE = Message(_("Only where a single surface of one tooth is short."))
_VERIFY = _("At the {site}: verify and re-measure before anything is removed.")
_NOTHING_SHOWN = Message(_("No reading shows how much the die would be trimmed."))
_FINISH_LINE = _("At the {site}: a coping stays at least 1 mm from the finish line.")
_PALATAL = Message(
    _("The palatal surface of an upper front tooth: hard to repeat in the mouth.")
)
_UNPROVEN = _(
    "At the {site}: the shortage is not proven. Measure once more before anything is "
    "removed."
)
_TRIM = _(
    "At the {site}: the laboratory trims the die by up to {most} mm and makes the "
    "restoration on it."
)
_ALWAYS = (
    Message(
        _(
            "Before seating you trim the tooth through the coping, a little more than "
            "it shows, and round the edges; then check the seat."
        )
    ),
    Message(_("The trimming stays at least 1 mm from the finish line.")),
    Message(_("Your written agreement comes first; the use is recorded at the fit.")),
)
_HARD = Message(_("On posterior teeth a coping is often hard to transfer."))
