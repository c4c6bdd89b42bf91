"""Whose rows the database shows: the tenant of the current transaction.

``tenant()`` opens a transaction (a savepoint inside one), tells PostgreSQL the
acting organisation and membership for exactly that long, and puts back what
was there. Row-level security compares rows against it; with none set there
are no rows, and reading a tenant model is an error in code.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Generic, TypeVar

from django.db import connections, models, transaction
from django.db.backends.utils import CursorWrapper

__all__ = [
    "Actor",
    "NoTenant",
    "TenantManager",
    "TenantScope",
    "acting",
    "current",
    "operator",
    "tenant",
]

M = TypeVar("M", bound=models.Model)


class NoTenant(RuntimeError):
    """A tenant model was read outside ``tenant()``: a programming error."""


@dataclass(frozen=True, slots=True)
class TenantScope:
    """The organisation and membership on whose behalf the database answers."""

    organisation_id: int
    membership_id: int | None


_scope: ContextVar[TenantScope | None] = ContextVar("tenant", default=None)
_operator: ContextVar[bool] = ContextVar("operator", default=False)

_SETTINGS = ("app.org", "app.membership", "app.operator")


def current() -> TenantScope | None:
    """Return the tenant in force, or None."""
    return _scope.get()


@contextmanager
def _settings(using: str, values: tuple[str, str, str]) -> Iterator[None]:
    connection = connections[using]
    with transaction.atomic(using=using):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT coalesce(current_setting('app.org', true), ''),"
                " coalesce(current_setting('app.membership', true), ''),"
                " coalesce(current_setting('app.operator', true), '')"
            )
            row = cursor.fetchone()
            before = tuple(row) if row else ("", "", "")
            _set(cursor, values)
        yield
        # An error rolls back to the savepoint, and PostgreSQL restores the
        # settings with it; only the good way out has to put them back.
        if not connection.needs_rollback:
            with connection.cursor() as cursor:
                _set(cursor, before)


def _set(cursor: CursorWrapper, values: tuple[str, ...]) -> None:
    cursor.execute(
        "SELECT set_config('app.org', %s, true),"
        " set_config('app.membership', %s, true),"
        " set_config('app.operator', %s, true)",
        list(values),
    )


@contextmanager
def tenant(
    organisation_id: int, membership_id: int | None = None, *, using: str = "default"
) -> Iterator[None]:
    """Act as an organisation (and membership) for the body of the block."""
    token = _scope.set(TenantScope(organisation_id, membership_id))
    try:
        member = "" if membership_id is None else str(membership_id)
        with _settings(using, (str(organisation_id), member, "")):
            yield
    finally:
        _scope.reset(token)


@contextmanager
def operator(*, using: str = "default") -> Iterator[None]:
    """Act as the installation's operator: organisations and invitations only."""
    token = _operator.set(True)
    try:
        with _settings(using, ("", "", "on")):
            yield
    finally:
        _operator.reset(token)


class TenantManager(models.Manager[M], Generic[M]):
    """Default manager of every model with tenant data: refuses without tenant."""

    def get_queryset(self) -> models.QuerySet[M]:
        """Return the queryset, or raise NoTenant when nobody is acting."""
        if _scope.get() is None and not _operator.get():
            raise NoTenant(f"{self.model.__name__} was read without a tenant")
        return super().get_queryset()


@dataclass(frozen=True, slots=True)
class Actor:
    """A person acting through one membership: who, for whom, as what."""

    user_id: int
    membership_id: int
    organisation_id: int
    organisation_code: str
    organisation_name: str
    side: str
    role: str
    name: str
    responsible_technician: bool = False
    language: str = "en"
    tooth_system: str = "iso3950"
    time_zone: str = "UTC"

    @property
    def is_clinic(self) -> bool:
        """Whether the person acts for the clinic."""
        return self.side == "clinic"


@contextmanager
def acting(actor: Actor, *, using: str = "default") -> Iterator[None]:
    """Open ``tenant()`` for an actor's organisation and membership."""
    with tenant(actor.organisation_id, actor.membership_id, using=using):
        yield
