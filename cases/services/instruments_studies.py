"""Repeatability studies: an organisation's own uncertainty of a method.

A study is recorded once and withdrawn, never edited. Lengths are millimetres.
"""

from collections.abc import Sequence
from datetime import datetime
from decimal import ROUND_HALF_EVEN, ROUND_UP, Decimal

from django.db import transaction

from cases import policies
from cases.errors import Conflict, Invalid, NotFound
from cases.models import Instrument, RepeatabilityStudy
from cases.selectors.instrument_figures import FITTING
from cases.services.instruments_statistics import (
    LEAST_VALUES,
    MOST_VALUES,
    Repeatability,
    repeatability,
)
from cases.services.instruments_typed import Length, Typed
from cases.tenancy import Actor
from rules.terms import Method

__all__ = ["study_record", "study_withdraw"]

# What a reading may state at least: nothing at a chair or bench measures finer.
_LEAST_U = Decimal("0.001")
_MOST_U = Decimal(5)
_FOUR_PLACES = Decimal("0.0001")


def _instrument(
    typed: Typed, actor: Actor, code: str | None, method: str
) -> Instrument | None:
    if not code:
        return None
    found = Instrument.objects.filter(
        organisation_id=actor.organisation_id, code=code, retired_at__isnull=True
    ).first()
    if found is None:
        typed.add("/instrument", "Choose an instrument from your list.")
    elif method in set(Method) and method not in FITTING[found.kind]:
        typed.add(
            "/instrument",
            "“{label}” does not measure this way: choose another instrument or "
            "another method.",
            label=found.label,
        )
    return found


def _values(typed: Typed, given: Sequence[str]) -> list[Decimal]:
    if len(given) < LEAST_VALUES:
        typed.add(
            "/values",
            "Enter at least {least} values; there are {count}. From fewer the "
            "spread cannot be told well enough.",
            least=str(LEAST_VALUES),
            count=str(len(given)),
        )
    if len(given) > MOST_VALUES:
        typed.add(
            "/values",
            "Enter at most {most} values; there are {count}.",
            most=str(MOST_VALUES),
            count=str(len(given)),
        )
    read = [
        typed.number(f"/values/{index}", value, least=Decimal(0))
        for index, value in enumerate(given[:MOST_VALUES])
    ]
    return [value for value in read if value is not None]


def _method(typed: Typed, method: str) -> None:
    if method == Method.STRIP:
        typed.add(
            "/method",
            "Strips show an interval and have no repeatability: enter the measured "
            "thicknesses of the set instead.",
        )
    elif method not in set(Method):
        typed.add("/method", "Choose the method that was repeated.")


def _judged(found: Repeatability, *, resolution: Decimal | None) -> Decimal:
    """Return u rounded up to four places, or refuse one nobody may claim.

    Raises:
        Invalid: u would be zero or finer than anything read here, or absurd.
    """
    u = found.u_mm.quantize(_FOUR_PLACES, ROUND_UP)
    if u >= _LEAST_U and u <= _MOST_U:
        return u
    if u > _MOST_U:
        raise Invalid.one(
            "/values",
            "The values say nothing usable: u would be {u} mm. Look for one that was "
            "typed wrong.",
            u=f"{u:f}",
        )
    if resolution is None:
        raise Invalid.one(
            "/instrument",
            "The values hardly differ, so u would be 0: state the resolution. Name "
            "an instrument whose resolution is entered.",
        )
    raise Invalid.one(
        "/values",
        "The values hardly differ and u would be under {least} mm, finer than "
        "anything is read here. Repeat the whole measurement each time.",
        least=f"{_LEAST_U:f}",
    )


def _rounded(value: Decimal) -> Decimal:
    return value.quantize(_FOUR_PLACES, ROUND_HALF_EVEN)


@transaction.atomic
def study_record(
    *,
    actor: Actor,
    method: str,
    instrument: str | None,
    object_note: str,
    reference_mm: Length,
    values: Sequence[str],
    at: datetime,
) -> RepeatabilityStudy:
    """Record repeated measurements of one object; their u counts from now on.

    ``values`` as typed, ``instrument`` by its code: then u is that of the method
    with this instrument only. What was judged before keeps its figures.

    Raises:
        NotAllowed: as ever.
        Invalid: too few or too many values (``/values``), one that cannot be read
            (``/values/N``), u of nothing, or the same study once more.
    """
    policies.require_right(actor, "instruments")
    typed = Typed()
    _method(typed, method)
    note = typed.text(
        "/object_note",
        object_note,
        limit=120,
        missing="Say what was measured, like the gauge block.",
    )
    named = _instrument(typed, actor, instrument, method)
    reference = typed.number("/reference_mm", reference_mm, least=Decimal(0))
    numbers = _values(typed, values)
    typed.refuse()
    resolution = named.resolution_mm if named else None
    found = repeatability(numbers, reference_mm=reference, resolution_mm=resolution)
    u = _judged(found, resolution=resolution)
    kept = [f"{number:f}" for number in numbers]
    _once(actor, method=method, instrument=named, values=kept)
    return RepeatabilityStudy.objects.create(
        organisation_id=actor.organisation_id,
        method=method,
        instrument=named,
        object_note=note,
        reference_mm=reference,
        values=kept,
        count=found.count,
        repeatability_mm=_rounded(found.repeatability_mm),
        bias_mm=None if found.bias_mm is None else _rounded(found.bias_mm),
        u_mm=u,
        done_by_id=actor.membership_id,
        done_by_name=actor.name,
        done_at=at,
    )


def _once(
    actor: Actor, *, method: str, instrument: Instrument | None, values: list[str]
) -> None:
    """Refuse the same values again: the button was pressed twice."""
    if RepeatabilityStudy.objects.filter(
        organisation_id=actor.organisation_id,
        method=method,
        instrument=instrument,
        values=values,
        withdrawn_at__isnull=True,
    ).exists():
        raise Invalid.one("/values", "This study is recorded already.")


@transaction.atomic
def study_withdraw(*, actor: Actor, code: str, at: datetime) -> RepeatabilityStudy:
    """Take a study back; the one before it, or the rule set's default, counts again.

    Raises:
        NotFound: absent, or another organisation's.
        NotAllowed: as ever.
        Conflict: withdrawn already.
    """
    study = (
        RepeatabilityStudy.objects.select_for_update()
        .filter(organisation_id=actor.organisation_id, code=code)
        .first()
    )
    if study is None:
        raise NotFound
    policies.require_right(actor, "instruments")
    if study.withdrawn_at is not None:
        raise Conflict("This study was withdrawn already.")
    study.withdrawn_at = at
    study.save(update_fields=["withdrawn_at"])
    return study
