"""The ways out of a query as a page shows them, barred ones with their reason.

First what the check computed and the laboratory offered, in its order (least
removal of sound tissue first); then the other ways of the answer table. Adjusting
the opposing tooth stands last but for cancelling, and is never chosen beforehand.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from cases.forms.answer import CHANGING, OTHER, WayOut
from cases.forms.vocabulary import Choices, material_words
from cases.forms.words import word
from cases.lifecycle import AnswerKind
from cases.views.offered_ways import adjusting, offered_ways
from cases.views.ways import option_rows
from rules.requirements import RuleSet
from rules.teeth import arch, is_anterior
from rules.terms import Arch

if TYPE_CHECKING:
    from cases.models import Flag, Unit

__all__ = ["WayGroup", "variant_choices", "way_groups", "ways_out"]

A = AnswerKind
_CUTS = (A.RE_PREPARATION, A.REDUCTION_COPING, A.ADJUST_OPPOSING)


@dataclass(frozen=True, slots=True)
class WayGroup:
    """Ways of one kind that follow each other, with what all of them mean."""

    title: str
    ways: tuple[WayOut, ...]
    common: tuple[str, ...] = ()

    @property
    def removal(self) -> str:
        """How much sound tissue its ways take, where all take the same."""
        found = {way.removal for way in self.ways}
        return found.pop() if len(found) == 1 else ""


def way_groups(ways: Sequence[WayOut]) -> list[WayGroup]:
    """Return the ways in their order, neighbouring changes of one kind together."""
    groups: list[list[WayOut]] = []
    for way in ways:
        last = groups[-1][-1].kind if groups else None
        if last is way.kind and way.kind in CHANGING:
            groups[-1].append(way)
        else:
            groups.append([way])
    return [_group(group) for group in groups]


def _group(ways: Sequence[WayOut]) -> WayGroup:
    if len(ways) == 1:
        return WayGroup("", tuple(ways))
    title = word("answer", ways[0].kind)
    common = tuple(
        told
        for told in ways[0].consequences
        if all(told in way.consequences for way in ways)
    )
    return WayGroup(
        title,
        tuple(
            replace(
                way,
                title=capfirst(way.title.removeprefix(f"{title}: ")),
                consequences=tuple(t for t in way.consequences if t not in common),
            )
            for way in ways
        ),
        common,
    )


def ways_out(
    flag: "Flag", units: Sequence["Unit"], *, rule_set: RuleSet, system: str
) -> list[WayOut]:
    """Return every way out of a query, each with a key of its own."""
    rows = option_rows(flag.options, rule_set=rule_set)
    pairs = list(zip(flag.options, rows, strict=True))
    several = len({row.tooth for row in rows}) > 1
    offered = list(offered_ways(pairs, units, several, system))
    kinds = {way.kind for way in offered}
    opposing = adjusting(pairs, several, system)
    ways = [*offered, *_others(flag, units, kinds, opposing)]
    if not _stands_on_nothing_cut(flag, units):
        return ways
    reason = _("Nothing is prepared under a pontic or an implant crown.")
    return [_barred(way.kind, reason) if way.kind in _CUTS else way for way in ways]


def _stands_on_nothing_cut(flag: "Flag", units: Sequence["Unit"]) -> bool:
    """Tell whether the query is about pontics and implant crowns alone."""
    named = {site["tooth"] for site in flag.sites}
    kinds = {unit.kind for unit in units if not named or unit.tooth in named}
    return bool(kinds) and kinds <= {"pontic", "implant_crown"}


def _others(
    flag: "Flag",
    units: Sequence["Unit"],
    kinds: set[AnswerKind],
    opposing: WayOut | None,
) -> Iterator[WayOut]:
    said: dict[AnswerKind, tuple[str, ...]] = {
        A.RE_MEASURE: (_("Nothing is removed; a new round begins at the laboratory."),),
        A.NEW_JAW_RECORD: (_("You send a new jaw record; nothing is removed."),),
        A.RE_PREPARATION: (_("New readings, an impression and a jaw record follow."),),
    }
    for kind, consequences in said.items():
        if kind not in kinds:
            yield _way(kind, consequences)
    yield WayOut(
        key=OTHER,
        kind=A.CHANGE_MATERIAL,
        title=_("Another material or design, chosen below"),
        consequences=(_("A new prescription revision is signed with the answer."),),
    )
    if A.REDUCTION_COPING not in kinds:
        yield _coping(flag, units)
    if A.REFER not in kinds:
        yield _way(
            A.REFER,
            (_("The case rests until the review; nothing is made meanwhile."),),
        )
    yield _opposing(opposing)
    if A.ACCEPT_RISK not in kinds:
        yield _barred(A.ACCEPT_RISK, _("This query names no site to be accepted."))
    yield _way(A.CANCEL, (_("The laboratory stops; this cannot be undone."),))


def _opposing(computed: WayOut | None) -> WayOut:
    """Return the adjustment of the opposing tooth with its caution."""
    found = computed or _way(
        A.ADJUST_OPPOSING,
        (
            _("Opposing impression, jaw record and new readings follow."),
            _("Needs the patient's consent and your grounds."),
        ),
    )
    return replace(
        found,
        caution=_(
            "Sound tissue of another tooth is lost. Never to hide a shortage: only "
            "where that tooth itself calls for it, in enamel, documented before and "
            "after."
        ),
    )


def _way(kind: AnswerKind, consequences: tuple[str, ...]) -> WayOut:
    return WayOut(
        key=kind.value,
        kind=kind,
        title=word("answer", kind),
        consequences=consequences,
    )


def _barred(kind: AnswerKind, reason: str) -> WayOut:
    return WayOut(
        key=kind.value,
        kind=kind,
        title=word("answer", kind),
        feasible=False,
        reasons=(reason,),
    )


def _coping(flag: "Flag", units: Sequence["Unit"]) -> WayOut:
    """Offer the coping for one short surface only (design section 4).

    Not for veneers, which are too thin to risk, nor for the palatal surface of
    upper front teeth, where the trimming is hard to repeat in the mouth (both
    common practice, no source).
    """
    sites = {(site["tooth"], site["site"]) for site in flag.sites}
    kinds = {u.tooth: u.kind for u in units}
    if not sites:
        return _barred(A.REDUCTION_COPING, _("This query names no site to be covered."))
    if len(sites) > 1:
        return _barred(
            A.REDUCTION_COPING, _("Only where a single surface of one tooth is short.")
        )
    tooth, site = next(iter(sites))
    if kinds.get(tooth) == "veneer":
        return _barred(A.REDUCTION_COPING, _("Not for veneers: too thin to risk."))
    palatal = is_anterior(tooth) and arch(tooth) is Arch.UPPER
    if palatal and site == "lingual_surface":
        return _barred(
            A.REDUCTION_COPING,
            _("Not on the palatal surface of upper front teeth: hard to repeat."),
        )
    return _way(
        A.REDUCTION_COPING,
        (
            _("The laboratory trims the die and encloses a coping of the difference."),
            _("You reduce by it before seating; its use is recorded at the fit."),
            _("Stay at least 1 mm from the finish line."),
        ),
    )


def variant_choices(
    flag: "Flag", units: Sequence["Unit"], *, rule_set: RuleSet
) -> dict[str, Choices]:
    """Return for each tooth the materials that are not known to fall short."""
    barred = {
        (o["tooth"], o["material"], o.get("occlusal_surface") or "")
        for o in flag.options
        if o["kind"] in CHANGING and o.get("material") and not o["feasible"]
    }
    found: dict[str, Choices] = {}
    for unit in units:
        listed: Choices = []
        for material in rule_set.materials:
            for surface in material.occlusal_surfaces or ("",):
                same = (unit.material, unit.occlusal_surface) == (material.key, surface)
                if same or (unit.tooth, material.key, str(surface)) in barred:
                    continue
                value = f"{material.key}|{surface}|"
                words = material_words(rule_set, material.key, (surface or None,))
                listed.append((value, words))
        found[unit.tooth] = listed
    return found
