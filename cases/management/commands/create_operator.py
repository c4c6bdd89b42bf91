"""Make the person who creates organisations; run once on a new installation."""

import getpass
import os
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email

from cases.errors import DomainError
from cases.services.people import operator_create

__all__ = ["Command"]

PASSWORD_VARIABLE = "CHAIRBENCH_OPERATOR_PASSWORD"  # noqa: S105 -- a name


class Command(BaseCommand):
    """Ask for what is missing, then store the operator."""

    help = (
        "Create the operator, who creates clinics and laboratories. The password is "
        f"asked for, or read from {PASSWORD_VARIABLE}."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument("--email", help="the address the operator signs in with")
        parser.add_argument("--name", help="the operator's name")
        parser.add_argument(
            "--another", action="store_true", help="add one although one exists"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Create the operator or say why not."""
        email = (options["email"] or self._ask("E-mail address: ")).strip()
        try:
            validate_email(email)
        except ValidationError as error:
            raise CommandError(f"{email!r} is not an e-mail address") from error
        name = options["name"] or self._ask("Name: ")
        try:
            operator_create(
                email=email,
                name=name,
                password=self._password(),
                another=options["another"],
            )
        except DomainError as error:
            hint = "" if options["another"] else " (--another adds one more)"
            reason = error.text()
            raise CommandError(
                reason + hint if reason.startswith("There is an operator") else reason
            ) from error
        self.stdout.write(f"{email} is an operator and can sign in.")

    def _ask(self, prompt: str) -> str:
        if not sys.stdin.isatty():
            raise CommandError("no terminal to ask on: give --email and --name")
        return input(prompt)

    def _password(self) -> str:
        if given := os.environ.get(PASSWORD_VARIABLE):
            return given
        if not sys.stdin.isatty():
            raise CommandError(f"no terminal to ask on: set {PASSWORD_VARIABLE}")
        password = getpass.getpass("Password (at least 12 characters): ")
        if password != getpass.getpass("The same again: "):
            raise CommandError("the two passwords differ")
        return password
