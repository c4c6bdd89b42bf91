"""Invent a plan's cases for these laboratories, whole or not at all."""

from collections.abc import Callable, Iterator, Sequence

import psycopg

from cases.management.volume.draw import Dice
from cases.management.volume.facts import FACT_TABLES, make_facts
from cases.management.volume.guards import unguarded
from cases.management.volume.houses import Laboratory
from cases.management.volume.life import Ink
from cases.management.volume.plan import Plan
from cases.management.volume.samples import samples
from cases.management.volume.sheets import COLUMNS, Sheets
from cases.management.volume.story import tell
from cases.management.volume.writing import copy_chunks, last_numbers, set_numbers
from rules.loader import shipped_rule_set

__all__ = ["CHUNK", "UNGUARDED", "load_cases"]

CHUNK = 2_000
UNGUARDED = (*COLUMNS, *FACT_TABLES)


def _chunks(
    plan: Plan, dice: Dice, ink: Ink, say: Callable[[int], None]
) -> Iterator[dict[str, bytes]]:
    left = plan.cases
    while left:
        count = min(left, CHUNK)
        for lot in dice.lots(count):
            tell(ink, lot)
        left -= count
        say(plan.cases - left)
        yield ink.sheets.taken()


def load_cases(
    connection: psycopg.Connection,
    plan: Plan,
    laboratories: Sequence[Laboratory],
    *,
    say: Callable[[int], None] = lambda _count: None,
) -> range:
    """Store cases and facts in the caller's transaction; return the cases' numbers.

    ``connection`` is the owner's; ``say`` is told how many cases are written.
    """
    rule_set = shipped_rule_set()
    pool = samples()
    dice = Dice(plan, laboratories, pool)
    enough = {
        (one.material, tuple(unit.tooth for unit in one.units)): one
        for one in reversed(pool)
        if one.verdict == "sufficient"
    }
    with unguarded(connection, UNGUARDED):
        last = last_numbers(connection)
        first = last["cases_case"] + 1
        ink = Ink(plan, rule_set, Sheets(dice.rng, last), enough)
        for _count in copy_chunks(connection, _chunks(plan, dice, ink, say)):
            pass
        set_numbers(connection, ink.sheets.last)
        _count_orders(connection, ink.orders)
        made = range(first, ink.sheets.last["cases_case"] + 1)
        make_facts(connection, made)
    return made


def _count_orders(connection: psycopg.Connection, orders: dict[int, int]) -> None:
    """The laboratories' next work orders follow on these."""
    for laboratory, last in orders.items():
        connection.execute(
            "INSERT INTO cases_workordercounter (laboratory_id, last_number)"
            " VALUES (%s, %s) ON CONFLICT (laboratory_id)"
            " DO UPDATE SET last_number = excluded.last_number",
            [laboratory, last],
        )
