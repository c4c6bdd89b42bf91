"""Load the scenario once, or find it; who can sign in goes into a file."""

import json
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction

from cases.management.demo.days import Days
from cases.management.demo.history import MONTHS
from cases.management.demo.people import (
    Player,
    find_players,
    make_players,
    reissue_token,
    write_people,
)
from cases.management.demo.scenario import play, played

__all__ = ["Loaded", "load_scenario", "write_credentials"]

Loaded = dict[str, Player]
# How long the parties have worked together when the scenario ends, in working days:
# a little longer than the history goes back.
PARTNERS_SINCE = 23 * MONTHS + 10


def load_scenario(
    people_file: Path,
    *,
    now: datetime,
    before: Callable[[Loaded], None] = lambda _players: None,
) -> tuple[Loaded, bool]:
    """Return the people and whether this call played the scenes.

    People are stored with their passwords, or not at all; so are the scenes. A start
    that was cut off between the two is taken up there. ``before`` is told of the people
    before the first scene.
    """
    with transaction.atomic():
        found = find_players(_known(people_file))
        players = found or make_players(at=Days(now).at(PARTNERS_SINCE, "09:00"))
        # Before commit: people must never exist whose password is lost.
        write_people(people_file, {"people": [p.shown() for p in players.values()]})
    if played(players):
        return players, False
    before(players)
    with transaction.atomic():
        play(players, now=now)
    return players, True


def write_credentials(
    file: Path, *, base_url: str, players: Loaded, at: datetime
) -> None:
    """Write people with fresh API tokens; the demo's earlier tokens end."""
    people = [
        {**player.entry(), "token": reissue_token(player, at=at)}
        for player in players.values()
    ]
    write_people(file, {"base_url": base_url, "people": people})


def _known(file: Path) -> dict[str, Mapping[str, Any]]:
    """Return what an earlier start wrote, by address; nothing when it is gone."""
    try:
        people = json.loads(file.read_text(encoding="utf-8"))["people"]
        return {person["email"]: person for person in people}
    except (OSError, ValueError, KeyError, TypeError):
        return {}
