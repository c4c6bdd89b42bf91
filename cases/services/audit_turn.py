"""One report on paper at a time for each organisation.

A report of hundreds of clinics takes a worker some twenty seconds: asked for at once by
everybody of one organisation, it would take all of them from the others. Held in the
database, because a cache that is away would let everybody through.
"""

from typing import Final

from django.db import connection

from cases.errors import TooMany
from cases.tenancy import Actor

__all__ = ["TURN", "take_turn"]

# Until the end of the request's transaction, however it ends.
TURN: Final = (
    "SELECT pg_try_advisory_xact_lock("
    "hashtextextended('audit report of ' || %(organisation)s::text, 0))"
)


def take_turn(*, actor: Actor) -> None:
    """Take the organisation's turn until the transaction ends.

    Raises:
        TooMany: a report of the organisation is being made.
    """
    with connection.cursor() as cursor:
        cursor.execute(TURN, {"organisation": actor.organisation_id})
        if cursor.fetchone() != (True,):
            raise TooMany(
                "A report of your organisation is being made. Try again in a minute."
            )
