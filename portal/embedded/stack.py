"""The whole portal on one machine: servers, web, worker, beat, and their order."""

import os
import secrets
import socket
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType

from portal.embedded.children import ROOT, URLS, Children
from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import FolderLock, private_folder, server_account
from portal.embedded.interrupts import undisturbed
from portal.embedded.postgres import Postgres
from portal.embedded.processes import run
from portal.embedded.provision import provision
from portal.embedded.valkey import Valkey

__all__ = ["Stack"]

DATABASE = "chairbench"
# A killed start's web server needs a moment to notice that its parent is gone.
PORT_PATIENCE_AFTER_KILL = 10.0
LOOK = 0.3  # seconds between two looks at what still runs


class Stack:
    """A running portal on one data folder and one port of this machine.

    As a context manager it starts everything and stops it in order. ``settings``
    are options of portal/env.py; the caller's environment wins over them. PostgreSQL
    and Valkey are embedded unless ``DATABASE_URL`` (then with the other three
    URLs) or ``BROKER_URL`` names servers of your own. Start and stop belong to
    the main thread.
    """

    def __init__(
        self,
        data: Path,
        *,
        port: int = 8000,
        say: Callable[[str], None] = print,
        settings: Mapping[str, str] | None = None,
    ) -> None:
        self.base_url = f"http://{_own_name()}:{port}"
        self._port = port
        self._say = say
        self._settings = dict(settings or {})
        # Under root the database server runs as another user and walks through.
        mode = 0o711 if server_account() else 0o700
        self._data = private_folder(data.resolve(), mode)
        self._lock = FolderLock(self._data)
        self._environment: dict[str, str] = {}
        self._servers: list[Postgres | Valkey] = []
        self.children = Children(self._data, port, self._environment)

    def __enter__(self) -> "Stack":
        try:
            self.start_servers()
            self.start_portal()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def start_servers(self) -> None:
        """Take the data folder, start the servers and migrate.

        Raises:
            EmbeddedError: the folder or the port is taken, or a start failed.
        """
        killed = self._lock.acquire()
        _await_port(self._port, PORT_PATIENCE_AFTER_KILL if killed else 0.0)
        private_folder(self._data / "logs")
        self._environment.update(self._portal_environment())
        self._start_postgres()
        self._start_valkey()
        self._say("migrating the database")
        self.manage("migrate", "--database", "owner", "--noinput", "-v", "0")

    def start_portal(self) -> None:
        """Start web, worker and beat; return when the portal answers.

        Raises:
            EmbeddedError: the web server ends or stays silent.
        """
        self._say("starting web, worker and beat")
        self.children.start()

    def manage(self, *arguments: str) -> None:
        """Run a management command with all four logins, output to ours.

        Raises:
            EmbeddedError: it failed; its own output says why.
        """
        command = [sys.executable, str(ROOT / "manage.py"), *arguments]
        if run(command, environment=self._environment, folder=ROOT):
            raise EmbeddedError(f"'manage.py {arguments[0]}' failed, see above.")

    def check(self) -> None:
        """Start again whatever has ended since the last look."""
        for server in self._servers:
            if server.process.poll() is not None:
                self._say(f"{type(server).__name__} ended; starting it again")
                server.start()
        self.children.revive(self._say)

    def supervise(self) -> None:
        """Keep everything running until interrupted."""
        while True:
            self.check()
            time.sleep(LOOK)

    def stop(self) -> None:
        """Stop in order, so that nothing loses what it depends on."""
        with undisturbed():
            self.children.stop()
            while self._servers:
                self._servers.pop().stop()
            self._lock.release()

    def _portal_environment(self) -> dict[str, str]:
        mail = private_folder(self._data / "mail")
        return {
            "EMAIL_URL": f"file://{mail}",
            # Plain HTTP on this machine only: cookies must work without TLS.
            "SECURE": "false",
            **self._settings,
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "portal.settings",
            "PYTHONUNBUFFERED": "1",
            "SECRET_KEY": self._secret_key(),
            "ALLOWED_HOSTS": "localhost,127.0.0.1",
            "BASE_URL": self.base_url,
            "STORAGE_ROOT": str(private_folder(self._data / "storage")),
        }

    def _secret_key(self) -> str:
        """One per data folder, so that sessions outlive a restart."""
        file = self._data / "secret_key"
        if not file.exists():
            fresh = file.with_suffix(".new")
            fresh.touch(mode=0o600)
            fresh.write_text(secrets.token_urlsafe(64))
            fresh.rename(file)
        return file.read_text()

    def _start_postgres(self) -> None:
        if "DATABASE_URL" in os.environ:
            if missing := [name for name in URLS if name not in os.environ]:
                raise EmbeddedError(
                    f"DATABASE_URL is set but not {', '.join(missing)}. "
                    "'manage.py provision_database' prints all four."
                )
            return
        self._say("starting PostgreSQL")
        postgres = Postgres(self._data / "postgres")
        self._servers.append(postgres)
        postgres.start()
        urls = provision(postgres.dsn(), DATABASE)
        self._environment.update(urls.environment())

    def _start_valkey(self) -> None:
        if "BROKER_URL" in os.environ:
            return
        self._say("starting Valkey")
        valkey = Valkey(self._data / "valkey")
        self._servers.append(valkey)
        valkey.start()
        self._environment["BROKER_URL"] = valkey.broker_url
        self._environment["CACHE_URL"] = valkey.cache_url


def _own_name() -> str:
    """Return the name people type; a minimal machine may know only the number."""
    try:
        socket.getaddrinfo("localhost", None, family=socket.AF_INET)
    except OSError:
        return "127.0.0.1"
    return "localhost"


def _await_port(port: int, patience: float) -> None:
    deadline = time.monotonic() + patience
    while True:
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError as error:
                if time.monotonic() > deadline:
                    raise EmbeddedError(
                        f"Port {port} cannot be used ({error.strerror}). Stop what "
                        "listens there, or choose another with --port."
                    ) from None
            else:
                return
        time.sleep(0.1)
