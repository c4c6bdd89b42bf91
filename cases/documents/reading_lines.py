"""Readings in words: what was read, where the jaw stood, how, and by which side."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext

from cases.documents import words
from cases.documents.figures import length, mm
from cases.documents.moments import day
from cases.enums import Basis
from rules.terms import Method, Position

__all__ = ["ReadingLine", "joined", "reading_line"]

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One reading in words."""

    reading: str
    position: str
    method: str
    taken: str


def joined(parts: Iterable[str]) -> str:
    """Return what is not empty, with commas between."""
    return ", ".join(part for part in parts if part)


def _strip(reading: Json) -> str:
    said = (
        ("passes_mm", gettext("%(mm)s slid")),
        ("drags_mm", gettext("%(mm)s dragged")),
        ("held_mm", gettext("%(mm)s held")),
    )
    return joined(
        template % {"mm": mm(reading[key])}
        for key, template in said
        if reading.get(key) is not None
    )


def _value(reading: Json, judged: Json | None) -> str:
    """Return a point with twice its standard uncertainty.

    A reading that states none was judged by its method's, which the check names
    where this reading governs.
    """
    value = length(reading["value_mm"])
    u = length(reading.get("u_mm"))
    measured = (judged or {}).get("measured_mm") or {}
    if u is None and judged and length(measured.get("low")) == value:
        u = length(judged.get("u_mm"))
    shown = mm(reading["value_mm"])
    return f"{shown} ± {mm(str(2 * u))}" if u else shown


def _method(reading: Json) -> str:
    basis = words.basis(reading.get("basis", Basis.MOUTH))
    if reading.get("mounting_number"):
        basis = gettext("%(basis)s, mounting %(number)s") % {
            "basis": basis,
            "number": reading["mounting_number"],
        }
    method = words.capital(words.term(Method, reading["method"]))
    return f"{method}; {basis[:1].lower()}{basis[1:]}"


def reading_line(reading: Json, judged: Json | None, *, several: bool) -> ReadingLine:
    """Return a reading in words.

    ``judged`` is its site in the check's result; with ``several`` positions read the
    governing one is named.
    """
    position = reading.get("position") or ""
    where = words.term(Position, position) if position else ""
    if several and judged and position and position == judged["governing_position"]:
        where = gettext("%(position)s (governs)") % {"position": where}
    point = reading.get("value_mm") is not None
    taken_at = reading.get("taken_at") or ""
    return ReadingLine(
        reading=_value(reading, judged) if point else _strip(reading),
        position=words.capital(where),
        method=_method(reading),
        taken=joined((words.side(reading.get("side", "")), day(taken_at[:10]))),
    )
