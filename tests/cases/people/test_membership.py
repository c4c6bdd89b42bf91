"""Ending a membership, and naming who may countersign."""

import pytest

from cases.canonical import secret_hash
from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import Membership
from cases.selectors import identity
from cases.services import people as services
from cases.tenancy import acting, tenant
from tests.factories import AT, make_membership, make_token, make_user
from tests.personas import Personas


def test_a_manager_ends_a_membership_and_its_tokens(personas: Personas):
    secret = make_token(personas.assistant.actor)
    manager = personas.clinic_manager.actor
    with acting(manager):
        services.membership_end(
            actor=manager, membership_id=personas.assistant.membership.pk, at=AT
        )
        ended = Membership.objects.get(pk=personas.assistant.membership.pk)

    assert ended.ended_at == AT
    assert identity.actors_of(personas.assistant.user) == ()
    assert identity.by_token(token_hash=secret_hash(secret), at=AT) is None


@pytest.mark.parametrize(
    ("name", "error"),
    [
        ("clinician", NotAllowed),
        ("assistant", NotAllowed),
        ("lab_manager", NotFound),
        ("clinician_b", NotFound),
    ],
)
def test_who_cannot_end_a_membership(
    personas: Personas, name: str, error: type[Exception]
):
    actor = personas.named(name).actor
    with acting(actor), pytest.raises(error):
        services.membership_end(
            actor=actor, membership_id=personas.assistant.membership.pk, at=AT
        )
    assert identity.actors_of(personas.assistant.user) == (personas.assistant.actor,)


def test_the_last_manager_stays(personas: Personas):
    manager = personas.clinic_manager
    with acting(manager.actor), pytest.raises(Conflict):
        services.membership_end(
            actor=manager.actor, membership_id=manager.membership.pk, at=AT
        )

    make_membership(personas.clinic_a, make_user("m2@example.org"), "clinic_manager")
    with acting(manager.actor):
        services.membership_end(
            actor=manager.actor, membership_id=manager.membership.pk, at=AT
        )
    assert identity.actors_of(manager.user) == ()


def test_a_disabled_manager_does_not_count_as_one(personas: Personas):
    disabled = make_user("m2@example.org", is_active=False)
    make_membership(personas.clinic_a, disabled, "clinic_manager")
    manager = personas.clinic_manager

    with acting(manager.actor), pytest.raises(Conflict):
        services.membership_end(
            actor=manager.actor, membership_id=manager.membership.pk, at=AT
        )


def test_a_membership_ends_once(personas: Personas):
    manager = personas.clinic_manager.actor
    pk = personas.assistant.membership.pk
    with acting(manager):
        services.membership_end(actor=manager, membership_id=pk, at=AT)
        with pytest.raises(Conflict):
            services.membership_end(actor=manager, membership_id=pk, at=AT)


@pytest.mark.parametrize("pk", [0, -1, 2**63, 10**30])
def test_an_id_of_nobody_is_not_found(personas: Personas, pk: int):
    manager = personas.clinic_manager.actor
    with acting(manager), pytest.raises(NotFound):
        services.membership_end(actor=manager, membership_id=pk, at=AT)


def test_the_laboratory_names_its_responsible_technicians(personas: Personas):
    manager = personas.lab_manager.actor
    pk = personas.technician.membership.pk
    with acting(manager):
        for value in (True, False):
            services.membership_update(
                actor=manager, membership_id=pk, responsible_technician=value
            )
            stored = Membership.objects.get(pk=pk)
            assert stored.responsible_technician is value


def test_a_clinician_cannot_be_responsible_technician(personas: Personas):
    manager = personas.clinic_manager.actor
    with acting(manager), pytest.raises(Invalid):
        services.membership_update(
            actor=manager,
            membership_id=personas.clinician.membership.pk,
            responsible_technician=True,
        )


def test_a_technician_cannot_name_themselves_responsible(personas: Personas):
    actor = personas.technician.actor
    with acting(actor), pytest.raises(NotAllowed):
        services.membership_update(
            actor=actor, membership_id=actor.membership_id, responsible_technician=True
        )
    with tenant(personas.laboratory.pk):
        stored = Membership.objects.get(pk=actor.membership_id)
        assert stored.responsible_technician is False
