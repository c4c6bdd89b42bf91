"""Web, worker and beat: their command lines, logins, order and revival."""

import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping
from pathlib import Path

from portal.embedded.errors import EmbeddedError
from portal.embedded.processes import end_group, spawn, stop, tail

__all__ = ["HEALTH", "ROOT", "URLS", "Children"]

ROOT = Path(__file__).resolve().parent.parent.parent
URLS = (
    "DATABASE_URL",
    "OWNER_DATABASE_URL",
    "RELAY_DATABASE_URL",
    "MAINTENANCE_DATABASE_URL",
)
# Who may log in as whom: web and worker never hold the owner's or maintenance's URL.
_URLS_OF = {"web": URLS[:1], "worker": (URLS[0], URLS[2]), "beat": URLS[:1]}
_STOP_ORDER = ("beat", "worker", "web")
HEALTH = "/health/ready"
ANSWER_PATIENCE = 120.0  # seconds until the first answer, on a slow machine
RESTART_PAUSE = 0.5


class Children:
    """The portal's own processes, with logs in ``folder`` / logs."""

    def __init__(self, folder: Path, port: int, environment: Mapping[str, str]) -> None:
        self._folder = folder
        self._port = port
        self._environment = environment
        self._running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self) -> None:
        """Start all; return when the portal answers.

        Raises:
            EmbeddedError: the web server ends or stays silent.
        """
        for name in _STOP_ORDER:
            self.log(name).unlink(missing_ok=True)
        # The web server first and alone: a visitor waits for nothing else.
        self._spawn("web")
        self._wait_until_answering()
        for name in ("worker", "beat"):
            self._spawn(name)

    def revive(self, say: Callable[[str], None]) -> None:
        """Start again whatever has ended since the last look."""
        for name, child in list(self._running.items()):
            if child.poll() is not None:
                say(f"{name} ended ({child.returncode}); starting it again")
                end_group(child)
                time.sleep(RESTART_PAUSE)
                self._spawn(name)

    def stop(self) -> None:
        """Stop in order: no new work, then the work, then the pages."""
        for name in _STOP_ORDER:
            if child := self._running.pop(name, None):
                stop(child)

    def process(self, name: str) -> subprocess.Popen[bytes]:
        """Return one of web, worker, beat."""
        return self._running[name]

    def log(self, name: str) -> Path:
        """Return the log of one of them."""
        return self._folder / "logs" / f"{name}.log"

    def _spawn(self, name: str) -> None:
        theirs = {k: v for k, v in self._environment.items() if k not in URLS}
        theirs |= {url: self._environment[url] for url in _URLS_OF[name]}
        self._running[name] = spawn(
            [sys.executable, "-m", *self.command(name)],
            environment=theirs,
            log=self.log(name),
            folder=ROOT,
        )

    def command(self, name: str) -> list[str]:
        """Return the arguments after ``python -m`` of one of them."""
        celery = ["celery", "-A", "portal.celery"]
        return {
            "web": [
                *("gunicorn", "portal.wsgi:application"),
                *("--bind", f"127.0.0.1:{self._port}", "--worker-class", "gthread"),
                *("--workers", "2", "--threads", "4", "--graceful-timeout", "3"),
                "--no-control-socket",
            ],
            "worker": [
                *(*celery, "worker", "--concurrency", "2", "--loglevel", "warning"),
                *("--without-gossip", "--without-mingle"),
            ],
            "beat": [
                *(*celery, "beat", "--loglevel", "warning", "--pidfile="),
                *("--schedule", str(self._folder / "beat.db")),
            ],
        }[name]

    def _wait_until_answering(self) -> None:
        # By number: a minimal machine may not know the name localhost.
        url = f"http://127.0.0.1:{self._port}{HEALTH}"
        deadline = time.monotonic() + ANSWER_PATIENCE
        while not _answers(url):
            log = tail(self.log("web"))
            if self._running["web"].poll() is not None:
                raise EmbeddedError(f"The web server does not start.\n{log}")
            if time.monotonic() > deadline:
                raise EmbeddedError(f"{url} does not answer.\n{log}")
            time.sleep(0.1)


def _answers(url: str) -> bool:
    try:
        # The scheme is ours: this machine's own portal.
        with urllib.request.urlopen(url, timeout=5):  # noqa: S310 -- see above
            return True
    except urllib.error.HTTPError as error:
        return error.code < 500
    except OSError:
        return False
