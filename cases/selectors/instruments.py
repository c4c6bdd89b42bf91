"""Instruments and repeatability studies, and what they add to readings.

Each organisation sees its own. Lengths are millimetres.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch, Q, QuerySet

from cases.errors import Invalid, InvalidField, NotFound
from cases.models import Instrument, InstrumentStrip, RepeatabilityStudy
from cases.selectors.instrument_figures import (
    FITTING,
    figured,
    named_fault,
    wants_u,
)
from cases.tenancy import Actor
from rules.loader import shipped_rule_set
from rules.requirements import RuleSet
from rules.terms import Method

__all__ = [
    "InstrumentChoice",
    "instrument_choices",
    "instrument_get",
    "instruments",
    "reading_figures",
    "studies_in_force",
    "study_get",
    "study_in_force",
    "study_list",
]


@dataclass(frozen=True, slots=True)
class InstrumentChoice:
    """An instrument a reading may name: code, label and kind."""

    code: str
    label: str
    kind: str

    def fits(self, method: str) -> bool:
        """Tell whether a method is read with this kind of instrument."""
        return method in FITTING.get(self.kind, ())


def _with_strips(rows: QuerySet[Instrument]) -> QuerySet[Instrument]:
    strips = InstrumentStrip.objects.order_by("nominal_mm")
    return rows.prefetch_related(Prefetch("strips", queryset=strips))


def instruments(*, actor: Actor, retired: bool = False) -> QuerySet[Instrument]:
    """Return the actor's organisation's instruments with their strips.

    In use by kind and label; with ``retired`` the retired ones, last first.
    """
    rows = Instrument.objects.filter(
        organisation_id=actor.organisation_id, retired_at__isnull=not retired
    )
    ordered = ("-retired_at", "-pk") if retired else ("kind", "label", "pk")
    return _with_strips(rows.order_by(*ordered))


def instrument_get(*, actor: Actor, code: str) -> Instrument:
    """Return one instrument with its strips, retired or not.

    Raises:
        NotFound: absent, or another organisation's.
    """
    rows = Instrument.objects.filter(organisation_id=actor.organisation_id, code=code)
    found = _with_strips(rows).first()
    if found is None:
        raise NotFound
    return found


def instrument_choices(*, actor: Actor) -> tuple[InstrumentChoice, ...]:
    """Return the instruments in use a reading of this organisation may name."""
    rows = (
        Instrument.objects.filter(
            organisation_id=actor.organisation_id, retired_at__isnull=True
        )
        .order_by("kind", "label", "pk")
        .values_list("code", "label", "kind")
    )
    return tuple(InstrumentChoice(*row) for row in rows)


def study_list(*, actor: Actor) -> QuerySet[RepeatabilityStudy]:
    """Return the organisation's studies, withdrawn ones too, newest first."""
    return (
        RepeatabilityStudy.objects.filter(organisation_id=actor.organisation_id)
        .select_related("instrument")
        .order_by("-done_at", "-pk")
    )


def study_get(*, actor: Actor, code: str) -> RepeatabilityStudy:
    """Return one study.

    Raises:
        NotFound: absent, or another organisation's.
    """
    found = study_list(actor=actor).filter(code=code).first()
    if found is None:
        raise NotFound
    return found


def studies_in_force(
    *, organisation_id: int, methods: Collection[str] = tuple(Method)
) -> QuerySet[RepeatabilityStudy]:
    """Return the last study of each method and instrument that was not withdrawn."""
    return (
        RepeatabilityStudy.objects.filter(
            organisation_id=organisation_id,
            method__in=list(methods),
            withdrawn_at__isnull=True,
        )
        .filter(Q(instrument__isnull=True) | Q(instrument__retired_at__isnull=True))
        .select_related("instrument")
        .order_by("method", "instrument_id", "-done_at", "-pk")
        .distinct("method", "instrument_id")
    )


def study_in_force(
    *, organisation_id: int, method: str, instrument_id: int | None
) -> RepeatabilityStudy | None:
    """Return the study a reading by this method (with this instrument) is judged by.

    That of the method with the instrument, else that of the method alone.
    """
    rows = studies_in_force(organisation_id=organisation_id, methods=[method])
    found = {row.instrument_id: row for row in rows}
    return found.get(instrument_id) or found.get(None)


def reading_figures(
    *,
    actor: Actor,
    readings: Sequence[Mapping[str, Any]],
    rule_set: RuleSet | None = None,
) -> list[dict[str, Any]]:
    """Return the readings with what their instruments and studies add.

    ``readings`` have the shape of the check, with the optional key ``instrument``
    (its code). Added where they apply: ``delta_mm`` of a strip set, ``u_mm`` where
    none was typed, ``u_origin`` and ``instrument_label``; lengths as text. Values
    that cannot be read are left for the rule core to refuse.

    A certificate never makes u smaller than the method's default in ``rule_set``
    (left out: the shipped one): it knows the instrument, not wax, silicone or
    mounting. Only a study, which repeats the whole act, replaces the default.

    Raises:
        Invalid: ``/N/instrument`` names none of the organisation's instruments, a
            retired one, or one the method is not read with.
    """
    rules = rule_set or shipped_rule_set()
    known = _named(actor, readings)
    faults = [
        InvalidField(f"/{index}/instrument", *fault)
        for index, reading in enumerate(readings)
        if (fault := named_fault(reading, known))
    ]
    if faults:
        raise Invalid(*faults)
    wanting = {str(r.get("method")) for r in readings if wants_u(r)}
    rows = (
        studies_in_force(organisation_id=actor.organisation_id, methods=wanting)
        if wanting
        else ()
    )
    studies = {(row.method, row.instrument_id): row for row in rows}
    return [figured(reading, known, studies, rules) for reading in readings]


def _named(
    actor: Actor, readings: Sequence[Mapping[str, Any]]
) -> dict[str, Instrument]:
    codes = {str(r["instrument"]) for r in readings if r.get("instrument")}
    if not codes:
        return {}
    rows = Instrument.objects.filter(
        organisation_id=actor.organisation_id, code__in=codes
    )
    return {row.code: row for row in _with_strips(rows)}
