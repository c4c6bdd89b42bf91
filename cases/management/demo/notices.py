"""What everybody has read by now: the scenario's older notices."""

from collections.abc import Iterable
from datetime import datetime

from cases.management.demo.people import Player
from cases.models import Notice, OutboxRow
from cases.services.notices import notices_read
from cases.tenancy import acting

__all__ = ["read_old_notices"]


def read_old_notices(
    players: Iterable[Player], *, before: datetime, at: datetime
) -> None:
    """Mark notices of events before ``before`` as read.

    All notices of the scenario were made just now; without this everybody would
    find three months of them unread.
    """
    for player in players:
        with acting(player.actor):
            old = OutboxRow.objects.filter(created_at__lt=before)
            waiting = Notice.objects.filter(
                membership_id=player.actor.membership_id,
                channel="portal",
                read_at__isnull=True,
                event__in=[str(pk) for pk in old.values_list("pk", flat=True)],
            ).values_list("pk", flat=True)
            for notice_id in list(waiting):
                notices_read(actor=player.actor, at=at, notice_id=notice_id)
