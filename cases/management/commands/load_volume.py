"""``manage.py load_volume``: invented cases by the thousand or the million."""

from argparse import ArgumentParser
from datetime import UTC, date, datetime, time
from time import monotonic
from typing import Any

import psycopg
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connections, transaction

from cases import clock
from cases.management.volume.cast import MARK, make_houses
from cases.management.volume.load import load_cases
from cases.management.volume.plan import EFFECTS, Plan
from cases.management.volume.verify import sample_faults, sampled

__all__ = ["Command"]

SAMPLE = 200
_STEP = 20  # progress is said so often


class Command(BaseCommand):
    """Fill an empty database with cases whose figures are known."""

    help = (
        "Load complete invented cases, the same for the same seed and last day, into a "
        "database without organisations: for measuring and for trying the audit. Needs "
        "the owner's login. Effects are planted so that the audit has something to find."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument("--cases", type=int, default=10_000)
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--clinics", type=int, default=8)
        parser.add_argument("--laboratories", type=int, default=2)
        parser.add_argument("--months", type=int, default=14)
        parser.add_argument(
            "--until",
            type=date.fromisoformat,
            help="last day of the cases, as 2026-05-31 (default: yesterday)",
        )
        planted = parser.add_mutually_exclusive_group()
        planted.add_argument(
            "--plant",
            action="append",
            choices=EFFECTS,
            help="an effect to plant, may be given again (default: all)",
        )
        planted.add_argument(
            "--null", action="store_true", help="plant nothing: chance alone"
        )
        parser.add_argument(
            "--yes-empty-database",
            action="store_true",
            help="load although this is neither a demo nor DEBUG",
        )

    def handle(self, **options: Any) -> None:
        """Load, verify a sample and say what was made."""
        _refuse_size(options)
        _refuse_production(sure=options["yes_empty_database"])
        plan = _plan(options)
        if "owner" not in connections.databases:
            raise CommandError("OWNER_DATABASE_URL is not set; only the owner may.")
        began = monotonic()
        try:
            with transaction.atomic(using="owner"):
                connections["owner"].ensure_connection()
                made = self._load(connections["owner"].connection, plan, options)
        except psycopg.errors.LockNotAvailable as error:
            raise CommandError(
                "The database is in use: stop web, worker and beat first."
            ) from error
        self.stdout.write(
            f"chairbench: {len(made)} cases loaded in {monotonic() - began:.0f} s,"
            f" a sample of {min(SAMPLE, len(made))} verified"
        )

    def _load(
        self, connection: psycopg.Connection, plan: Plan, options: dict[str, Any]
    ) -> range:
        _refuse_others(connection)
        houses = make_houses(
            connection,
            laboratories=options["laboratories"],
            clinics=options["clinics"],
            seed=plan.seed,
            at=datetime.combine(plan.first, time(), UTC),
        )
        said = 0

        def say(count: int) -> None:
            nonlocal said
            if count * _STEP // plan.cases > said:
                said = count * _STEP // plan.cases
                self.stdout.write(f"chairbench: {count} cases written")

        made = load_cases(connection, plan, houses, say=say)
        self.stdout.write("chairbench: verifying a sample")
        chosen = sampled(made, count=SAMPLE, seed=plan.seed)
        if faults := sample_faults(connection, chosen):
            raise CommandError("Nothing was kept: " + "\n".join(faults[:20]))
        return made


def _refuse_size(options: dict[str, Any]) -> None:
    for name in ("cases", "clinics", "laboratories", "months"):
        if options[name] < 1:
            raise CommandError(f"--{name} must be at least 1")
    if options["clinics"] < options["laboratories"]:
        raise CommandError("every laboratory needs a clinic: raise --clinics")
    if options["months"] > 120:
        raise CommandError("--months must be at most 120")


def _refuse_production(*, sure: bool) -> None:
    if not (sure or settings.DEBUG or settings.DEMO_PEOPLE_FILE):
        raise CommandError(
            "This looks like a real installation. Invented cases do not belong into it; "
            "--yes-empty-database says that the database is empty and yours to fill."
        )


def _refuse_others(connection: psycopg.Connection) -> None:
    """Leave every database alone in which anybody works.

    Raises:
        CommandError: an organisation is there, made by this command or not.
    """
    rows = connection.execute(
        "SELECT count(*), count(*) FILTER (WHERE address = %s) FROM cases_organisation",
        [MARK],
    ).fetchone()
    found, ours = rows or (0, 0)
    if found > ours:
        raise CommandError(
            "There are organisations in this database that were not made by this "
            "command. Use an empty one."
        )
    if found:
        raise CommandError("A volume is loaded already. Use a new database.")


def _plan(options: dict[str, Any]) -> Plan:
    until = options["until"] or date.fromordinal(clock.now().date().toordinal() - 1)
    null = options["null"]
    effects = frozenset() if null else frozenset(options["plant"] or EFFECTS)
    return Plan(
        cases=options["cases"],
        seed=options["seed"],
        months=options["months"],
        until=until,
        effects=effects,
        clustering=0.0 if null else 0.2,
    )
