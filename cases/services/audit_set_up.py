"""How an organisation's audit is shown, what stands on its charts, saved selections."""

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Final
from urllib.parse import parse_qsl, urlencode

from django.db import IntegrityError, transaction

from cases import policies
from cases.audit.filters import AuditFilters
from cases.errors import Conflict, Invalid, InvalidField, NotFound
from cases.models import AuditNote, AuditSettings, AuditView
from cases.tenancy import Actor

__all__ = [
    "LEAST_CASES",
    "MOST_NOTES",
    "MOST_VIEWS",
    "PAGES",
    "SMALL_NUMBERS",
    "note_add",
    "note_remove",
    "settings_save",
    "view_remove",
    "view_save",
]

# With 1 nothing would be hidden, and with 2 every hidden count would be a 1.
SMALL_NUMBERS: Final = (3, 100)
LEAST_CASES: Final = (5, 1000)
MOST_NOTES: Final = 200
MOST_VIEWS: Final = 100
# Pages a selection can be saved of, by the name kept with it.
PAGES: Final = (
    "overview",
    "rates",
    "clearance",
    "queries",
    "clinics",
    "cases",
    "compare",
)
# What a page reads beside the filters.
_MORE: Final = ("from2", "to2", "measure")
_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f]+")


def _text(value: str) -> str:
    """Return a line of text without control characters and outer blanks."""
    return _CONTROL.sub(" ", value).strip()


def _within(
    faults: list[InvalidField], pointer: str, value: int, limits: tuple[int, int]
) -> None:
    low, high = limits
    if not low <= value <= high:
        faults.append(
            InvalidField(
                pointer,
                "Enter a whole number from {low} to {high}.",
                (("high", str(high)), ("low", str(low))),
            )
        )


@transaction.atomic
def settings_save(
    *,
    actor: Actor,
    small_number: int,
    least_cases: int,
    compare_people: bool,
    monthly_digest: bool,
    currency: str,
    at: datetime,
) -> AuditSettings:
    """Say how the organisation's audit is shown.

    ``small_number``: counts from 1 up to below it are hidden. ``least_cases``: a rate
    needs as many restorations. ``currency``: three letters as in ISO 4217.

    Raises:
        NotAllowed: the actor does not set up the audit.
        Invalid: a number outside its limits, or no currency's letters.
    """
    policies.require_right(actor, "audit_set_up")
    faults: list[InvalidField] = []
    _within(faults, "/small_number", small_number, SMALL_NUMBERS)
    _within(faults, "/least_cases", least_cases, LEAST_CASES)
    if not faults and least_cases < small_number:
        faults.append(
            InvalidField(
                "/least_cases",
                "A rate of fewer restorations than the threshold would say what it "
                "hides: enter at least {least}.",
                (("least", str(small_number)),),
            )
        )
    letters = currency.strip().upper()
    if not re.fullmatch("[A-Z]{3}", letters):
        faults.append(
            InvalidField("/currency", "Enter the three letters of the currency.")
        )
    if faults:
        raise Invalid(*faults)
    saved, _made = AuditSettings.objects.update_or_create(
        organisation_id=actor.organisation_id,
        defaults={
            "small_number": small_number,
            "least_cases": least_cases,
            "compare_people": compare_people,
            "monthly_digest": monthly_digest,
            "currency": letters,
            "changed_by_name": actor.name,
            "changed_at": at,
        },
    )
    return saved


@transaction.atomic
def note_add(*, actor: Actor, on: date, text: str, at: datetime) -> AuditNote:
    """Put a note on the organisation's charts: what happened, and on which day.

    Raises:
        NotAllowed: the actor does not set up the audit.
        Invalid: no text, one too long, or a day no chart will reach.
        Conflict: there are as many notes as a chart can bear.
    """
    policies.require_right(actor, "audit_set_up")
    faults: list[InvalidField] = []
    said = _text(text)
    if not said:
        faults.append(InvalidField("/text", "Write what happened."))
    elif len(said) > 120:
        faults.append(InvalidField("/text", "Use at most 120 characters."))
    if not date(2000, 1, 1) <= on <= at.date() + timedelta(days=366):
        faults.append(
            InvalidField("/on", "Enter a day from 2000 up to one year from now.")
        )
    if faults:
        raise Invalid(*faults)
    standing = AuditNote.objects.filter(
        organisation_id=actor.organisation_id, removed_at__isnull=True
    )
    if standing.count() >= MOST_NOTES:
        raise Conflict(
            "There are {most} notes already. Take one off first.", most=str(MOST_NOTES)
        )
    return AuditNote.objects.create(
        organisation_id=actor.organisation_id,
        on=on,
        text=said,
        made_by_id=actor.membership_id,
        made_by_name=actor.name,
        made_at=at,
    )


@transaction.atomic
def note_remove(*, actor: Actor, code: str, at: datetime) -> AuditNote:
    """Take a note off the charts; the row stays, with the day it was taken off.

    Raises:
        NotFound: no such note here.
        NotAllowed: the actor does not set up the audit.
        Conflict: a colleague took it off first.
    """
    note = (
        AuditNote.objects.select_for_update()
        .filter(organisation_id=actor.organisation_id, code=code)
        .first()
    )
    if note is None:
        raise NotFound
    policies.require_right(actor, "audit_set_up")
    if note.removed_at is not None:
        raise Conflict("This note has been taken off already.")
    note.removed_at = at
    note.save(update_fields=["removed_at"])
    return note


def _selection(query: str, at: datetime) -> str:
    """Return the query string of what a page reads, in fixed order.

    A selection without a period keeps none: it is always about the last months.

    Raises:
        Invalid: a period or value the page itself would refuse.
    """
    asked = dict(parse_qsl(query[:4000]))
    read = AuditFilters.read(asked, today=at.date())
    kept = read.address()
    for name in ("from", "to"):
        if not asked.get(name):
            del kept[name]
    for name in _MORE:
        if value := _text(asked.get(name, ""))[:60]:
            kept[name] = value
    return urlencode(kept)


def _stored(create: Callable[[], AuditView]) -> AuditView:
    try:
        with transaction.atomic():
            return create()
    except IntegrityError as error:
        if "audit_view_name_once" not in str(error):
            raise  # pragma: no cover -- no other constraint can be met
        raise Invalid.one(
            "/name", "You have a view of this name. Choose another, or remove it first."
        ) from error


@transaction.atomic
def view_save(
    *, actor: Actor, name: str, page: str, query: str, at: datetime
) -> AuditView:
    """Keep a selection of the audit under a name of one's own.

    ``page`` is one of ``PAGES``, ``query`` the query string of its address; what no
    page reads is dropped.

    Raises:
        NotAllowed: the actor's role has no audit.
        Invalid: no name, a name in use, no such page, or filters it would refuse.
        Conflict: the person keeps as many views as one may.
    """
    policies.require_right(actor, "audit")
    called = _text(name)
    if not called:
        raise Invalid.one("/name", "Enter a name for this view.")
    if len(called) > 60:
        raise Invalid.one("/name", "Use at most 60 characters.")
    if page not in PAGES:
        raise Invalid.one("/page", "Choose from the list.")
    kept = _selection(query, at)
    if len(kept) > 1000:
        raise Invalid.one("/query", "This selection is too long to keep.")
    own = AuditView.objects.filter(membership_id=actor.membership_id)
    if own.count() >= MOST_VIEWS:
        raise Conflict(
            "You have {most} saved views. Remove one first.", most=str(MOST_VIEWS)
        )
    return _stored(
        lambda: AuditView.objects.create(
            organisation_id=actor.organisation_id,
            membership_id=actor.membership_id,
            name=called,
            page=page,
            query=kept,
            made_at=at,
        )
    )


@transaction.atomic
def view_remove(*, actor: Actor, code: str) -> None:
    """Forget one of the person's own saved views.

    Raises:
        NotAllowed: the actor's role has no audit.
        NotFound: no such view of theirs.
    """
    policies.require_right(actor, "audit")
    removed, _each = AuditView.objects.filter(
        membership_id=actor.membership_id, code=code
    ).delete()
    if not removed:
        raise NotFound
