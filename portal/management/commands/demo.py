"""``manage.py demo``: the whole portal with invented people, on this machine."""

import json
import os
import secrets
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from portal.demo import PEOPLE_FILE, demo_settings
from portal.embedded.children import ROOT
from portal.embedded.errors import EmbeddedError
from portal.embedded.interrupts import interruptible
from portal.embedded.stack import Stack


class Command(BaseCommand):
    """Start everything, load the demo's people and cases, and keep it running."""

    help = "Run the portal with invented people and cases; Ctrl-C stops it."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--data", type=Path, default=ROOT / ".demo")
        parser.add_argument(
            "--credentials",
            type=Path,
            help="file to write the people and their logins to, as JSON",
        )

    def handle(self, **options: Any) -> None:
        """Run until interrupted."""
        try:
            with interruptible():
                self._run(options["data"], options["port"], options["credentials"])
        except KeyboardInterrupt:
            self._say("stopped")
        except (EmbeddedError, OSError) as error:
            raise CommandError(str(error)) from None

    def _run(self, data: Path, port: int, credentials: Path | None) -> None:
        draft = _draft_of(credentials) if credentials else None
        stack = Stack(data, port=port, say=self._say, settings=demo_settings(data))
        try:
            stack.start_servers()
            self._say("loading the demo")
            named = ["--credentials", str(draft)] if draft else []
            stack.manage("load_demo", "--base-url", stack.base_url, *named)
            stack.start_portal()
            if credentials and draft:
                draft.chmod(0o600)
                draft.replace(credentials)
            self._say_people(data / PEOPLE_FILE)
            self._say(f"open {stack.base_url} (Ctrl-C stops everything)")
            stack.supervise()
        finally:
            if draft:
                draft.unlink(missing_ok=True)
            stack.stop()

    def _say_people(self, file: Path) -> None:
        """Show who can sign in: invented people, on this machine only."""
        for person in json.loads(file.read_text(encoding="utf-8"))["people"]:
            who = f"{person['role']:15} {person['email']:28} {person['password']}"
            self.stdout.write(f"  {who}  {person['organisation']}")

    def _say(self, text: str) -> None:
        self.stdout.write(f"chairbench: {text}")
        self.stdout.flush()


def _draft_of(credentials: Path) -> Path:
    """Return an empty file beside the wanted one, for nobody else's eyes.

    The wanted file appears whole, and only once the portal answers: whoever waits
    for it can use what it says.
    """
    draft = credentials.with_name(f".{credentials.name}.{secrets.token_hex(4)}")
    os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    return draft.resolve()
