"""API tokens: shown once, hashed, limited in time, one's own."""

from datetime import timedelta

import pytest

from cases.canonical import secret_hash
from cases.errors import Conflict, Invalid, NotFound
from cases.models import ApiToken
from cases.selectors import identity
from cases.services import tokens as services
from cases.tenancy import Actor, acting, tenant
from tests.factories import AT
from tests.personas import Personas


def make(actor: Actor, name: str = "bench", days: int = 90) -> tuple[ApiToken, str]:
    with acting(actor):
        return services.api_token_create(actor=actor, name=name, days=days, at=AT)


def test_a_token_acts_until_it_expires_and_is_stored_as_hash(personas: Personas):
    actor = personas.technician.actor
    token, secret = make(actor)

    digest = secret_hash(secret)
    assert token.token_hash == digest
    holder = identity.by_token(token_hash=digest, at=AT)
    assert holder is not None
    assert (holder.actor, holder.user) == (actor, personas.technician.user)
    end = AT + timedelta(days=90)
    last = identity.by_token(token_hash=digest, at=end - timedelta(seconds=1))
    assert last is not None
    assert identity.by_token(token_hash=digest, at=end) is None


@pytest.mark.parametrize(
    ("name", "days", "pointer"),
    [
        (" ", 30, "/name"),
        ("x", 0, "/days"),
        ("x", -1, "/days"),
        ("x", 366, "/days"),
    ],
)
def test_what_a_token_cannot_be(personas: Personas, name: str, days: int, pointer: str):
    with pytest.raises(Invalid) as refused:
        make(personas.technician.actor, name, days)

    assert [field.pointer for field in refused.value.fields] == [pointer]


def test_a_name_is_used_once_at_a_time(personas: Personas):
    actor = personas.technician.actor
    token, _secret = make(actor)
    with pytest.raises(Invalid):
        make(actor)
    make(personas.responsible.actor)
    with acting(actor):
        services.api_token_revoke(actor=actor, token_id=token.pk, at=AT)
    make(actor)


def test_a_revoked_token_is_dead_at_once_and_only_once(personas: Personas):
    actor = personas.technician.actor
    token, secret = make(actor)
    with acting(actor):
        services.api_token_revoke(actor=actor, token_id=token.pk, at=AT)
        with pytest.raises(Conflict):
            services.api_token_revoke(actor=actor, token_id=token.pk, at=AT)

    assert identity.by_token(token_hash=secret_hash(secret), at=AT) is None


@pytest.mark.parametrize("name", ["responsible", "lab_manager", "clinician"])
def test_nobody_revokes_another_persons_token(personas: Personas, name: str):
    token, _secret = make(personas.technician.actor)
    actor = personas.named(name).actor

    with acting(actor), pytest.raises(NotFound):
        services.api_token_revoke(actor=actor, token_id=token.pk, at=AT)
    with tenant(personas.laboratory.pk):
        assert ApiToken.objects.get().revoked_at is None
