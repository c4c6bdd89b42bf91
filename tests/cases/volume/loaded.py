"""A loaded volume, and the people who look at it."""

from datetime import date
from io import StringIO
from typing import Any

from django.core.management import call_command

from cases.models import User
from cases.selectors.identity import actors_of
from cases.tenancy import Actor
from tests.database import superuser

__all__ = ["UNTIL", "load", "people", "rows"]

UNTIL = date(2026, 5, 31)


def load(*, cases: int, **more: Any) -> str:
    """Load a volume that ends with ``UNTIL``; return what the command says."""
    said = StringIO()
    call_command(
        "load_volume",
        cases=cases,
        until=UNTIL,
        yes_empty_database=True,
        stdout=said,
        **more,
    )
    return said.getvalue()


def rows(statement: str, values: Any = None) -> list[tuple[Any, ...]]:
    """Return what the database holds, past every policy."""
    with superuser() as connection:
        return connection.execute(statement, values).fetchall()


def people(role: str) -> list[Actor]:
    """Return everybody of a role, in the order in which they were made."""
    found = rows(
        "SELECT user_id FROM cases_membership WHERE role = %s ORDER BY id", [role]
    )
    return [actors_of(User.objects.get(pk=pk))[0] for (pk,) in found]
