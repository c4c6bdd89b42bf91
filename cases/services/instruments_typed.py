"""What people type about instruments, read by the strict parser; every fault is kept.

Lengths are millimetres, as typed or Decimal.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from cases.enums import InstrumentKind
from cases.errors import Invalid, InvalidField
from cases.services.texts import refuse_overrides
from rules.errors import InvalidNumber
from rules.readings import MAXIMUM_MM, parse_mm, plain

__all__ = ["MOST_STRIPS", "Figures", "Length", "Typed", "read_figures"]

Length = str | Decimal | int | None

MOST_STRIPS = 30
# Sets come in steps of 0.5 mm: further off than half a step, it is another strip or
# a slip of the pen (common practice, no source).
_FARTHEST_OFF = Decimal("0.25")
_LEAST = Decimal("0.001")
_MOST_COUNT = Decimal(100_000)


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of an instrument; strips are (nominal, measured or None)."""

    resolution_mm: Decimal | None
    u_mm: Decimal | None
    uses: int | None
    most_uses: int | None
    strips: tuple[tuple[Decimal, Decimal | None], ...]


class Typed:
    """Reads typed values and collects what cannot be used."""

    def __init__(self) -> None:
        self.faults: list[InvalidField] = []

    def add(self, pointer: str, message: str, **params: str) -> None:
        """Note a fault."""
        self.faults += Invalid.one(pointer, message, **params).fields

    def refuse(self) -> None:
        """Raise Invalid with every fault, if there is one."""
        if self.faults:
            raise Invalid(*self.faults)

    def number(
        self,
        pointer: str,
        value: Length,
        *,
        least: Decimal = _LEAST,
        most: Decimal = MAXIMUM_MM,
        places: int = 4,
    ) -> Decimal | None:
        """Return the number; None for nothing and for what is none."""
        if value is None or value == "":
            return None
        try:
            return parse_mm(value, minimum=least, maximum=most, places=places)
        except InvalidNumber as error:
            params = tuple(sorted((key, str(v)) for key, v in error.params.items()))
            self.faults.append(InvalidField(pointer, error.message, params))
            return None

    def count(self, pointer: str, value: Length, *, least: int) -> int | None:
        """Return a whole number; None for nothing and for what is none."""
        found = self.number(
            pointer, value, least=Decimal(least), most=_MOST_COUNT, places=0
        )
        return None if found is None else int(found)

    def text(self, pointer: str, value: str, *, limit: int, missing: str = "") -> str:
        """Return the text without outer spaces; ``missing``: said where it is empty."""
        found = value.strip()
        if missing and not found:
            self.add(pointer, missing)
        if len(found) > limit:
            self.add(
                pointer, "Enter at most {limit} characters of text.", limit=str(limit)
            )
        try:
            refuse_overrides({pointer: found})
        except Invalid as error:
            self.faults += error.fields
        return found


def read_figures(
    typed: Typed,
    *,
    kind: str,
    lengths: tuple[Length, Length],
    counts: tuple[Length, Length],
    strips: Sequence[tuple[Length, Length]],
) -> Figures:
    """Read resolution and u, uses and most uses, and the strips of an instrument."""
    if kind not in InstrumentKind.values:
        typed.add("/kind", "Choose what kind of instrument it is.")
    resolution, u = lengths
    if kind == InstrumentKind.STRIPS:
        for key, value in (("/resolution_mm", resolution), ("/u_mm", u)):
            if value not in (None, ""):
                typed.add(key, "A set of strips has none: enter measured thicknesses.")
        resolution = u = None
    return Figures(
        resolution_mm=typed.number("/resolution_mm", resolution),
        u_mm=typed.number("/u_mm", u, most=Decimal(5)),
        uses=typed.count("/uses", counts[0], least=0),
        most_uses=typed.count("/most_uses", counts[1], least=1),
        strips=_strips(typed, kind, strips),
    )


def _strips(
    typed: Typed, kind: str, rows: Sequence[tuple[Length, Length]]
) -> tuple[tuple[Decimal, Decimal | None], ...]:
    if kind != InstrumentKind.STRIPS:
        if rows:
            typed.add("/strips", "Only a set of strips has strips.")
        return ()
    if not rows:
        typed.add("/strips", "Enter at least one strip of the set.")
    if len(rows) > MOST_STRIPS:
        typed.add(
            "/strips", "Enter at most {most} strips a set.", most=str(MOST_STRIPS)
        )
    found: dict[Decimal, Decimal | None] = {}
    for index, (nominal, measured) in enumerate(rows[:MOST_STRIPS]):
        _strip(typed, f"/strips/{index}", nominal, measured, found)
    return tuple(sorted(found.items()))


def _strip(
    typed: Typed,
    at: str,
    nominal: Length,
    measured: Length,
    found: dict[Decimal, Decimal | None],
) -> None:
    """Read one strip into ``found``, by what is written on it."""
    # A reading names a strip with two decimals at most.
    thick = typed.number(f"{at}/nominal_mm", nominal, least=Decimal("0.01"), places=2)
    real = typed.number(f"{at}/measured_mm", measured)
    if nominal in (None, ""):
        typed.add(f"{at}/nominal_mm", "Enter what is written on the strip.")
    if thick is None:
        return
    if thick in found:
        typed.add(f"{at}/nominal_mm", "There is a strip of {mm} mm.", mm=plain(thick))
    if real is not None and abs(real - thick) > _FARTHEST_OFF:
        typed.add(
            f"{at}/measured_mm",
            "{real} mm is too far from {nominal} mm for the same strip: measure "
            "again, or take the strip out of use.",
            real=plain(real),
            nominal=plain(thick),
        )
    found[thick] = real
