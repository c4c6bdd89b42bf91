"""The dice: who, what, when and what came of it, drawn for a few thousand cases at once.

Everything is decided here; telling it (``life``) only follows. The rates are invented,
of the size trade surveys count; no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from cases.audit.figures import CLASSES
from cases.management.volume.houses import Clinic, Laboratory, Person
from cases.management.volume.plan import PLANTED_MATERIAL, Plan
from cases.management.volume.samples import MATERIALS, Sample

__all__ = ["Dice", "Lot"]

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
DAY: Final = 1440
_MATERIAL_SHARE = (0.30, 0.28, 0.24, 0.08, 0.10)
_CLASS_SHARE = (0.62, 0.12, 0.10, 0.09, 0.07)
_DOSE = np.array([1.0, 1.5, 2.2, 3.0, 4.0])
_AFTER_QUERY = 0.4
# Days within which it is known what became of a case that was dispatched.
_OUTCOME = 13
_ASKED_UNDECIDED = 0.4
# What the clinician chooses when something is short, and when it is only undecided.
_WAYS: Final = (
    "re_preparation",
    "change_material",
    "reduction_coping",
    "accept_risk",
    "adjust_opposing",
    "withdrawn",
    "cancel",
)
_SHORT = (0.34, 0.15, 0.15, 0.28, 0.05, 0.0, 0.03)
# Of the planted material most is built as it is: what was missing stays missing.
_KEPT = (0.15, 0.07, 0.25, 0.50, 0.0, 0.0, 0.03)
_OPEN = (0.20, 0.0, 0.0, 0.30, 0.0, 0.50, 0.0)
_ROOM_AFTER = ("re_preparation", "change_material", "adjust_opposing")


@dataclass(frozen=True, slots=True)
class Lot:
    """One case as it fell. Times are minutes; ``start`` is when it was signed."""

    laboratory: Laboratory
    clinic: Clinic
    clinician: Person
    technician: Person
    sample: Sample
    way: str
    start: int
    steps: list[int]
    internal: bool
    reported: bool
    fitted: bool
    opposing: bool
    adjusted: bool
    provisional: bool
    remade: list[bool]
    amount: int
    minutes: int
    remade_after: int
    words: list[float]


@dataclass(frozen=True, slots=True)
class _Place:
    laboratory: Laboratory
    clinic: Clinic
    clinician: Person
    effect: float


class Dice:
    """Draws lots for a plan; the same seed gives the same lots."""

    def __init__(
        self, plan: Plan, laboratories: Sequence[Laboratory], pool: Sequence[Sample]
    ) -> None:
        self._plan = plan
        self._rng = np.random.default_rng(plan.seed)
        self._pool = pool
        self._places = self._drawn_places(laboratories)
        share = np.array(
            [p.clinic.share / len(p.clinic.clinicians) for p in self._places]
        )
        self._share = share / share.sum()
        self._by = {
            (material, shortage): [
                i
                for i, one in enumerate(pool)
                if (one.material, one.shortage) == (material, shortage)
            ]
            for material in MATERIALS
            for shortage in CLASSES
        }

    def _drawn_places(self, laboratories: Sequence[Laboratory]) -> list[_Place]:
        return [
            _Place(lab, clinic, who, float(self._rng.normal(0, self._plan.clustering)))
            for lab in laboratories
            for clinic in lab.clinics
            for who in clinic.clinicians
        ]

    @property
    def rng(self) -> Generator:
        """The source of codes and salts as well."""
        return self._rng

    def lots(self, count: int) -> list[Lot]:
        """Draw so many cases."""
        rng = self._rng
        where = rng.choice(len(self._places), size=count, p=self._share)
        which = self._samples(count)
        way = self._ways(which)
        went = self._went(where, which, way)
        steps = _steps(rng, count)
        starts = self._starts(way, steps)
        words = rng.random((count, 8)).tolist()
        technicians = rng.integers(0, 1 << 30, size=count).tolist()
        told = {name: column.tolist() for name, column in went.items()}
        remade, minutes = told.pop("remade"), steps.tolist()
        found = []
        for i in range(count):
            place, sample = self._places[where[i]], self._pool[which[i]]
            people = place.laboratory.technicians
            lot = Lot(
                laboratory=place.laboratory,
                clinic=place.clinic,
                clinician=place.clinician,
                technician=people[technicians[i] % len(people)],
                sample=sample,
                way=way[i],
                start=int(starts[i]),
                steps=minutes[i],
                remade=remade[i][: len(sample.parts)],
                words=words[i],
                **{name: column[i] for name, column in told.items()},
            )
            found.append(lot)
        return found

    def _samples(self, count: int) -> list[int]:
        rng = self._rng
        material = rng.choice(len(MATERIALS), size=count, p=_MATERIAL_SHARE)
        shortage = rng.choice(len(CLASSES), size=count, p=_CLASS_SHARE)
        pick = rng.random(count)
        found = []
        for m, s, u in zip(
            material.tolist(), shortage.tolist(), pick.tolist(), strict=True
        ):
            # Some material needs so little that it never lacks the most.
            while not (choices := self._by[(MATERIALS[m], CLASSES[s])]):
                s -= 1
            found.append(choices[int(u * len(choices))])
        return found

    def _ways(self, which: list[int]) -> list[str]:
        rng = self._rng
        short = rng.choice(len(_WAYS), size=len(which), p=_SHORT)
        undecided = rng.choice(len(_WAYS), size=len(which), p=_OPEN)
        kept = rng.choice(len(_WAYS), size=len(which), p=_KEPT)
        asked = rng.random(len(which)) < _ASKED_UNDECIDED
        dosed = "material_dose" in self._plan.effects
        found = []
        for i, index in enumerate(which):
            sample = self._pool[index]
            if sample.verdict == "sufficient":
                found.append("")
            elif sample.verdict == "undecided":
                found.append(_WAYS[undecided[i]] if asked[i] else "")
            else:
                planted = dosed and sample.material == PLANTED_MATERIAL
                chosen = kept[i] if planted else short[i]
                found.append(_possible(sample, _WAYS[chosen]))
        if self._plan.ended:
            found = ["re_preparation" if way == "cancel" else way for way in found]
        return found

    def _went(self, where: Whole, which: list[int], way: list[str]) -> dict[str, Any]:
        """Draw what happened at the bench and in the mouth."""
        rng, plan, count = self._rng, self._plan, len(which)
        odds = np.exp(np.array([self._places[i].effect for i in where]))
        dose = self._dose(which, way)
        remade = plan.remade * odds * dose * self._twice(where)
        flagged = np.array([bool(one) for one in way])
        helped = "queries_help" in plan.effects
        eased = np.where(flagged, _AFTER_QUERY, 1.0) if helped else 1.0
        opposing = np.minimum(plan.opposing * odds * dose * eased, 0.9)
        again = rng.random((count, 2)) < np.minimum(remade, 0.9)[:, None]
        known = rng.random(count) < (1.0 if plan.ended else plan.reported)
        return {
            "remade": again,
            "reported": known | again.any(axis=1),
            "fitted": rng.random(count) < np.where(again.any(axis=1), 0.4, 0.995),
            "opposing": rng.random(count) < opposing,
            "adjusted": rng.random(count) < 0.18,
            "provisional": rng.random(count) < 0.03,
            "internal": rng.random(count) < 0.06,
            "amount": rng.integers(1, 9, size=count),
            "minutes": rng.integers(8, 45, size=count),
            "remade_after": np.int64(rng.lognormal(2.8, 0.7, size=count) * DAY),
        }

    def _dose(self, which: list[int], way: list[str]) -> Floats:
        if "material_dose" not in self._plan.effects:
            return np.ones(len(which))
        return np.array(
            [
                _DOSE[CLASSES.index(self._pool[i].shortage)]
                if self._pool[i].material == PLANTED_MATERIAL and w not in _ROOM_AFTER
                else 1.0
                for i, w in zip(which, way, strict=True)
            ]
        )

    def _twice(self, where: Whole) -> Floats:
        if "clinic_twice" not in self._plan.effects:
            return np.ones(len(where))
        return np.array([2.0 if self._places[i].clinic.twice else 1.0 for i in where])

    def _starts(self, way: list[str], steps: Whole) -> Whole:
        """Draw days of dispatch over the months; return when each case was signed."""
        plan, rng = self._plan, self._rng
        # Those still on their way would have left within the next days.
        last = plan.end_minute + (-_OUTCOME * DAY if plan.ended else 16 * DAY)
        leaves = rng.integers(plan.start_minute // DAY, last // DAY, size=len(way))
        weekday = (leaves + 3) % 7  # day 0 of 1970 was a Thursday, the fourth
        leaves -= np.maximum(weekday - 4, 0)
        clock = rng.integers(8 * 60, 17 * 60, size=len(way))
        asked = np.array([bool(one) for one in way])
        renewed = np.array(
            [one in ("re_preparation", "adjust_opposing") for one in way]
        )
        risk = np.array([one == "accept_risk" for one in way])
        taken = steps[:, [0, 6, 7, 8]].sum(axis=1)
        taken += np.where(asked, steps[:, 1] + steps[:, 2], 0)
        taken += np.where(risk, steps[:, 3], 0)
        taken += np.where(renewed, steps[:, 4] + steps[:, 5], 0)
        return np.asarray(leaves * DAY + clock - taken, dtype=np.int64)


def _possible(sample: Sample, way: str) -> str:
    """Return the way out, or a second preparation where this one is closed."""
    if way == "change_material":
        return way if sample.changed else "re_preparation"
    if way in ("reduction_coping", "adjust_opposing"):
        open_ = any(
            option["kind"] == way and option["feasible"]
            for unit in sample.result["units"]
            for option in unit["options"]
        )
        return way if open_ else "re_preparation"
    return way


def _steps(rng: Generator, count: int) -> Whole:
    """Draw minutes: transit, asking, answering, countersigning, new records, their
    transit, clearing, releasing, making, receipt, seating."""
    columns = [
        rng.integers(1 * DAY, 2 * DAY, size=count),
        np.minimum(rng.lognormal(4.5, 0.9, size=count), 7 * DAY) + 1,
        np.minimum(rng.lognormal(7.35, 1.0, size=count), 21 * DAY) + 1,
        rng.integers(20, DAY, size=count),
        rng.integers(3 * DAY, 8 * DAY, size=count),
        rng.integers(1 * DAY, 2 * DAY, size=count),
        rng.integers(20, 180, size=count),
        rng.integers(2, 20, size=count),
        rng.integers(4 * DAY, 8 * DAY, size=count),
        rng.integers(DAY // 2, 2 * DAY, size=count),
        rng.integers(1 * DAY, 9 * DAY, size=count),
    ]
    return np.stack([np.asarray(c, dtype=np.int64) for c in columns], axis=1)
