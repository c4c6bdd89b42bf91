"""The pytest plugin's own care: whose server it uses, what it leaves behind."""

import os
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import psycopg
import pytest
from psycopg import sql
from psycopg.conninfo import conninfo_to_dict

from portal.embedded.folders import FolderLock
from portal.embedded.provision import OWNER, provision, role_urls
from tests.plugin_postgres import (
    DSN,
    PREFIX,
    database_name,
    refuse_real_data,
    role_passwords,
    sweep,
)


def test_a_server_that_is_not_there_is_said():
    with pytest.raises(pytest.UsageError, match="no connection"):
        refuse_real_data("postgresql://postgres@/postgres?host=/nonexistent")


@pytest.mark.django_db
def test_a_login_that_cannot_make_roles_is_refused():
    urls = role_urls(os.environ[DSN], database_name(), role_passwords())

    with pytest.raises(pytest.UsageError, match="must be a superuser's"):
        refuse_real_data(urls.app)


@pytest.mark.django_db
def test_a_server_with_a_real_database_is_refused():
    real = f"real_{database_name()}"
    name = sql.Identifier(real)
    with psycopg.connect(os.environ[DSN], autocommit=True) as connection:
        connection.execute(
            sql.SQL("CREATE DATABASE {} OWNER {}").format(name, sql.Identifier(OWNER))
        )
        try:
            with pytest.raises(pytest.UsageError, match="real database 'real_test_"):
                refuse_real_data(os.environ[DSN])
        finally:
            connection.execute(sql.SQL("DROP DATABASE {}").format(name))


def test_many_provisions_at_once_take_turns():
    """The roles belong to the whole server, and every worker provisions."""
    names = [f"test_turn{n}_{database_name()}" for n in range(4)]
    make = partial(provision, os.environ[DSN], passwords=role_passwords())
    try:
        with ThreadPoolExecutor(len(names)) as pool:
            made = list(pool.map(make, names))
    finally:
        with psycopg.connect(os.environ[DSN], autocommit=True) as connection:
            for name in names:
                connection.execute(
                    sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(name))
                )

    assert [conninfo_to_dict(urls.app)["dbname"] for urls in made] == names


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def run_folder(parent, name, *, age):
    folder = parent / f"{PREFIX}{name}"
    folder.mkdir()
    (folder / "lock").touch()
    then = time.time() - age
    os.utime(folder, (then, then))
    return folder


def test_folders_of_killed_runs_are_swept_and_those_of_running_ones_kept(temporary):
    dead = run_folder(temporary, "dead", age=3600)
    young = run_folder(temporary, "young", age=0)
    alive = run_folder(temporary, "alive", age=3600)
    lock = FolderLock(alive)
    lock.acquire()

    sweep()

    assert not dead.exists()
    assert young.exists()
    assert alive.exists()
    lock.release()
