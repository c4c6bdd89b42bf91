"""Two people at once: one wins, the other is told, nothing is doubled."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connections

from cases.errors import Conflict, DomainError, Invalid, NotFound
from cases.models import Membership, Partnership, User
from cases.services import invitations, partnerships, people
from cases.tenancy import acting, tenant
from tests.factories import (
    AT,
    PASSWORD,
    actor_of,
    make_membership,
    make_organisation,
    make_user,
)
from tests.personas import Personas, make_personas

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def everybody() -> Personas:
    """Everybody, committed."""
    return make_personas()


def at_once(*calls: Callable[[], object]) -> list[object]:
    """Run the calls on connections of their own; return results or refusals."""
    barrier = Barrier(len(calls))

    def run(call: Callable[[], object]) -> object:
        try:
            barrier.wait(timeout=10)
            return call()
        except DomainError as error:
            return type(error)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))


def test_a_link_used_twice_at_once_makes_one_account(everybody: Personas):
    manager = everybody.clinic_manager.actor
    with acting(manager):
        made = invitations.invitation_create(
            actor=manager, email="new@example.org", role="assistant", at=AT
        )
    secret = invitations.invitation_link(made.code).split("/")[2]

    def join() -> object:
        return invitations.invitation_accept_new(
            secret=secret, name="New", password=PASSWORD, licence_number="", at=AT
        )

    results = at_once(join, join)

    refused = [one for one in results if isinstance(one, type)]
    assert len(refused) == 1
    assert refused[0] in {Conflict, NotFound}
    with tenant(everybody.clinic_a.pk):
        assert Membership.objects.filter(user__email="new@example.org").count() == 1
    assert User.objects.filter(email="new@example.org").count() == 1


def test_two_managers_cannot_end_each_other(everybody: Personas):
    user = make_user("second@example.org")
    second = make_membership(everybody.clinic_a, user, "clinic_manager")
    first = everybody.clinic_manager
    ends = [
        (first.actor, second.pk),
        (actor_of(second), first.membership.pk),
    ]

    def end(actor, pk) -> Callable[[], object]:
        def call() -> object:
            with acting(actor):
                return people.membership_end(actor=actor, membership_id=pk, at=AT)

        return call

    results = at_once(*(end(actor, pk) for actor, pk in ends))

    assert sorted(isinstance(one, type) for one in results) == [False, True]
    assert Conflict in results
    with tenant(everybody.clinic_a.pk):
        managers = Membership.objects.filter(
            role="clinic_manager", ended_at__isnull=True
        )
        assert managers.count() == 1


def test_both_sides_asking_at_once_make_one_partnership(everybody: Personas):
    laboratory = make_organisation("laboratory", "Laboratory N")
    user = make_user("boss@example.org")
    boss = actor_of(make_membership(laboratory, user, "lab_manager"))
    manager = everybody.clinic_manager.actor

    def ask(actor, code) -> Callable[[], object]:
        def call() -> object:
            with acting(actor):
                return partnerships.partnership_ask(actor=actor, code=code, at=AT)

        return call

    results = at_once(ask(manager, laboratory.code), ask(boss, everybody.clinic_a.code))

    assert Invalid in results
    with tenant(laboratory.pk):
        assert Partnership.objects.count() == 1
