"""``manage.py walkthrough``: the main job without a browser, verified from outside."""

import shutil
import socket
import tempfile
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from portal.demo import demo_settings
from portal.embedded.errors import EmbeddedError
from portal.embedded.interrupts import interruptible
from portal.embedded.stack import Stack
from portal.walkthrough.cast import cast_from
from portal.walkthrough.play import play

__all__ = ["Command"]


class Command(BaseCommand):
    """Start everything, play the job over HTTP, leave the proof in a folder."""

    help = (
        "Play the whole job over HTTP as the demo's invented people, on a portal of "
        "its own, and write work-order.pdf, timeline.json and summary.txt. The exit "
        "status is 0 only if every step was verified."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument(
            "--out", type=Path, required=True, help="folder for the three files"
        )
        parser.add_argument(
            "--credentials",
            type=Path,
            help="play against the running demo that wrote this file instead",
        )
        parser.add_argument(
            "--mail", type=Path, help="with --credentials: that demo's mail folder"
        )

    def handle(self, **options: Any) -> None:
        """Play; fail unless all of it was verified."""
        out: Path = options["out"]
        if bool(options["credentials"]) != bool(options["mail"]):
            raise CommandError("--credentials and --mail go together.")
        try:
            out.mkdir(parents=True, exist_ok=True)
            with interruptible():
                if options["credentials"]:
                    self._play(options["credentials"], out, options["mail"])
                else:
                    with _folder() as data:
                        self._with_own_server(data, out)
        except KeyboardInterrupt:
            raise CommandError("stopped before the end", returncode=130) from None
        except (EmbeddedError, OSError, ValueError) as error:
            raise CommandError(str(error)) from None

    def _with_own_server(self, data: Path, out: Path) -> None:
        stack = Stack(
            data, port=_free_port(), say=self._say, settings=demo_settings(data)
        )
        credentials = data / "credentials.json"
        try:
            stack.start_servers()
            self._say("loading the demo")
            stack.manage(
                *("load_demo", "--base-url", stack.base_url),
                *("--credentials", str(credentials)),
            )
            stack.start_portal()
            self._play(credentials, out, data / "mail")
        finally:
            stack.stop()

    def _play(self, credentials: Path, out: Path, mail: Path) -> None:
        report = play(cast_from(credentials), out, mail=mail, say=self._say)
        if report.failure:
            raise CommandError(f"not verified: {report.failure}. See {out}/summary.txt")
        self._say(f"{len(report.steps)} steps verified; see {out}/summary.txt")

    def _say(self, text: str) -> None:
        self.stdout.write(f"chairbench: {text}")
        self.stdout.flush()


@contextmanager
def _folder() -> Iterator[Path]:
    """Give a data folder of our own that is gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="chairbench-walk-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
