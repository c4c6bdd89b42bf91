"""Loaded by ``-p`` before everything else: the PostgreSQL that tests run on.

Without ``DATABASE_URL`` one embedded server is started per pytest run (the xdist
controller starts it, its workers inherit it). With ``DATABASE_URL`` that server
is used; it must be a superuser's URL on a server without real data, because the
tests make roles and a database per worker there.
"""

import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import psycopg
import pytest

from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import FolderLock
from portal.embedded.postgres import Postgres
from portal.embedded.provision import OWNER, random_passwords, role_urls

PREFIX = "chairbench-test-"
FOLDER = "TEST_RUN_FOLDER"
DSN = "TEST_SUPERUSER_DSN"
PASSWORDS = "TEST_ROLE_PASSWORDS"


def database_name() -> str:
    """Return this process's database: one per xdist worker."""
    return f"test_{os.environ.get('PYTEST_XDIST_WORKER', 'main')}"


def role_passwords() -> dict[str, str] | None:
    """Return the roles' passwords on a server of the user's, None for ours."""
    raw = os.environ.get(PASSWORDS)
    return dict(json.loads(raw)) if raw else None


def files_folder() -> Path:
    """Return where this process keeps attachments and documents."""
    return Path(os.environ.get(FOLDER, tempfile.gettempdir())) / f"files-{os.getpid()}"


class _Run:
    """What one pytest run needs outside itself: a folder and perhaps a server."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix=PREFIX))
        self.folder.chmod(0o711)  # the server may run under another account
        self.lock = FolderLock(self.folder)
        self.lock.acquire()
        self.server: Postgres | None = None

    def start_server(self) -> str:
        self.server = Postgres(self.folder / "postgres", durable=False)
        self.server.start()
        return self.server.dsn()

    def end(self) -> None:
        if self.server:
            self.server.stop()
        self.lock.release()
        shutil.rmtree(self.folder, ignore_errors=True)


_run: _Run | None = None


def sweep() -> None:
    """Remove the folders of runs that were killed."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        lock = FolderLock(folder)
        with suppress(EmbeddedError, OSError):
            found = folder.stat()
            # A young one may not have come to taking its lock yet.
            if found.st_uid != os.geteuid() or time.time() - found.st_mtime < 60:
                continue
            lock.acquire()
            shutil.rmtree(folder, ignore_errors=True)
            lock.release()


def refuse_real_data(dsn: str) -> None:
    """Refuse a server that tests must not touch.

    Raises:
        pytest.UsageError: no connection, not a superuser, or a database there
            belongs to a real installation (whose passwords tests would replace).
    """
    try:
        with psycopg.connect(
            dsn, connect_timeout=10, client_encoding="utf8"
        ) as connection:
            row = connection.execute(
                "SELECT rolsuper FROM pg_roles WHERE rolname = current_user"
            ).fetchone()
            real = connection.execute(
                "SELECT datname FROM pg_database JOIN pg_roles r ON r.oid = datdba "
                "WHERE r.rolname = %s AND datname NOT LIKE 'test\\_%%'",
                [OWNER],
            ).fetchall()
    except psycopg.Error as error:
        raise pytest.UsageError(f"DATABASE_URL: no connection: {error}") from None
    if row != (True,):
        raise pytest.UsageError(
            "DATABASE_URL must be a superuser's for tests: they make roles and "
            "databases. Unset it to use the embedded PostgreSQL."
        )
    if real:
        raise pytest.UsageError(
            f"DATABASE_URL names a server with the real database {real[0][0]!r}; "
            "tests would replace its passwords. Use a server of their own."
        )


def _provide_server() -> None:
    global _run
    if DSN in os.environ:  # a worker, or a pytest inside pytest
        return
    sweep()
    _run = _Run()
    os.environ[FOLDER] = str(_run.folder)
    if given := os.environ.get("DATABASE_URL"):
        refuse_real_data(given)
        os.environ[DSN] = given
        os.environ[PASSWORDS] = json.dumps(random_passwords())
        return
    try:
        os.environ[DSN] = _run.start_server()
    except EmbeddedError as error:
        raise pytest.UsageError(str(error)) from None


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_load_initial_conftests() -> Iterator[None]:
    """Have a server and its URLs in place before any settings are read."""
    _provide_server()
    urls = role_urls(os.environ[DSN], database_name(), role_passwords())
    os.environ.update(urls.environment())
    return (yield)


@pytest.hookimpl(trylast=True)
def pytest_unconfigure() -> None:
    """Stop what this process started."""
    global _run
    if _run:
        _run.end()
        _run = None
        del os.environ[DSN], os.environ[FOLDER]
