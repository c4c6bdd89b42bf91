"""A real Valkey as a child process: Unix socket, password, append-only file."""

import secrets
import shutil
import subprocess
import time
from pathlib import Path

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from portal.embedded.binaries import valkey_program
from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import private_folder, socket_folder
from portal.embedded.processes import spawn, stop, tail

__all__ = ["Valkey"]

START_PATIENCE = 30.0  # seconds; a long append-only file is read first


class Valkey:
    """One Valkey server and its folder, private to the user who starts it.

    The password is new at every start; it goes to the server through a pipe, so
    that it stands on no command line and in no file.
    """

    def __init__(self, folder: Path) -> None:
        self._program = valkey_program()
        self._folder = private_folder(folder.resolve())
        self._password = secrets.token_urlsafe(32)
        self._sockets: Path | None = None
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def log(self) -> Path:
        """The server's log."""
        return self._folder / "valkey.log"

    @property
    def process(self) -> subprocess.Popen[bytes]:
        """The server's process.

        Raises:
            EmbeddedError: it was not started, or it was stopped.
        """
        if self._process is None:
            raise EmbeddedError("Valkey is not running")
        return self._process

    @property
    def socket(self) -> Path:
        """The server's Unix socket.

        Raises:
            EmbeddedError: the server was never started.
        """
        if self._sockets is None:
            raise EmbeddedError("Valkey is not running")
        return self._sockets / "valkey.sock"

    @property
    def broker_url(self) -> str:
        """URL for Celery (database 0)."""
        return f"redis+socket://:{self._password}@{self.socket}"

    @property
    def cache_url(self) -> str:
        """URL for the cache (database 1)."""
        return f"unix://:{self._password}@{self.socket}?db=1"

    def start(self) -> None:
        """Start the server and return when it answers.

        Raises:
            EmbeddedError: it does not start; the message ends with its log.
        """
        self._sockets = socket_folder(self._sockets or self._folder / "run")
        self.socket.unlink(missing_ok=True)
        self.log.unlink(missing_ok=True)
        self._process = spawn(
            [str(self._program), "-"],
            environment={"PATH": "/usr/bin:/bin", "LC_ALL": "C"},
            log=self.log,
            feed=self._configuration().encode(),
        )
        self._wait_until_answering(self._process)

    def stop(self) -> None:
        """Stop the server, writing what it holds, and remove its socket folder."""
        if self._process:
            stop(self._process)
            self._process = None
        if self._sockets:
            shutil.rmtree(self._sockets, ignore_errors=True)

    def _configuration(self) -> str:
        lines = {
            "port": "0",
            "unixsocket": f'"{self.socket}"',
            "unixsocketperm": "700",
            "requirepass": self._password,
            "dir": f'"{self._folder}"',
            # Queued messages survive a restart, and a full memory refuses new
            # ones instead of dropping old ones.
            "appendonly": "yes",
            "save": '""',
            "maxmemory-policy": "noeviction",
        }
        return "".join(f"{name} {value}\n" for name, value in lines.items())

    def _wait_until_answering(self, process: subprocess.Popen[bytes]) -> None:
        deadline = time.monotonic() + START_PATIENCE
        # Without its own retries, which sleep for seconds: we look more often.
        with redis.Redis(
            unix_socket_path=str(self.socket),
            password=self._password,
            retry=Retry(NoBackoff(), 0),
        ) as client:
            while True:
                try:
                    client.ping()
                except redis.RedisError as error:
                    if process.poll() is not None or time.monotonic() > deadline:
                        stop(process)
                        raise EmbeddedError(
                            f"Valkey does not start: {error}\n{tail(self.log)}"
                        ) from None
                    time.sleep(0.02)
                else:
                    return
