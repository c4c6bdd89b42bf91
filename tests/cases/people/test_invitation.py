"""The life of an invitation: made, mailed, withdrawn, used once, expired."""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import resolve

from cases.canonical import secret_hash
from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import Invitation, Membership, OutboxRow, User
from cases.selectors import people as selectors
from cases.services import invitations
from cases.tenancy import acting, tenant
from tests.factories import AT, PASSWORD, make_membership, make_user
from tests.personas import Personas

WEEK = timedelta(days=7)


def invite(personas: Personas, **fields: Any) -> Invitation:
    values: dict[str, Any] = {
        "email": "New@Example.org",
        "role": "clinician",
        "at": AT,
        **fields,
    }
    actor = personas.clinic_manager.actor
    with acting(actor):
        return invitations.invitation_create(actor=actor, **values)


def secret_of(invitation: Invitation) -> str:
    found = resolve(invitations.invitation_link(invitation.code))
    assert found.url_name == "invitation"
    return str(found.kwargs["secret"])


def accept_new(invitation: Invitation, **fields: Any) -> tuple[User, int]:
    values: dict[str, Any] = {
        "secret": secret_of(invitation),
        "name": "New Person",
        "password": PASSWORD,
        "licence_number": "LIC-9",
        "at": AT,
        **fields,
    }
    return invitations.invitation_accept_new(**values)


def memberships_of(personas: Personas, user: User) -> list[tuple[str, bool]]:
    with tenant(personas.clinic_a.pk):
        rows = Membership.objects.filter(user=user, ended_at__isnull=True)
        return [(row.role, row.responsible_technician) for row in rows]


def test_an_invitation_is_stored_with_a_hash_and_mailed(personas: Personas):
    invitation = invite(personas)

    assert invitation.email == "new@example.org"
    assert invitation.expires_at == AT + WEEK
    assert invitation.token_hash == secret_hash(secret_of(invitation))
    with tenant(personas.clinic_a.pk):
        rows = OutboxRow.objects.values_list("kind", "organisation_id", "payload")
        assert list(rows) == [
            ("invitation", personas.clinic_a.pk, {"invitation": invitation.code})
        ]
        assert secret_of(invitation) not in str(list(Invitation.objects.values()))
        assert secret_of(invitation) not in str(list(OutboxRow.objects.values()))


@pytest.mark.parametrize("name", ["clinician", "assistant", "technician"])
def test_only_a_manager_invites(personas: Personas, name: str):
    actor = personas.named(name).actor
    with acting(actor), pytest.raises(NotAllowed):
        invitations.invitation_create(
            actor=actor, email="x@example.org", role="assistant", at=AT
        )
    with tenant(personas.clinic_a.pk):
        assert not Invitation.objects.exists()


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"role": "technician"}, "/role"),
        ({"role": "owner"}, "/role"),
        ({"responsible_technician": True}, "/responsible_technician"),
        ({"email": "Clinician@example.org"}, "/email"),
    ],
)
def test_what_cannot_be_invited(
    personas: Personas, fields: dict[str, object], pointer: str
):
    with pytest.raises(Invalid) as refused:
        invite(personas, **fields)

    assert [field.pointer for field in refused.value.fields] == [pointer]
    with tenant(personas.clinic_a.pk):
        assert not Invitation.objects.exists()
        assert not OutboxRow.objects.exists()


def test_one_open_invitation_per_address_and_role(personas: Personas):
    invite(personas)

    with pytest.raises(Invalid):
        invite(personas, email="new@example.org")
    invite(personas, role="assistant")
    invite(personas, at=AT + WEEK)


def test_the_link_tells_organisation_role_and_address(personas: Personas):
    invitation = invite(personas)

    told = selectors.invitation_by_secret(secret=secret_of(invitation), at=AT)

    assert told == selectors.Invited(
        "Clinic A", "clinic", "clinician", "new@example.org"
    )


def test_a_new_person_gets_account_and_membership(personas: Personas):
    user, membership_id = accept_new(invite(personas))

    assert (user.email, user.name, user.licence_number) == (
        "new@example.org",
        "New Person",
        "LIC-9",
    )
    assert user.check_password(PASSWORD)
    assert memberships_of(personas, user) == [("clinician", False)]
    with tenant(personas.clinic_a.pk):
        assert Membership.objects.get(user=user).pk == membership_id


def test_a_link_works_once(personas: Personas):
    invitation = invite(personas)
    accept_new(invitation)

    with pytest.raises(NotFound):
        accept_new(invitation)


@pytest.mark.parametrize("later", [WEEK, WEEK + timedelta(seconds=1)])
def test_a_link_expires_after_seven_days(personas: Personas, later: timedelta):
    invitation = invite(personas)

    with pytest.raises(NotFound):
        accept_new(invitation, at=AT + later)
    assert not User.objects.filter(email="new@example.org").exists()


def test_a_link_works_until_the_last_moment(personas: Personas):
    accept_new(invite(personas), at=AT + WEEK - timedelta(seconds=1))

    assert User.objects.filter(email="new@example.org").exists()


@pytest.mark.parametrize("secret", ["", "0" * 64, "x"])
def test_a_guessed_link_is_not_found(personas: Personas, secret: str):
    invite(personas)

    with pytest.raises(NotFound):
        invitations.invitation_accept_new(
            secret=secret, name="N", password=PASSWORD, licence_number="1", at=AT
        )


def test_a_withdrawn_link_is_dead(personas: Personas):
    invitation = invite(personas)
    actor = personas.clinic_manager.actor
    with acting(actor):
        invitations.invitation_revoke(actor=actor, code=invitation.code, at=AT)

    with pytest.raises(NotFound):
        accept_new(invitation)
    with acting(actor), pytest.raises(Conflict):
        invitations.invitation_revoke(actor=actor, code=invitation.code, at=AT)


@pytest.mark.parametrize(
    ("name", "error"),
    [("assistant", NotAllowed), ("lab_manager", NotFound), ("clinician_b", NotFound)],
)
def test_who_cannot_withdraw(personas: Personas, name: str, error: type[Exception]):
    invitation = invite(personas)
    actor = personas.named(name).actor

    with acting(actor), pytest.raises(error):
        invitations.invitation_revoke(actor=actor, code=invitation.code, at=AT)
    accept_new(invitation)


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"licence_number": " "}, "/licence_number"),
        ({"name": " "}, "/name"),
        ({"password": "short"}, "/password"),
        ({"password": "new@example.org!"}, "/password"),
        ({"password": "password1234"}, "/password"),
    ],
)
def test_an_account_needs_name_licence_and_a_safe_password(
    personas: Personas, fields: dict[str, object], pointer: str
):
    invitation = invite(personas)

    with pytest.raises(Invalid) as refused:
        accept_new(invitation, **fields)

    assert [field.pointer for field in refused.value.fields] == [pointer]
    assert not User.objects.filter(email="new@example.org").exists()
    accept_new(invitation)


def test_an_assistant_needs_no_licence(personas: Personas):
    user, _membership = accept_new(
        invite(personas, role="assistant"), licence_number=""
    )

    assert memberships_of(personas, user) == [("assistant", False)]


def test_an_existing_person_joins_with_their_own_address_only(personas: Personas):
    invitation = invite(personas, email="clinician_b@example.org")
    theirs = secret_of(invitation)

    with pytest.raises(Conflict):
        invitations.invitation_accept(
            secret=theirs, user_id=personas.technician_m.user.pk, at=AT
        )
    with pytest.raises(Conflict):
        accept_new(invitation)
    invitations.invitation_accept(
        secret=theirs, user_id=personas.clinician_b.user.pk, at=AT
    )

    assert memberships_of(personas, personas.clinician_b.user) == [("clinician", False)]
    with pytest.raises(NotFound):
        invitations.invitation_accept(
            secret=theirs, user_id=personas.clinician_b.user.pk, at=AT
        )


def test_an_existing_person_adds_a_licence_to_become_clinician(personas: Personas):
    user = make_user("plain@example.org")
    make_membership(personas.clinic_b, user, "assistant")
    secret = secret_of(invite(personas, email="plain@example.org"))

    with pytest.raises(Invalid):
        invitations.invitation_accept(secret=secret, user_id=user.pk, at=AT)
    invitations.invitation_accept(
        secret=secret, user_id=user.pk, licence_number="LIC-77", at=AT
    )

    user.refresh_from_db()
    assert user.licence_number == "LIC-77"
    assert memberships_of(personas, user) == [("clinician", False)]


def test_a_responsible_technician_is_one_from_the_start(personas: Personas):
    actor = personas.lab_manager.actor
    with acting(actor):
        invitation = invitations.invitation_create(
            actor=actor,
            email="bench@example.org",
            role="technician",
            responsible_technician=True,
            at=AT,
        )
    user, membership_id = accept_new(invitation, licence_number="")

    with tenant(personas.laboratory.pk):
        made = Membership.objects.get(pk=membership_id)
        assert (made.user_id, made.role, made.responsible_technician) == (
            user.pk,
            "technician",
            True,
        )
