"""Signing in: password, second factor, throttle, reset; who is told nothing."""

import re
from datetime import timedelta

import pytest
from allauth.mfa.models import Authenticator
from django.core import mail
from django.core.cache import cache
from django.test import Client

from cases.models import OutboxRow, User
from cases.services import people as services
from cases.tenancy import tenant
from tests.factories import PASSWORD, make_membership, make_user, totp_code
from tests.personas import Personas, client_of

LOGIN = "/account/login/"
WRONG = "do not belong together"


@pytest.fixture(autouse=True)
def _fresh_counts():
    cache.clear()
    yield
    cache.clear()


def sign_in(client: Client, email: str, password: str = PASSWORD):
    return client.post(LOGIN, {"login": email, "password": password})


@pytest.mark.django_db
def test_the_sign_in_page_lists_nobody_and_offers_no_sign_up(client: Client):
    make_user("somebody@example.org")
    text = client.get(LOGIN).content.decode()

    assert "somebody" not in text
    assert "sign up" not in text.lower()
    assert 'autocomplete="username"' in text
    assert 'autocomplete="current-password"' in text
    assert client.get("/account/signup/").status_code == 404


def test_password_then_code_opens_the_portal(personas: Personas, client: Client):
    first = sign_in(client, "Clinician@Example.org")
    assert first.headers["Location"].startswith("/account/second-factor/code/")
    assert client.get("/people/").status_code == 302, "the code is still missing"

    second = client.post("/account/second-factor/code/", {"code": totp_code()})

    assert (second.status_code, second.headers["Location"]) == (302, "/")
    assert client.get("/people/").status_code == 200


def test_a_code_works_once(personas: Personas, client: Client):
    code = totp_code()
    sign_in(client, "clinician@example.org")
    client.post("/account/second-factor/code/", {"code": code})
    other = Client()
    sign_in(other, "clinician@example.org")

    again = other.post("/account/second-factor/code/", {"code": code})

    assert again.status_code == 422
    assert "each code works once" in again.content.decode()


def test_the_code_page_needs_the_password_first(personas: Personas, client: Client):
    response = client.get("/account/second-factor/code/")

    assert response.headers["Location"].startswith(LOGIN)


@pytest.mark.django_db
def test_a_wrong_password_an_unknown_and_a_disabled_person_look_the_same():
    make_user("known@example.org")
    make_user("disabled@example.org", is_active=False)
    answers = set()
    for email, password in (
        ("known@example.org", "wrong"),
        ("unknown@example.org", PASSWORD),
        ("disabled@example.org", PASSWORD),
    ):
        response = sign_in(Client(), email, password)
        assert response.status_code == 422
        text = response.content.decode().replace(email, "")
        assert WRONG in text
        answers.add(re.sub(r'value="[A-Za-z0-9]{64}"|[A-Za-z0-9]{64}', "", text))

    assert len(answers) == 1


@pytest.mark.django_db
def test_guessing_a_password_is_stopped_even_with_the_right_one():
    make_user("known@example.org")
    for _try in range(5):
        assert WRONG in sign_in(Client(), "known@example.org", "no").content.decode()

    right = sign_in(Client(), "known@example.org")

    assert right.status_code == 422
    assert "Too many tries" in right.content.decode()


@pytest.mark.django_db
def test_guessing_is_stopped_with_the_cache_server_away(settings):
    settings.CACHES = {
        "default": {
            "BACKEND": "portal.cache.FailOpenRedisCache",
            "LOCATION": "unix:///nonexistent/valkey.sock",
            "OPTIONS": {"socket_timeout": 1},
        }
    }
    make_user("known@example.org")
    for _try in range(5):
        sign_in(Client(), "known@example.org", "no")

    right = sign_in(Client(), "known@example.org")

    assert "Too many tries" in right.content.decode()
    cache.clear()


@pytest.mark.django_db
def test_many_sign_ins_from_one_address_are_429():
    answers = [sign_in(Client(), f"u{n}@example.org", "no") for n in range(31)]

    assert answers[-1].status_code == 429
    assert "Too many tries" in answers[-1].content.decode()


def test_signing_in_changes_the_session_key(personas: Personas, client: Client):
    sign_in(client, "clinician@example.org")
    before = client.session.session_key
    client.post("/account/second-factor/code/", {"code": totp_code()})

    assert client.session.session_key != before


def test_signing_out_is_a_post_and_ends_the_session(personas: Personas):
    client = client_of(personas.clinician)
    assert client.get("/account/logout/").status_code == 200
    assert client.get("/people/").status_code == 200

    response = client.post("/account/logout/")

    assert response.headers["Location"] == LOGIN
    assert client.get("/people/").status_code == 302


def test_a_first_sign_in_sets_up_the_second_factor(personas: Personas, client: Client):
    user = make_user("fresh@example.org", second_factor=False)
    make_membership(personas.clinic_a, user, "assistant")
    sign_in(client, "fresh@example.org")
    assert (
        client.get("/people/").headers["Location"] == "/account/second-factor/set-up/"
    )

    page = client.get("/account/second-factor/set-up/")
    assert page.status_code == 200
    assert "data:image/svg+xml" in page.content.decode()
    wrong = client.post("/account/second-factor/set-up/", {"code": "000000"})
    assert wrong.status_code == 422
    secret = page.context["form"].secret
    done = client.post("/account/second-factor/set-up/", {"code": code_of(secret)})

    assert done.headers["Location"] == "/account/second-factor/recovery-codes/"
    codes = client.get("/account/second-factor/recovery-codes/")
    assert len(codes.context["unused_codes"]) == 10
    assert client.get("/people/").status_code == 200
    plain = client.get("/account/second-factor/recovery-codes/download/")
    assert plain.content.decode().split() == codes.context["unused_codes"]


def code_of(secret: str) -> str:
    from allauth.mfa.totp.internal import auth  # noqa: PLC0415 -- one use

    counter = next(iter(auth.yield_hotp_counters_from_time()))
    return str(auth.format_hotp_value(auth.hotp_value(secret, counter)))


def test_a_recovery_code_signs_in_once(personas: Personas, client: Client):
    user = personas.clinician.user
    own = client_of(user)
    own.post("/account/reauthenticate/", {"password": PASSWORD})
    own.post("/account/second-factor/recovery-codes/new/")
    codes = own.get("/account/second-factor/recovery-codes/").context["unused_codes"]
    sign_in(client, user.email)
    assert (
        client.post("/account/second-factor/code/", {"code": codes[0]}).status_code
        == 302
    )
    other = Client()
    sign_in(other, user.email)

    again = other.post("/account/second-factor/code/", {"code": codes[0]})

    assert again.status_code == 422


def test_changing_the_second_factor_asks_who_it_is_again(personas: Personas):
    client = client_of(personas.clinician)
    path = "/account/second-factor/remove/"

    asked = client.post(path)
    assert "/account/reauthenticate/" in asked.headers["Location"]
    assert Authenticator.objects.filter(user=personas.clinician.user).exists()
    wrong = client.post("/account/reauthenticate/", {"password": "no"})
    assert wrong.status_code == 422
    client.post("/account/reauthenticate/", {"password": PASSWORD})
    removed = client.post(path)

    assert removed.status_code == 302
    assert not Authenticator.objects.filter(user=personas.clinician.user).exists()


def test_a_reset_is_left_to_the_outbox_and_the_answer_tells_nothing(
    personas: Personas, client: Client
):
    known = client.post("/account/password/reset/", {"email": "Clinician@example.org"})
    unknown = client.post("/account/password/reset/", {"email": "no@example.org"})

    assert known.status_code == unknown.status_code == 302
    assert known.headers["Location"] == unknown.headers["Location"]
    assert mail.outbox == []
    with tenant(personas.clinic_a.pk):
        assert list(OutboxRow.objects.values_list("kind", "payload")) == [
            ("password_reset", {"user": personas.clinician.user.pk})
        ]


def test_an_operators_reset_is_mailed_at_once(personas: Personas, client: Client):
    client.post("/account/password/reset/", {"email": "operator@example.org"})

    assert [message.to for message in mail.outbox] == [["operator@example.org"]]
    assert "/account/password/reset/key/" in str(mail.outbox[0].body)


def test_a_mail_server_that_is_away_is_no_fault(
    personas: Personas, client: Client, settings
):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1

    response = client.post(
        "/account/password/reset/", {"email": "operator@example.org"}
    )

    assert response.status_code == 302


def test_a_reset_link_works_once_and_signs_others_out(
    personas: Personas, client: Client
):
    elsewhere = client_of(personas.clinician)
    path = services.password_reset_path(personas.clinician.user)
    form = client.get(path).headers["Location"]
    assert client.get(form).status_code == 200
    short = client.post(form, {"password1": "short", "password2": "short"})
    assert short.status_code == 422
    new = "another long sentence"

    done = client.post(form, {"password1": new, "password2": new})

    assert done.headers["Location"] == "/account/password/reset/key/done/"
    assert User.objects.get(pk=personas.clinician.user.pk).check_password(new)
    assert "This link is not valid" in Client().get(path).content.decode()
    assert elsewhere.get("/people/").status_code == 302


@pytest.mark.django_db
@pytest.mark.parametrize(
    "key", ["1-x", "zzzzzzzzzzzzzzzzzzzz-abc-def", "0-set-password"]
)
def test_a_damaged_reset_link_is_said_to_be_invalid(client: Client, key: str):
    response = client.get(f"/account/password/reset/key/{key}/")

    assert response.status_code == 200
    assert "This link is not valid" in response.content.decode()


def test_a_new_password_needs_the_old_one(personas: Personas):
    client = client_of(personas.clinician)
    fields = {
        "password1": "another long sentence",
        "password2": "another long sentence",
    }
    wrong = client.post("/account/password/change/", {"oldpassword": "no", **fields})
    right = client.post(
        "/account/password/change/", {"oldpassword": PASSWORD, **fields}
    )

    assert (wrong.status_code, right.status_code) == (422, 302)
    assert client.get("/people/").status_code == 200


def test_argon2_is_the_only_hash_of_the_portal():
    import portal.settings  # noqa: PLC0415 -- not the tests' own settings

    assert portal.settings.PASSWORD_HASHERS == [
        "django.contrib.auth.hashers.Argon2PasswordHasher"
    ]


@pytest.mark.django_db
def test_a_reset_link_expires_after_a_day(client: Client, settings):
    user = make_user("known@example.org")
    path = services.password_reset_path(user)
    settings.PASSWORD_RESET_TIMEOUT = timedelta(seconds=-1).total_seconds()

    assert "This link is not valid" in client.get(path).content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "target", ["https://example.org/", "//example.org", "javascript:alert(1)"]
)
def test_signing_in_leads_nowhere_else(client: Client, target: str):
    make_user("known@example.org", second_factor=False)
    response = client.post(
        f"{LOGIN}?next={target}",
        {"login": "known@example.org", "password": PASSWORD, "next": target},
    )

    assert response.headers["Location"] == "/"
