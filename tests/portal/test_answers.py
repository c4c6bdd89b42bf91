"""Answers outside any view: health, faults of ours, forms without proof."""

import pytest
from django.db import OperationalError
from django.test import Client

from portal import views
from portal.cache import FailOpenRedisCache
from tests.personas import Personas, client_of


def away(*args: object, **kwargs: object) -> None:
    raise OperationalError("the database is away")


@pytest.fixture
def no_database(monkeypatch):
    """Let every connection fail, as in an outage."""
    monkeypatch.setattr(
        "django.db.backends.postgresql.base.DatabaseWrapper.cursor", away
    )
    monkeypatch.setattr(
        "django.db.backends.postgresql.base.DatabaseWrapper.connect", away
    )


@pytest.mark.django_db
def test_health_says_the_process_lives_and_is_ready(client: Client):
    for name in ("live", "ready"):
        response = client.get(f"/health/{name}")
        assert (response.status_code, response.content) == (200, b"ok\n")
        assert "no-store" in response.headers["Cache-Control"]


@pytest.mark.django_db
def test_without_a_database_it_lives_but_is_not_ready(client: Client, no_database):
    client.cookies["chairbench"] = "x" * 32

    assert client.get("/health/live").status_code == 200
    ready = client.get("/health/ready")
    assert (ready.status_code, ready.content) == (503, b"database\n")


@pytest.mark.django_db
def test_without_a_database_a_page_asks_for_patience(client: Client, no_database):
    client.cookies["chairbench"] = "x" * 32

    page = client.get("/people/")
    program = client.get("/api/v1/nowhere", headers={"Authorization": "Bearer x"})

    for response in (page, program):
        assert response.status_code == 503
        assert response.headers["Retry-After"] == "60"
    assert "Wait a moment" in page.content.decode()
    assert program.headers["Content-Type"] == "application/problem+json"


@pytest.mark.django_db
def test_it_is_not_ready_before_the_migrations(client: Client, monkeypatch):
    monkeypatch.setattr(views, "_migrated", [])
    monkeypatch.setattr(
        "portal.views.MigrationExecutor.migration_plan", lambda *args: ["something"]
    )

    response = client.get("/health/ready")

    assert (response.status_code, response.content) == (503, b"migrations\n")


def test_a_fault_of_ours_tells_nothing(personas: Personas, monkeypatch):
    def fail(**kwargs: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr("cases.selectors.people.members", fail)
    client = client_of(personas.clinician)
    client.raise_request_exception = False

    response = client.get("/people/")

    assert response.status_code == 500
    assert "secret detail" not in response.content.decode()
    assert "Something went wrong here" in response.content.decode()


def test_what_a_failed_view_wrote_is_gone(personas: Personas, monkeypatch):
    from cases.services import invitations  # noqa: PLC0415 -- patched below

    real = invitations.invitation_create

    def create_then_fail(**kwargs) -> None:
        real(**kwargs)
        raise RuntimeError("after the write")

    monkeypatch.setattr(
        "cases.views.people.invitation_services.invitation_create", create_then_fail
    )
    client = client_of(personas.clinic_manager)
    client.raise_request_exception = False
    fields = {"email": "new@example.org", "role": "assistant"}

    assert client.post("/people/invite/", fields).status_code == 500
    assert "Nobody is invited" in client.get("/people/").content.decode()


def test_a_form_without_its_proof_is_refused_and_explained(personas: Personas):
    client = Client(enforce_csrf_checks=True)
    client.force_login(personas.clinic_manager.user)

    page = client.post("/people/invite/", {"email": "x@example.org"})
    program = client.post("/api/v1/nowhere")

    assert page.status_code == 403
    assert "This form has expired" in page.content.decode()
    assert program.status_code == 404


def test_a_cache_without_server_counts_by_itself():
    cache = FailOpenRedisCache("unix:///nonexistent/valkey.sock", {})
    cache.clear()

    assert cache.add("a", 1, 60) is True
    assert cache.add("a", 2, 60) is False
    assert cache.get("a") == 1
    assert cache.incr("a") == 2
    cache.set_many({"b": 3})
    assert cache.get_many(["a", "b", "c"]) == {"a": 2, "b": 3}
    assert cache.has_key("b")
    assert cache.touch("b", 60) is True
    assert cache.delete("a") is True
    cache.delete_many(["b"])
    assert cache.get("b", "gone") == "gone"
