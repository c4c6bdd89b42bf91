"""The embedded PostgreSQL as processes: who gets in, and what a crash costs."""

import os
import shutil
import signal
import subprocess
import sys
import time

import psycopg
import pytest

from portal.embedded import folders
from portal.embedded.binaries import major_version, postgres_programs
from portal.embedded.children import ROOT
from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import command_line, server_account
from portal.embedded.postgres import Postgres
from portal.embedded.provision import ROLES, provision, random_passwords

pytestmark = pytest.mark.stack


@pytest.fixture(scope="module")
def server(shared_folder):
    """One running server for the tests that leave it as it is."""
    postgres = Postgres(shared_folder / "postgres")
    postgres.start()
    yield postgres
    postgres.stop()


@pytest.fixture
def own_server(folder):
    """A server to kill or to break."""
    postgres = Postgres(folder / "postgres")
    postgres.start()
    yield postgres
    postgres.stop()


def row(dsn, statement):
    with psycopg.connect(dsn) as connection:
        found = connection.execute(statement).fetchone()
    assert found is not None
    return found


def scalar(dsn, statement):
    return row(dsn, statement)[0]


def test_it_is_durable_without_tcp_and_sorts_by_code_point(server):
    assert scalar(server.dsn(), "SHOW fsync") == "on"
    assert scalar(server.dsn(), "SHOW synchronous_commit") == "on"
    assert scalar(server.dsn(), "SHOW listen_addresses") == ""
    ordered = "SELECT string_agg(x, '' ORDER BY x) FROM unnest('{a,B,ä,Z}'::text[]) x"
    assert scalar(server.dsn(), ordered) == "BZaä"


def test_stopping_leaves_no_process_and_no_socket(own_server, folder):
    pid = own_server.process.pid

    own_server.stop()

    assert command_line(pid) == []
    assert not (folder / "postgres" / "run").exists()


def test_durability_cannot_be_edited_away(own_server):
    with psycopg.connect(own_server.dsn(), autocommit=True) as connection:
        connection.execute("ALTER SYSTEM SET fsync = off")
    own_server.stop()

    own_server.start()

    assert scalar(own_server.dsn(), "SHOW fsync") == "on"


def test_only_peer_authentication_with_the_map_is_configured(server):
    rules = (
        "SELECT string_agg(concat_ws(' ', type, auth_method, options::text), ';')"
        " FROM pg_hba_file_rules"
    )
    assert scalar(server.dsn(), rules) == "local peer {map=chairbench}"


@pytest.mark.parametrize("role", ["postgres", *ROLES])
def test_another_user_of_the_machine_gets_in_as_no_role(server, shared_folder, role):
    provision(server.dsn(), "chairbench")
    account = server_account()
    if account is None:
        # Without root we cannot try the door as somebody else: the socket's folder
        # is ours and closed, so nobody else comes as far as the door.
        sockets = shared_folder / "postgres" / "run"
        assert sockets.stat().st_mode & 0o777 == 0o700
        assert sockets.stat().st_uid == os.geteuid()
        return
    # The server's own account owns that folder; peer authentication must stop it.
    psql = postgres_programs(for_another_user=True) / "psql"

    tried = subprocess.run(
        [psql, server.dsn(role, "postgres"), "-c", "SELECT 1"],
        user=account.uid,
        group=account.gid,
        extra_groups=[],
        cwd="/",
        env={"HOME": "/nonexistent", "LC_ALL": "C"},
        capture_output=True,
        text=True,
    )

    assert tried.returncode == 2
    assert f'Peer authentication failed for user "{role}"' in tried.stderr


def test_we_get_in_as_each_role_and_no_role_is_more_than_it_should_be(server):
    urls = provision(server.dsn(), "chairbench")

    rights = {}
    for url in (urls.owner, urls.app, urls.relay, urls.maintenance):
        name, *found = row(
            url,
            "SELECT rolname, rolsuper, rolcreaterole, rolcreatedb, rolbypassrls"
            " FROM pg_roles WHERE rolname = session_user",
        )
        rights[name] = found

    assert rights == {
        "chairbench_owner": [False, False, False, False],
        "chairbench_app": [False, False, False, False],
        "chairbench_relay": [False, False, False, False],
        "chairbench_maintenance": [False, False, False, True],
    }


def test_provisioning_twice_keeps_the_data_and_shuts_others_out(server):
    urls = provision(server.dsn(), "chairbench")
    with psycopg.connect(urls.owner) as connection:
        connection.execute("CREATE TABLE kept (id int)")
        connection.execute("INSERT INTO kept VALUES (1)")

    assert provision(server.dsn(), "chairbench") == urls

    assert scalar(urls.owner, "SELECT count(*) FROM kept") == 1
    assert scalar(urls.maintenance, "SELECT count(*) FROM kept") == 1
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        scalar(urls.app, "SELECT count(*) FROM kept")
    for url in (urls.app, urls.relay, urls.maintenance):
        with (
            psycopg.connect(url) as connection,
            pytest.raises(psycopg.errors.InsufficientPrivilege),
        ):
            connection.execute("CREATE TABLE mine (id int)")
    outsider = (
        "SELECT has_database_privilege('outsider', 'chairbench', 'CONNECT')"
        " OR has_schema_privilege('outsider', 'public', 'USAGE, CREATE')"
    )
    with psycopg.connect(server.dsn(database="chairbench")) as connection:
        connection.execute("CREATE ROLE outsider LOGIN")
        assert connection.execute(outsider).fetchone() == (False,)


def test_passwords_are_set_as_verifiers_and_stand_in_the_urls(server):
    passwords = random_passwords()

    urls = provision(server.dsn(), "chairbench", passwords=passwords)

    assert f"chairbench_app:{passwords['chairbench_app']}@" in urls.app
    stored = "SELECT rolpassword FROM pg_authid WHERE rolname = 'chairbench_app'"
    assert scalar(server.dsn(), stored).startswith("SCRAM-SHA-256$")
    assert passwords["chairbench_app"] not in server.log.read_text()


def test_committed_rows_survive_kill_9_with_a_client_connected(own_server):
    urls = provision(own_server.dsn(), "chairbench")
    with psycopg.connect(urls.owner, autocommit=True) as connection:
        connection.execute("CREATE TABLE kept (id int)")
        connection.execute("INSERT INTO kept SELECT generate_series(1, 500)")
        os.kill(own_server.process.pid, signal.SIGKILL)
        own_server.process.wait()

        own_server.start()

        with pytest.raises(psycopg.OperationalError):
            connection.execute("SELECT 1")
    assert scalar(urls.owner, "SELECT count(*) FROM kept") == 500


def test_an_orphan_on_our_data_is_stopped_before_the_next_start(folder):
    orphan = Postgres(folder / "postgres")
    orphan.start()
    pid = orphan.process.pid

    heir = Postgres(folder / "postgres")
    heir.start()

    try:
        assert orphan.process.wait(5) == 0
        assert heir.process.pid != pid
        assert scalar(heir.dsn(), "SELECT 1") == 1
    finally:
        heir.stop()


def test_a_pid_file_that_names_something_else_is_forgotten(own_server, folder):
    own_server.stop()
    stale = folder / "postgres" / "data" / "postmaster.pid"
    stale.write_text(f"{os.getpid()}\n{stale.parent}\n")

    own_server.start()

    assert scalar(own_server.dsn(), "SELECT 1") == 1


def test_an_interrupted_initdb_leaves_nothing_that_looks_like_data(folder):
    half = folder / "postgres" / "fresh" / "data"
    half.mkdir(parents=True)
    (half / "PG_VERSION").write_text("18\n")

    postgres = Postgres(folder / "postgres")
    postgres.start()

    postgres.stop()
    assert not (folder / "postgres" / "fresh").exists()


def test_data_of_another_major_version_is_named(own_server, folder):
    own_server.stop()
    (folder / "postgres" / "data" / "PG_VERSION").write_text("14\n")

    with pytest.raises(EmbeddedError, match=r"made by PostgreSQL 14; .* Set PG_BIN"):
        own_server.start()


def test_a_server_that_cannot_start_says_what_its_log_says(own_server, folder):
    own_server.stop()
    (folder / "postgres" / "data" / "postgresql.auto.conf").write_text("nonsense\n")

    with pytest.raises(EmbeddedError, match="syntax error"):
        own_server.start()


def test_programs_in_a_closed_home_are_copied_out(folder, monkeypatch):
    """What a root checkout below a closed home needs: another account runs it."""
    found = postgres_programs(for_another_user=False)
    home = folder / "home"
    package = found.parent.parent
    wanted = home / package.name / found.parent.name / found.name
    shutil.copytree(found.parent, wanted.parent, symlinks=True)
    libraries = package.parent / f"{package.name}.libs"
    if libraries.is_dir():
        shutil.copytree(libraries, home / libraries.name)
    home.chmod(0o700)
    monkeypatch.setenv("PG_BIN", str(wanted))
    copied = postgres_programs(for_another_user=True)
    place = copied.parents[2]

    try:
        assert folders.reachable_by_others(copied)
        assert major_version(copied) == major_version(found)
        assert postgres_programs(for_another_user=True) == copied
    finally:
        shutil.rmtree(place)


def test_no_programs_is_said_with_what_to_do(folder, monkeypatch):
    monkeypatch.setenv("PG_BIN", str(folder))

    with pytest.raises(EmbeddedError, match="set PG_BIN to a folder with postgres"):
        Postgres(folder / "postgres")


def test_the_server_dies_with_the_process_that_started_it(folder):
    code = (
        "import os, signal, sys; from pathlib import Path;"
        "from portal.embedded.postgres import Postgres;"
        "server = Postgres(Path(sys.argv[1])); server.start();"
        "print(server.process.pid, flush=True);"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    died = subprocess.run(
        [sys.executable, "-c", code, str(folder / "postgres")],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    deadline = time.monotonic() + 10
    while command_line(int(died.stdout)):
        assert time.monotonic() < deadline
        time.sleep(0.02)
