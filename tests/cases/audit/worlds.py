"""Invented laboratories, drawn by chance: nothing going on, or something planted.

Restorations are drawn one by one from a seed, as a laboratory would meet them, and
counted into figures as the database counts them. Clinicians differ (``rho``: how alike
two restorations of one clinician are), as they do in life.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

from cases.audit.figures import (
    CauseTally,
    DoseCell,
    Figures,
    MonthFigures,
    OpposingCell,
    Queries,
    Tally,
)
from cases.audit.filters import months_between
from cases.audit.report_types import Setup

__all__ = [
    "AS_OF",
    "FIRST",
    "LAST",
    "Piece",
    "World",
    "counted",
    "null_world",
    "planted_world",
    "setup",
]

FIRST, LAST = date(2025, 12, 1), date(2026, 11, 1)
# The last month is not complete: its restorations may still come back.
AS_OF = datetime(2026, 12, 10, 6, 0, tzinfo=UTC)
_BEFORE = (date(2024, 12, 1), date(2025, 11, 1))
_MATERIALS = ("zirconia_3y", "metal_ceramic", "lithium_disilicate", "full_metal")
_KINDS = ("crown", "bridge", "onlay")
_TEETH = ("molar", "premolar", "canine", "incisor")
_METHODS = ("strip", "scan", "silicone_caliper")
_CLASSES = ("sufficient", "undecided", "up_to_025", "up_to_050", "over_050")
_SHARES = (0.62, 0.12, 0.12, 0.08, 0.06)
_CAUSES = ("marginal_fit", "proximal_contact", "occlusion_high", "shade", "fracture")
_OPTIONS = ("re_preparation", "reduction_coping", "change_material", "accept_risk")


@dataclass(frozen=True, slots=True)
class Piece:
    """One restoration, with the columns of a fact that figures are counted from."""

    day: date
    clinic: str
    clinician: str
    technician: str
    material: str
    kind: str
    tooth_class: str
    method: str
    first: str
    built: str
    option: str = ""
    flagged: bool = False
    accepted: bool = False
    reported: bool = False
    fitted: bool = False
    as_delivered: bool = False
    restoration_adjusted: bool = False
    opposing_adjusted: bool = False
    remade: bool = False
    days: int = 0
    cause: str = ""
    attribution: str = ""
    internal: bool = False
    internal_cause: str = ""

    @property
    def outcome(self) -> str:
        """What became of it: the first that holds."""
        for name in ("remade", "opposing_adjusted", "restoration_adjusted"):
            if getattr(self, name):
                return name
        if not self.reported:
            return "not_reported"
        return "as_delivered" if self.fitted else "not_fitted"

    @property
    def adverse(self) -> bool:
        """Remade, not fitted, or the opposing tooth adjusted."""
        return self.remade or (
            self.reported and (self.opposing_adjusted or not self.fitted)
        )


@dataclass(frozen=True, slots=True)
class World:
    """A year and the year before it."""

    now: Figures
    before: Figures


@dataclass(frozen=True, slots=True)
class _Plan:
    """What a world is drawn from; the defaults plant nothing."""

    n: int = 1000
    clinics: int = 6
    clinicians: int = 3
    rate: float = 0.05
    opposing: float = 0.06
    rho: float = 0.0
    reported: float = 0.8
    clinic_factor: float = 1.0
    step: float = 1.0
    query_factor: float = 1.0
    year_factor: float = 1.0


def setup(viewer: str = "laboratory", **more: Any) -> Setup:
    """Return the setup of a report over the year."""
    return Setup(viewer=viewer, first=FIRST, last=LAST, as_of=AS_OF, **more)


def null_world(seed: int, **plan: Any) -> World:
    """Return a world in which no clinic, material, shortage or query matters."""
    return _world(seed, _Plan(**plan))


def planted_world(seed: int, **plan: Any) -> World:
    """Return a world with effects.

    ``clinic_factor``: on clinic 1's rate of remakes; ``step``: on the rate of remakes
    and adjusted opposing teeth for every class of shortage, in one material;
    ``query_factor``: on the rate of adjusted opposing teeth after a query;
    ``year_factor``: on the rate of remakes of the later year.
    """
    return _world(seed, _Plan(**plan))


def _world(seed: int, plan: _Plan) -> World:
    chance = np.random.default_rng(seed)
    people = plan.clinics * plan.clinicians
    remade = _rates(chance, plan.rate, plan.rho, people)
    opposing = _rates(chance, plan.opposing, plan.rho, people)
    years = []
    for period, factor in (((FIRST, LAST), plan.year_factor), (_BEFORE, 1.0)):
        months = months_between(*period)
        drawn = _pieces(chance, plan, months[0], remade * factor, opposing)
        years.append(counted(drawn, months))
    return World(*years)


def _rates(
    chance: np.random.Generator, mean: float, rho: float, people: int
) -> np.ndarray:
    if not rho:
        return np.full(people, mean)
    size = 1 / rho - 1
    return chance.beta(mean * size, (1 - mean) * size, people)


def _pieces(
    chance: np.random.Generator,
    plan: _Plan,
    first: date,
    remade: np.ndarray,
    opposing: np.ndarray,
) -> list[Piece]:
    n = plan.n
    who = chance.integers(0, len(remade), n)
    clinic = who % plan.clinics
    days = np.sort(chance.integers(0, 365, n))
    shortage = chance.choice(len(_CLASSES), n, p=_SHARES)
    material = chance.integers(0, len(_MATERIALS), n)
    flagged = (shortage > 0) & (chance.random(n) < 0.6)
    steps = np.where(material == 0, plan.step**shortage, 1.0)
    chance_remade = remade[who] * np.where(clinic == 0, plan.clinic_factor, 1.0) * steps
    chance_opposing = opposing[who] * np.where(flagged, plan.query_factor, 1.0) * steps
    happened = {
        "remade": chance.random(n) < chance_remade,
        "opposing": chance.random(n) < chance_opposing,
        "reported": chance.random(n) < plan.reported,
        "unfitted": chance.random(n) < 0.01,
        "adjusted": chance.random(n) < 0.10,
        "internal": chance.random(n) < 0.03,
    }
    words = {
        name: chance.integers(0, len(among), n)
        for name, among in (
            ("kind", _KINDS),
            ("tooth", _TEETH),
            ("method", _METHODS),
            ("option", _OPTIONS),
            ("cause", _CAUSES),
            ("attribution", ("clinic", "laboratory", "undetermined")),
        )
    }
    late = 3 + chance.geometric(0.05, n)
    return [
        _piece(
            first + timedelta(days=int(days[i])),
            int(who[i]),
            int(clinic[i]),
            _MATERIALS[material[i]],
            _CLASSES[shortage[i]],
            bool(flagged[i]),
            {name: bool(one[i]) for name, one in happened.items()},
            {name: int(one[i]) for name, one in words.items()},
            int(late[i]),
        )
        for i in range(n)
    ]


def _piece(
    day: date,
    who: int,
    clinic: int,
    material: str,
    shortage: str,
    flagged: bool,
    happened: dict[str, bool],
    words: dict[str, int],
    late: int,
) -> Piece:
    remade = happened["remade"] and day + timedelta(days=late) <= AS_OF.date()
    told = happened["reported"]
    fitted = told and not happened["unfitted"]
    option = _OPTIONS[words["option"]] if flagged else ""
    adjusted, ground = fitted and happened["adjusted"], fitted and happened["opposing"]
    return Piece(
        day=day,
        clinic=str(clinic + 1),
        clinician=str(who + 101),
        technician=str(words["tooth"] + 201),
        material=material,
        kind=_KINDS[words["kind"]],
        tooth_class=_TEETH[words["tooth"]],
        method=_METHODS[words["method"]],
        first=shortage,
        built="sufficient" if option == "re_preparation" else shortage,
        option=option,
        flagged=flagged,
        accepted=option == "accept_risk",
        reported=told or remade,
        fitted=fitted,
        as_delivered=fitted and not adjusted and not ground,
        restoration_adjusted=adjusted,
        opposing_adjusted=ground,
        remade=remade,
        days=late if remade else 0,
        cause=_CAUSES[words["cause"]] if remade else "",
        attribution=("clinic", "laboratory", "undetermined")[words["attribution"]],
        internal=happened["internal"],
        internal_cause=_CAUSES[words["cause"]] if happened["internal"] else "",
    )


def counted(
    pieces: Iterable[Piece], months: Sequence[date] = (), as_of: datetime = AS_OF
) -> Figures:
    """Return the figures of restorations, as the database would count them."""
    by_month: dict[date, list[Piece]] = {
        month: [] for month in months or months_between(FIRST, LAST)
    }
    for piece in pieces:
        by_month[piece.day.replace(day=1)].append(piece)
    return Figures(
        tuple(_month(month, found) for month, found in by_month.items()), as_of
    )


_NAMES = tuple(one.name for one in fields(Tally))[1:]
_BY = (
    "clinic", "clinician", "technician", "material", "kind", "tooth_class", "method",
)  # fmt: skip


def _tally(pieces: Sequence[Piece]) -> Tally:
    return Tally(
        len(pieces), *(sum(getattr(one, name) for one in pieces) for name in _NAMES)
    )


def _groups(pieces: Iterable[Piece], *names: str) -> dict[Any, list[Piece]]:
    found: dict[Any, list[Piece]] = {}
    for one in pieces:
        key = tuple(getattr(one, name) for name in names)
        found.setdefault(key[0] if len(names) == 1 else key, []).append(one)
    return found


def _month(month: date, pieces: list[Piece]) -> MonthFigures:
    reported = [one for one in pieces if one.reported]
    return MonthFigures(
        month=month,
        total=_tally(pieces),
        by={
            name: {key: _tally(found) for key, found in _groups(pieces, name).items()}
            for name in _BY
        },
        causes=_causes(pieces),
        dose_first=_dose(reported, "first"),
        dose_built=_dose(reported, "built"),
        opposing=tuple(
            OpposingCell(
                who, flagged, len(found), sum(one.opposing_adjusted for one in found)
            )
            for (who, flagged), found in _groups(
                reported, "clinician", "flagged"
            ).items()
        ),
        flow=Counter((_verdict(one.first), one.option, one.outcome) for one in pieces),
        runs={
            clinic: (
                len(found),
                tuple(place for place, one in enumerate(found, 1) if one.remade),
            )
            for clinic, found in _groups(pieces, "clinic").items()
        },
        remade_after=Counter(one.days for one in pieces if one.remade),
        unremade=Counter(one.day for one in pieces if not one.remade),
        queries=_queries(pieces),
    )


def _verdict(shortage: str) -> str:
    return shortage if shortage in {"sufficient", "undecided", ""} else "insufficient"


def _dose(reported: Iterable[Piece], basis: str) -> tuple[DoseCell, ...]:
    return tuple(
        DoseCell(
            who,
            shortage,
            len(found),
            sum(one.remade for one in found),
            sum(one.opposing_adjusted for one in found),
            sum(one.adverse for one in found),
        )
        for (who, shortage), found in _groups(reported, "clinician", basis).items()
    )


def _causes(pieces: list[Piece]) -> dict[str, CauseTally]:
    remade = _groups((one for one in pieces if one.remade), "cause")
    internal = Counter(one.internal_cause for one in pieces if one.internal)
    return {
        cause: CauseTally(
            len(remade.get(cause, ())),
            internal[cause],
            Counter(one.attribution for one in remade.get(cause, ())),
            {},
        )
        for cause in {*remade, *internal}
    }


def _queries(pieces: list[Piece]) -> Queries:
    asked = [one for one in pieces if one.flagged]
    return Queries(
        raised=len(asked),
        closed={"answered": len(asked)} if asked else {},
        options=Counter(one.option for one in asked),
        asked=Counter(15 * (1 + (one.day.day * 7) % 40) for one in asked),
        answered=Counter(60 * (1 + (one.day.day * 5) % 90) for one in asked),
    )
