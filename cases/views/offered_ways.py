"""The ways out a check computed, as the answer page offers them.

One way a kind, but each material and design apart; the referrals are one way whose
choice is made beside it. Adjusting the opposing tooth is left for the end of the page.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from cases.forms.answer import WayOut
from cases.forms.vocabulary import tooth_number
from cases.forms.words import word
from cases.lifecycle import AnswerKind
from cases.views.ways import OptionRow, variant_title

if TYPE_CHECKING:
    from cases.models import Unit

__all__ = ["Pair", "adjusting", "offered_ways"]

A = AnswerKind
Pair = tuple[Mapping[str, Any], OptionRow]
_VARIANT = ("material", "occlusal_surface", "cementation")


def offered_ways(
    pairs: Sequence[Pair], units: Sequence["Unit"], several: bool, system: str
) -> Iterator[WayOut]:
    """Yield what the check computed, in its order; all but the opposing tooth."""
    seen: set[str] = {A.ADJUST_OPPOSING}
    for option, row in pairs:
        kind = option["kind"]
        if kind in (A.CHANGE_MATERIAL, A.CHANGE_DESIGN):
            yield _change(option, row, units, several, system)
        elif kind not in seen and kind in set(A):
            seen.add(kind)
            same = [pair for pair in pairs if pair[0]["kind"] == kind]
            join = _referred if kind == A.REFER else _merged
            yield join(same, several, system)


def adjusting(pairs: Sequence[Pair], several: bool, system: str) -> WayOut | None:
    """Return the adjustment of the opposing tooth; None where it was not computed."""
    found = [pair for pair in pairs if pair[0]["kind"] == A.ADJUST_OPPOSING]
    return _merged(found, several, system) if found else None


def _told(lines: Sequence[str], tooth: str, several: bool, system: str) -> list[str]:
    mark = f"{tooth_number(tooth, system)}: " if several else ""
    return [mark + line for line in lines]


def _merged(pairs: Sequence[Pair], several: bool, system: str) -> WayOut:
    """Join what one way means for each tooth; possible only where it is for all."""

    def told(name: str) -> tuple[str, ...]:
        found = [
            line
            for _option, row in pairs
            for line in _told(getattr(row, name), row.tooth, several, system)
        ]
        return tuple(dict.fromkeys(found))

    kind = A(pairs[0][0]["kind"])
    return WayOut(
        key=kind.value,
        kind=kind,
        title=word("answer", kind),
        feasible=all(row.feasible for _option, row in pairs),
        figures=told("depths"),
        consequences=told("consequences"),
        reasons=told("reasons"),
        offered=True,
        removal=_removal([row for _option, row in pairs]),
    )


def _removal(rows: Sequence[OptionRow]) -> str:
    """Return the most any tooth loses; empty where that was not computed."""
    known = [row for row in rows if row.removal_mm is not None]
    return max(known, key=lambda row: row.removal_mm or 0).removal if known else ""


def _referred(pairs: Sequence[Pair], several: bool, system: str) -> WayOut:
    """Join the referrals: possible where any is; each says what speaks for or against.

    Which of them comes first is chosen beside the way, so all stand in it.
    """
    lines: list[str] = []
    for option, row in pairs:
        name = capfirst(variant_title(option))
        told = row.consequences if row.feasible else row.reasons
        against = "" if row.feasible else _("not possible here. ")
        text = f"{name}: {against}{' '.join(told)}"
        lines += _told([text], row.tooth, several, system)
    feasible = any(row.feasible for _option, row in pairs)
    return WayOut(
        key=A.REFER.value,
        kind=A.REFER,
        title=word("answer", A.REFER),
        feasible=feasible,
        consequences=tuple(dict.fromkeys(lines)) if feasible else (),
        reasons=() if feasible else tuple(dict.fromkeys(lines)),
        offered=True,
    )


def _change(
    option: Mapping[str, Any],
    row: OptionRow,
    units: Sequence["Unit"],
    several: bool,
    system: str,
) -> WayOut:
    tooth = option["tooth"]
    own = next((u.material for u in units if u.tooth == tooth), "")
    # A query asked before the check told the two apart names the material alone.
    same = option.get("material") in (None, own)
    surface = option.get("occlusal_surface")
    kind = A.CHANGE_DESIGN if same and surface else A(option["kind"])
    keys = {key: str(option[key]) for key in _VARIANT if option.get(key)}
    name = [str(option.get(key) or "") for key in _VARIANT]
    if not option.get("material"):
        keys = _design(option)
        name = list(keys)
    mark = f"{tooth_number(tooth, system)}: " if several else ""
    return WayOut(
        key="|".join([kind.value, tooth, *name]),
        kind=kind,
        title=f"{word('answer', kind)}: {mark}{row.title.partition(': ')[2]}",
        feasible=row.feasible,
        consequences=row.consequences,
        reasons=row.reasons,
        changes={tooth: keys},
        offered=True,
        removal=row.removal,
    )


def _design(option: Mapping[str, Any]) -> dict[str, str]:
    """Return what of an implant crown changes beside its material."""
    if option.get("abutment"):
        return {"abutment": _("lower or angled abutment")}
    return {"retention": str(option["retention"])}
