"""``manage.py test``: every test there is, by pytest."""

import os
import sys

from django.core.management.base import BaseCommand

from portal.embedded.children import ROOT


class Command(BaseCommand):
    """Run pytest; what follows on the command line is pytest's."""

    help = "Run all tests with pytest, whose options may follow."
    requires_system_checks: list[str] = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Become pytest, with everything after ``test`` as its arguments."""
        sys.stdout.flush()
        os.chdir(ROOT)
        # It would win over pytest's own setting and run the tests with ours.
        os.environ.pop("DJANGO_SETTINGS_MODULE", None)
        command = [sys.executable, "-m", "pytest", *argv[2:]]
        # Replacing this process leaves Ctrl-C and the exit status to pytest alone.
        os.execv(sys.executable, command)  # noqa: S606 -- the developer's own line

    def handle(self, *args: str, **options: object) -> None:
        """Become pytest without options (called from code)."""
        self.run_from_argv(["manage.py", "test"])
