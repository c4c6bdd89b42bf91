"""A real PostgreSQL as a child process, closed to everyone but us.

No TCP, no password, no trust: it listens on a Unix socket in a closed folder,
and peer authentication with an identity map lets only the operating-system user
who started it log in, as the superuser or as one of the portal's four roles.
"""

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path
from urllib.parse import quote, urlencode

import psycopg

from portal.embedded.binaries import major_version, postgres_programs
from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import (
    command_line,
    os_user,
    private_folder,
    public_place,
    reachable_by_others,
    server_account,
    socket_folder,
)
from portal.embedded.processes import spawn, stop, tail
from portal.embedded.provision import ROLES

__all__ = ["Postgres"]

SUPERUSER = "postgres"
START_PATIENCE = 60.0  # seconds; recovery after a crash is part of the start
STOP_PATIENCE = 30.0
LOG_LIMIT = 5_000_000  # bytes kept from one start to the next
# With no TCP the port only names the socket file.
PORT = 5432
# Stated on the command line, so that no edited file can take them away.
_DURABLE = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}
# Tests throw their data away; losing it in a power cut costs nothing.
_THROWAWAY = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}


class Postgres:
    """One PostgreSQL server and its data folder.

    ``folder`` belongs to this server alone; it is made when missing. Data of
    earlier starts is kept and recovered. ``durable=False`` is for tests only.
    """

    def __init__(self, folder: Path, *, durable: bool = True) -> None:
        self._account = server_account()
        self._programs = postgres_programs(for_another_user=self._account is not None)
        self._folder = self._reachable(folder.resolve())
        self._data = self._folder / "data"
        self._durable = durable
        self._sockets: Path | None = None
        self._process: subprocess.Popen[bytes] | None = None

    def _reachable(self, folder: Path) -> Path:
        """Return the folder, or one outside a closed home when ours is inside."""
        folder.mkdir(parents=True, exist_ok=True)
        if self._account is None:
            return private_folder(folder)
        private_folder(folder, 0o711)
        if reachable_by_others(folder):
            return folder
        elsewhere = public_place("data", str(folder))
        (folder / "MOVED").write_text(f"The data is in {elsewhere}\n")
        return elsewhere

    @property
    def log(self) -> Path:
        """The server's log."""
        return self._folder / "postgres.log"

    @property
    def process(self) -> subprocess.Popen[bytes]:
        """The server's process.

        Raises:
            EmbeddedError: it was not started, or it was stopped.
        """
        if self._process is None:
            raise EmbeddedError("PostgreSQL is not running")
        return self._process

    def dsn(self, role: str = SUPERUSER, database: str = "postgres") -> str:
        """Return a connection URL of a role; there is no password in it.

        Raises:
            EmbeddedError: the server was never started.
        """
        if self._sockets is None:
            raise EmbeddedError("PostgreSQL is not running")
        query = urlencode({"host": self._sockets, "port": PORT})
        return f"postgresql://{quote(role)}@/{quote(database)}?{query}"

    def start(self) -> None:
        """Start the server and return when it answers.

        Raises:
            EmbeddedError: it does not start; the message ends with its log.
        """
        self._make_data_folder()
        self._clear_leftover()
        self._write_access_rules()
        # A restart keeps the folder: URLs given out stay true.
        wanted = self._sockets or self._folder / "run"
        self._sockets = socket_folder(wanted, self._account)
        self._trim_log()
        self._process = spawn(
            self._arguments(self._sockets),
            environment=_environment(),
            log=self.log,
            account=self._account,
            # SIGINT is PostgreSQL's fast shutdown: sessions are cut, data is kept.
            death_signal=signal.SIGINT,
        )
        self._wait_until_answering(self._process)
        self._assert_durability()

    def stop(self) -> None:
        """Stop the server, cutting open sessions, and remove its socket folder."""
        if self._process:
            stop(self._process, signal.SIGINT, patience=STOP_PATIENCE)
            self._process = None
        if self._sockets:
            shutil.rmtree(self._sockets, ignore_errors=True)

    def _make_data_folder(self) -> None:
        if (self._data / "PG_VERSION").exists():
            self._assert_same_version()
            return
        # Made beside and renamed, so that an interrupted initdb leaves nothing
        # that a later start would take for data.
        fresh = self._folder / "fresh"
        shutil.rmtree(fresh, ignore_errors=True)
        private_folder(fresh / "data", account=self._account)
        fresh.chmod(0o711)
        made = subprocess.run(  # noqa: S603 -- the program found by binaries.py
            self._initdb(fresh / "data"),
            env=_environment(),
            cwd="/",
            capture_output=True,
            text=True,
            user=self._account.uid if self._account else None,
            group=self._account.gid if self._account else None,
            extra_groups=[] if self._account else None,
        )
        if made.returncode:
            raise EmbeddedError(f"initdb failed:\n{made.stdout}{made.stderr}")
        (fresh / "data").rename(self._data)
        fresh.rmdir()

    def _initdb(self, data: Path) -> list[str]:
        arguments = [str(self._programs / "initdb"), "-D", str(data), "-U", SUPERUSER]
        arguments += ["-E", "UTF8", "-A", "peer"]
        if major_version(self._programs) >= 17:
            # The one ordering that is the same in the wheel and in production.
            arguments += ["--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
            arguments += ["--locale=C"]
        else:
            arguments += ["--locale=C.UTF-8"]
        return arguments if self._durable else [*arguments, "--no-sync"]

    def _assert_same_version(self) -> None:
        ours = major_version(self._programs)
        theirs = (self._data / "PG_VERSION").read_text().strip()
        if str(ours) != theirs:
            raise EmbeddedError(
                f"{self._data} was made by PostgreSQL {theirs}; the programs in "
                f"{self._programs} are {ours}. Set PG_BIN to a PostgreSQL {theirs}, "
                "or choose another folder with --data."
            )

    def _clear_leftover(self) -> None:
        """Deal with the pid file of a server that was killed.

        The folder lock is ours, so no living demo owns a server found here: an
        orphan on our data is stopped; a number that the system has since given
        to something else is forgotten, which PostgreSQL itself would not dare.
        """
        file = self._data / "postmaster.pid"
        try:
            pid = int(file.read_text().split()[0])
        except (OSError, ValueError, IndexError):
            return
        if str(self._data) not in command_line(pid):
            file.unlink(missing_ok=True)
            return
        os.kill(pid, signal.SIGINT)
        deadline = time.monotonic() + STOP_PATIENCE
        while str(self._data) in command_line(pid):
            if time.monotonic() > deadline:
                raise EmbeddedError(f"PostgreSQL (process {pid}) does not stop.")
            time.sleep(0.05)

    def _write_access_rules(self) -> None:
        """Write who may log in, outside the data folder: the server only reads."""
        name = os_user().replace('"', '""')
        rules = "".join(f'chairbench "{name}" {role}\n' for role in (SUPERUSER, *ROLES))
        (self._folder / "pg_hba.conf").write_text("local all all peer map=chairbench\n")
        (self._folder / "pg_ident.conf").write_text(rules)
        for file in ("pg_hba.conf", "pg_ident.conf"):
            (self._folder / file).chmod(0o644)

    def _trim_log(self) -> None:
        if self.log.exists() and self.log.stat().st_size > LOG_LIMIT:
            self.log.unlink()

    def _arguments(self, sockets: Path) -> list[str]:
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": str(sockets),
            "unix_socket_permissions": "0700",
            "port": str(PORT),
            "hba_file": str(self._folder / "pg_hba.conf"),
            "ident_file": str(self._folder / "pg_ident.conf"),
            "timezone": "UTC",
            "log_timezone": "UTC",
            "shared_buffers": "64MB",
            "max_connections": "100",
            **(_DURABLE if self._durable else _THROWAWAY),
        }
        arguments = [str(self._programs / "postgres"), "-D", str(self._data)]
        for name, value in settings.items():
            arguments += ["-c", f"{name}={value}"]
        return arguments

    def _wait_until_answering(self, process: subprocess.Popen[bytes]) -> None:
        deadline = time.monotonic() + START_PATIENCE
        while True:
            try:
                psycopg.connect(self.dsn(), connect_timeout=5).close()
            except psycopg.OperationalError as error:
                if process.poll() is not None or time.monotonic() > deadline:
                    stop(process, signal.SIGINT)
                    raise EmbeddedError(
                        f"PostgreSQL does not start: {error}\n{tail(self.log)}"
                    ) from None
                time.sleep(0.02)
            else:
                return

    def _assert_durability(self) -> None:
        wanted = _DURABLE if self._durable else _THROWAWAY
        with psycopg.connect(self.dsn()) as connection:
            for name, value in wanted.items():
                row = connection.execute(
                    "SELECT current_setting(%s)", [name]
                ).fetchone()
                if row != (value,):
                    raise EmbeddedError(f"PostgreSQL runs with {name} = {row}")


def _environment() -> dict[str, str]:
    """Nothing of the caller's: a stray PG variable must not steer the server."""
    return {"PATH": "/usr/bin:/bin", "LC_ALL": "C"}
