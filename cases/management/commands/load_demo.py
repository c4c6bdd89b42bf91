"""The invented scenario of ``manage.py demo``: people and cases, made once."""

from argparse import ArgumentParser
from functools import partial
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from cases import clock, outbox, tasks
from cases.management.demo.days import Days
from cases.management.demo.history import load_history
from cases.management.demo.load import load_scenario, write_credentials
from cases.management.demo.notices import read_old_notices

__all__ = ["Command"]

# Older notices of the scenario count as read, in working days.
UNREAD_DAYS = 3


class Command(BaseCommand):
    """Load the scenario, or find it; then write down who can sign in."""

    help = (
        "Load the demo's invented people and cases (a second start finds them) and "
        "issue fresh API tokens. For manage.py demo, not for a real installation."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument("--base-url", default=settings.BASE_URL)
        parser.add_argument(
            "--credentials", type=Path, help="file to write people and tokens to"
        )

    def handle(self, **options: Any) -> None:
        """Load, make documents and notices, issue tokens and write the files."""
        if not settings.DEMO_PEOPLE_FILE:
            raise CommandError(
                "DEMO_PEOPLE_FILE is not set: this is not a demo. Invented people "
                "with known passwords do not belong into a real installation."
            )
        now = clock.now()
        # This process takes the outbox itself; no worker is to be woken.
        outbox.set_nudge(lambda: None)
        players, first = load_scenario(
            Path(settings.DEMO_PEOPLE_FILE),
            now=now,
            before=partial(load_history, now=now),
        )
        tasks.relay_outbox()
        if first:
            before = Days(now).at(UNREAD_DAYS, "00:00")
            read_old_notices(players.values(), before=before, at=now)
        if options["credentials"]:
            write_credentials(
                options["credentials"],
                base_url=options["base_url"],
                players=players,
                at=now,
            )
        done = "loaded" if first else "found"
        self.stdout.write(f"chairbench: invented scenario {done}")
