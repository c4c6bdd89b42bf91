"""What every request passes: who acts, second factor, refusals as answers."""

import pytest
from django.db import DataError, OperationalError, connection, transaction
from django.test import Client, RequestFactory

from cases.errors import (
    Conflict,
    Invalid,
    NotAllowed,
    NotFound,
    StaleVersion,
    TooMany,
)
from cases.models import ApiToken, Membership
from cases.tenancy import tenant
from portal.refusals import translate
from tests import factories
from tests.personas import Personas, client_of


def test_an_answer_is_private_and_never_stored(personas: Personas):
    response = client_of(personas.clinician).get("/people/")

    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "private, no-store"
    assert {"Cookie", "HX-Request"} <= set(response.headers["Vary"].split(", "))
    assert "camera=()" in response.headers["Permissions-Policy"]


@pytest.mark.django_db
def test_a_static_file_keeps_its_own_caching(client: Client):
    response = client.get("/static/cases/app.css")
    response.close()

    assert response.status_code == 200
    assert "no-store" not in response.headers["Cache-Control"]


def test_the_first_membership_acts_and_another_can_be_chosen(personas: Personas):
    second = factories.make_membership(
        personas.clinic_b, personas.clinician.user, "assistant"
    )
    client = client_of(personas.clinician)

    assert client.get("/people/").context["actor"] == personas.clinician.actor
    answer = client.post("/acting/", {"membership": str(second.pk)})

    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    assert client.get("/people/").context["actor"].membership_id == second.pk


@pytest.mark.parametrize("wanted", ["", "0", "x", str(2**63), "-1"])
def test_a_membership_of_nobody_cannot_be_chosen(personas: Personas, wanted: str):
    client = client_of(personas.clinician)

    assert client.post("/acting/", {"membership": wanted}).status_code == 404
    assert client.get("/people/").context["actor"] == personas.clinician.actor


def test_another_persons_membership_cannot_be_chosen(personas: Personas):
    client = client_of(personas.clinician)
    theirs = str(personas.clinician_b.membership.pk)

    assert client.post("/acting/", {"membership": theirs}).status_code == 404


def test_a_membership_that_ended_is_out_at_the_next_request(personas: Personas):
    client = client_of(personas.clinician)
    assert client.get("/people/").status_code == 200
    with tenant(personas.clinic_a.pk):
        Membership.objects.filter(pk=personas.clinician.membership.pk).update(
            ended_at=factories.AT
        )

    assert client.get("/people/").status_code == 403


def test_a_disabled_person_is_out_at_the_next_request(personas: Personas):
    client = client_of(personas.clinician)
    personas.clinician.user.is_active = False
    personas.clinician.user.save(update_fields=["is_active"])

    response = client.get("/people/")

    assert response.status_code == 302
    assert response.headers["Location"].startswith("/account/login/")


def test_a_token_acts_as_its_membership(personas: Personas, probe: Client):
    secret = factories.make_token(personas.technician.actor)

    response = probe.get("/api/v1/probe", headers={"Authorization": f"Bearer {secret}"})

    assert response.json() == {"membership": personas.technician.actor.membership_id}


def test_a_token_needs_no_csrf_proof_and_wins_over_a_session(
    personas: Personas, probe: Client
):
    secret = factories.make_token(personas.technician.actor)
    client = Client(enforce_csrf_checks=True)
    client.force_login(personas.clinician.user)

    response = client.post(
        "/api/v1/probe", headers={"Authorization": f"Bearer {secret}"}
    )

    assert response.json() == {"membership": personas.technician.actor.membership_id}


@pytest.mark.parametrize(
    "header", ["Bearer nothing", "Bearer", "Basic YTpi", "Bearer  ", "token x"]
)
def test_credentials_that_do_not_count_are_401_even_beside_a_session(
    personas: Personas, probe: Client, header: str
):
    response = client_of(personas.clinician).get(
        "/api/v1/probe", headers={"Authorization": header}
    )

    assert response.status_code == 401
    assert response.headers["WWW-Authenticate"] == 'Bearer realm="chairbench"'


@pytest.mark.parametrize(
    "change", [{"revoked_at": factories.AT}, {"expires_at": factories.AT}]
)
def test_a_revoked_or_expired_token_is_401(
    personas: Personas, probe: Client, change: dict[str, object], monkeypatch
):
    monkeypatch.setattr("cases.clock.now", lambda: factories.AT)
    secret = factories.make_token(personas.technician.actor, **change)

    response = probe.get("/api/v1/probe", headers={"Authorization": f"Bearer {secret}"})

    assert response.status_code == 401


def test_the_token_of_a_disabled_person_is_401(personas: Personas, probe: Client):
    secret = factories.make_token(personas.technician.actor)
    personas.technician.user.is_active = False
    personas.technician.user.save(update_fields=["is_active"])

    response = probe.get("/api/v1/probe", headers={"Authorization": f"Bearer {secret}"})

    assert response.status_code == 401


def test_a_token_opens_no_page(personas: Personas):
    secret = factories.make_token(personas.technician.actor)

    response = Client().get("/people/", headers={"Authorization": f"Bearer {secret}"})

    assert response.status_code == 302


def test_nobody_gets_401_from_the_api(probe: Client, db: None):
    response = probe.get("/api/v1/probe")

    assert response.status_code == 401
    assert response.headers["WWW-Authenticate"] == 'Bearer realm="chairbench"'


def test_the_api_wants_a_csrf_proof_from_a_session(personas: Personas, probe: Client):
    client = Client(enforce_csrf_checks=True)
    client.force_login(personas.clinician.user)

    assert client.get("/api/v1/probe").status_code == 200
    assert client.post("/api/v1/probe").status_code == 403


def test_a_person_without_membership_is_403_in_the_api(probe: Client, db: None):
    user = factories.make_user("loose@example.org")

    assert client_of(user).get("/api/v1/probe").status_code == 403


def test_without_a_second_factor_every_page_leads_to_its_set_up(personas: Personas):
    user = factories.make_user("bare@example.org", second_factor=False)
    factories.make_membership(personas.clinic_a, user, "assistant")
    client = client_of(user)

    response = client.get("/people/")

    assert (response.status_code, response.headers["Location"]) == (
        302,
        "/account/second-factor/set-up/",
    )
    part = client.get("/people/", headers={"HX-Request": "true"})
    assert part.headers["HX-Redirect"] == "/account/second-factor/set-up/"


def test_without_a_second_factor_the_api_refuses_a_session_but_not_a_token(
    personas: Personas, probe: Client
):
    user = factories.make_user("bare@example.org", second_factor=False)
    membership = factories.make_membership(personas.clinic_a, user, "assistant")
    secret = factories.make_token(factories.actor_of(membership))

    by_session = client_of(user).get("/api/v1/probe")
    by_token = probe.get("/api/v1/probe", headers={"Authorization": f"Bearer {secret}"})

    assert by_session.status_code == 403
    assert by_session.json()["type"].endswith("second-factor-required")
    assert by_token.status_code == 200


def test_the_second_factor_can_be_made_optional(personas: Personas, settings):
    settings.REQUIRE_SECOND_FACTOR = False
    user = factories.make_user("bare@example.org", second_factor=False)
    factories.make_membership(personas.clinic_a, user, "assistant")

    assert client_of(user).get("/people/").status_code == 200


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (NotFound(), 404),
        (NotAllowed("Not you."), 403),
        (Conflict("Moved on."), 409),
        (StaleVersion(current=3), 412),
        (Invalid.one("/x", "Bad {what}.", what="x"), 422),
        (TooMany("Wait."), 429),
        (OperationalError("deadlock detected"), 503),
        (DataError("NUL"), 400),
        (UnicodeEncodeError("utf-8", "\ud800", 0, 1, "surrogates not allowed"), 400),
    ],
)
@pytest.mark.parametrize("kind", ["page", "part", "api"])
def test_a_refusal_is_answered_in_the_callers_form(
    error: Exception, status: int, kind: str
):
    headers = {"HX-Request": "true"} if kind == "part" else {}
    path = "/api/v1/x" if kind == "api" else "/x"
    request = RequestFactory().get(path, headers=headers)

    response = translate(request, error)

    assert response is not None
    assert response.status_code == status
    text = response.content.decode()
    assert ("<html" in text) == (kind == "page")
    if kind == "part":
        assert response.headers["HX-Retarget"] == "#messages"
    if kind == "api":
        assert response.headers["Content-Type"] == "application/problem+json"
    if isinstance(error, Invalid):
        assert "Bad x." in text


def test_a_fault_of_ours_stays_a_fault():
    assert translate(RequestFactory().get("/x"), ZeroDivisionError()) is None


def test_a_gate_of_the_database_is_a_conflict(personas: Personas, rf: RequestFactory):
    with tenant(personas.laboratory.pk):
        from_database = _raised("CB001")

    response = translate(rf.get("/api/v1/x"), from_database)

    assert response is not None
    assert response.status_code == 409


def _raised(state: str) -> Exception:
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                f"DO $$ BEGIN RAISE EXCEPTION 'shut' USING ERRCODE = '{state}'; END $$"
            )
    except Exception as error:
        return error
    raise AssertionError("nothing was raised")


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/people/%00/end/", 400),
        ("/people/?q=%00", 400),
        ("/people/invitations/a%00b/revoke/", 400),
        ("/people/?q=%ff%fe", 200),
        (f"/people/{2**63}/end/", 405),
        ("/invitation/%ff/", 404),
        ("/nowhere/", 404),
        ("/api/v1/nowhere", 404),
    ],
)
def test_a_damaged_address_is_never_a_fault(personas: Personas, path: str, status: int):
    response = client_of(personas.clinic_manager).get(path)

    assert response.status_code == status
    if path.startswith("/api/"):
        assert response.headers["Content-Type"] == "application/problem+json"


def test_an_id_out_of_range_is_404(personas: Personas):
    client = client_of(personas.clinic_manager)

    assert client.post(f"/people/{2**63}/end/").status_code == 404
    assert client.post(f"/partners/{10**40}/accept/").status_code == 404


def test_a_body_over_the_limit_is_413(personas: Personas, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    client = client_of(personas.clinic_manager)

    response = client.post("/people/invite/", {"email": "x" * 200})

    assert response.status_code == 413


def test_tokens_are_stored_as_hashes_only(personas: Personas):
    secret = factories.make_token(personas.technician.actor)

    with tenant(personas.laboratory.pk):
        assert secret not in str(ApiToken.objects.values())
