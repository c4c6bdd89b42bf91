"""What the drawing of a plan says, as plain data."""

from dataclasses import dataclass, field

__all__ = ["PlanChart", "PlanMark", "PlanWords"]


@dataclass(frozen=True, slots=True)
class PlanWords:
    """The fixed words of the drawing, already translated; ``lingual`` by the arch."""

    buccal: str = "buccal"
    lingual: str = "lingual"
    mesial: str = "mesial"
    distal: str = "distal"
    unit: str = "mm"
    clearance: str = "clearance to the antagonist"
    reduction: str = "reduction to the planned contour"
    width: str = "width"

    def quantity(self, name: str) -> str:
        """Return the words of a quantity."""
        return str(getattr(self, name))


@dataclass(frozen=True, slots=True)
class PlanMark:
    """One line of the plan: its sites, what it is called, how much, how measured.

    ``quantity`` is clearance, reduction or width; ``least`` a length as text; ``more``
    one short line under it (what to aim at).
    """

    sites: tuple[str, ...]
    label: str
    quantity: str
    least: str
    more: str = ""


@dataclass(frozen=True, slots=True)
class PlanChart:
    """One unit before its preparation; the keys are those of ``ClearanceChart``."""

    tooth: str
    arch: str
    side: str
    tooth_class: str
    marks: tuple[PlanMark, ...]
    title: str
    describe: str
    uid: str
    words: PlanWords = field(default_factory=PlanWords)
    functional_buccal: bool | None = None
