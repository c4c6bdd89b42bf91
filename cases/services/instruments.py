"""Instruments: entered, counted, retired; never deleted, because readings name them.

Lengths are millimetres, as typed (strict parser) or Decimal.
"""

from collections.abc import Callable, Sequence
from datetime import datetime

from django.db import IntegrityError, transaction

from cases import policies
from cases.errors import Conflict, Invalid, NotFound
from cases.models import Instrument, InstrumentStrip
from cases.services.instruments_typed import Length, Typed, read_figures
from cases.tenancy import Actor

__all__ = ["instrument_retire", "instrument_save", "instrument_used"]


def _in_use(actor: Actor, code: str) -> Instrument:
    """Return an instrument of the actor's organisation, locked and not retired.

    Raises:
        NotFound: absent, or another organisation's.
        Conflict: retired.
    """
    found = (
        Instrument.objects.select_for_update()
        .filter(organisation_id=actor.organisation_id, code=code)
        .first()
    )
    if found is None:
        raise NotFound
    policies.require_right(actor, "instruments")
    if found.retired_at is not None:
        raise Conflict("This instrument was retired; it stays as it was.")
    return found


def _stored(change: Callable[[], None]) -> None:
    """Run what stores an instrument; a label in use is a fault of its field."""
    try:
        with transaction.atomic():
            change()
    except IntegrityError as error:
        if "instrument_label_once" not in str(error):
            raise  # pragma: no cover -- no other constraint can be met
        raise Invalid.one(
            "/label", "An instrument in use has this name. Give each its own."
        ) from error


@transaction.atomic
def instrument_save(
    *,
    actor: Actor,
    code: str | None,
    kind: str,
    label: str,
    resolution_mm: Length,
    u_mm: Length,
    most_uses: Length,
    note: str,
    strips: Sequence[tuple[Length, Length]],
    at: datetime,
    uses: Length = None,
) -> Instrument:
    """Enter an instrument (``code`` None) or change one that is in use.

    ``strips`` are (nominal, measured or None) of a strip set and replace what it
    had. ``uses`` corrects the count; None leaves it. Stored readings keep the
    figures they were taken with.

    Raises:
        NotFound, NotAllowed: as ever.
        Conflict: it was retired.
        Invalid: every field that cannot be used.
    """
    policies.require_right(actor, "instruments")
    found = _in_use(actor, code) if code is not None else None
    typed = Typed()
    named = typed.text(
        "/label", label, limit=60, missing="Enter the name your colleagues know it by."
    )
    said = typed.text("/note", note, limit=200)
    if found is not None and kind != found.kind:
        typed.add("/kind", "Its kind stays: enter another instrument instead.")
    figures = read_figures(
        typed,
        kind=kind,
        lengths=(resolution_mm, u_mm),
        counts=(uses, most_uses),
        strips=strips,
    )
    typed.refuse()
    instrument = found or Instrument(
        organisation_id=actor.organisation_id,
        kind=kind,
        created_by_name=actor.name,
        created_at=at,
    )
    instrument.label, instrument.note = named, said
    instrument.resolution_mm, instrument.u_mm = figures.resolution_mm, figures.u_mm
    instrument.most_uses = figures.most_uses
    if figures.uses is not None:
        instrument.uses = figures.uses
    _stored(instrument.save)
    InstrumentStrip.objects.filter(instrument=instrument).delete()
    InstrumentStrip.objects.bulk_create(
        InstrumentStrip(instrument=instrument, nominal_mm=nominal, measured_mm=real)
        for nominal, real in figures.strips
    )
    return instrument


@transaction.atomic
def instrument_used(
    *, actor: Actor, code: str, at: datetime, seen: int | None = None
) -> Instrument:
    """Count one use or sterilisation more.

    ``seen`` is the count the person saw: a press that came twice counts once.

    Raises:
        NotFound, NotAllowed: as ever.
        Conflict: retired, or counted by somebody else meanwhile.
    """
    instrument = _in_use(actor, code)
    if seen is not None and seen != instrument.uses:
        raise Conflict(
            "“{label}” was counted meanwhile: it stands at {uses}. Count again only "
            "if this was another use.",
            label=instrument.label,
            uses=str(instrument.uses),
        )
    instrument.uses += 1
    instrument.save(update_fields=["uses"])
    return instrument


@transaction.atomic
def instrument_retire(
    *, actor: Actor, code: str, reason: str, at: datetime
) -> Instrument:
    """Take an instrument out of use for good; readings go on naming it.

    Raises:
        NotFound, NotAllowed: as ever.
        Conflict: retired already.
        Invalid: no reason, or too long a one.
    """
    instrument = _in_use(actor, code)
    typed = Typed()
    why = typed.text(
        "/reason", reason, limit=200, missing="Write why it is taken out of use."
    )
    typed.refuse()
    instrument.retired_at, instrument.retired_reason = at, why
    instrument.save(update_fields=["retired_at", "retired_reason"])
    return instrument
