"""``provision_database``: a server of one's own, with passwords."""

from io import StringIO

import psycopg
import pytest
from django.core.management import CommandError, call_command

from portal.embedded.postgres import Postgres
from portal.embedded.provision import random_passwords, role_urls
from portal.management.commands.provision_database import SUPERUSER

pytestmark = pytest.mark.stack


@pytest.fixture
def server(folder, monkeypatch):
    """A superuser's URL in the environment, and no other."""
    postgres = Postgres(folder / "postgres", durable=False)
    postgres.start()
    for name in role_urls("", "x").environment():
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv(SUPERUSER, postgres.dsn())
    yield postgres
    postgres.stop()


def verifiers(server):
    with psycopg.connect(server.dsn()) as connection:
        return connection.execute(
            "SELECT rolname, rolpassword FROM pg_authid WHERE rolname LIKE 'chairbench%'"
            " ORDER BY 1"
        ).fetchall()


def run(*arguments):
    output = StringIO()
    call_command("provision_database", *arguments, stdout=output)
    return output.getvalue()


def test_new_passwords_are_printed_once_and_then_kept(server):
    printed = dict(line.split("=", 1) for line in run().splitlines())
    made = verifiers(server)

    assert [name for name, _ in made] == [
        "chairbench_app",
        "chairbench_maintenance",
        "chairbench_owner",
        "chairbench_relay",
    ]
    assert set(printed) == set(role_urls("", "x").environment())
    assert "chairbench_app:" in printed["DATABASE_URL"]
    with pytest.raises(CommandError, match="The roles exist"):
        run()
    assert verifiers(server) == made
    assert run("--replace-passwords") != ""
    assert verifiers(server) != made


def test_the_passwords_of_given_urls_are_set(server, folder, monkeypatch):
    passwords = random_passwords()
    urls = role_urls(server.dsn(), "elsewhere", passwords).environment()
    for name, url in urls.items():
        (folder / name).write_text(f"{url}\n")
        monkeypatch.setenv(f"{name}_FILE", str(folder / name))

    said = run()

    assert said == "elsewhere: roles and database are as they must be\n"
    assert not any(password in said for password in passwords.values())
    assert all(stored.startswith("SCRAM-SHA-256$") for _, stored in verifiers(server))
    with psycopg.connect(server.dsn("chairbench_app", "elsewhere")) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_urls_that_do_not_fit_together_are_refused(server, monkeypatch):
    monkeypatch.setenv("DATABASE_URL", "postgresql://chairbench_app:x@db/one")

    with pytest.raises(CommandError, match="set all four or none"):
        run()

    urls = role_urls("postgresql://db", "one", random_passwords()).environment()
    for name, url in urls.items():
        monkeypatch.setenv(name, url)
    monkeypatch.setenv("DATABASE_URL", urls["DATABASE_URL"].replace("/one", "/another"))
    with pytest.raises(CommandError, match="one and the same database"):
        run()
    assert verifiers(server) == []


def test_no_server_is_said_plainly(monkeypatch, folder):
    monkeypatch.delenv(SUPERUSER, raising=False)
    with pytest.raises(CommandError, match=f"{SUPERUSER} is not set"):
        run()

    monkeypatch.setenv(SUPERUSER, f"postgresql://postgres@/postgres?host={folder}")
    for name in role_urls("", "x").environment():
        monkeypatch.delenv(name, raising=False)
    with pytest.raises(CommandError, match="PostgreSQL refuses"):
        run()
