"""``manage.py provision_database``: roles and database on a server of your own."""

import os
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import psycopg
from django.core.management.base import BaseCommand, CommandError, CommandParser

from portal.embedded.children import URLS
from portal.embedded.provision import ROLES, provision, random_passwords

SUPERUSER = "SUPERUSER_DATABASE_URL"


class Command(BaseCommand):
    """Bring a PostgreSQL server to what the portal needs; safe to repeat."""

    help = (
        f"Make the portal's roles and database. {SUPERUSER} (or {SUPERUSER}_FILE) is "
        "a superuser's URL. When the four database URLs are set, the roles get their "
        "passwords; else new passwords are made and the four lines printed."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare the options."""
        parser.add_argument("--database", default="chairbench")
        parser.add_argument(
            "--replace-passwords",
            action="store_true",
            help="make new passwords although the roles exist: those in use end",
        )

    def handle(self, *, database: str, replace_passwords: bool, **_: Any) -> None:
        """Make or repair; print the URLs when their passwords are new."""
        superuser = _secret(SUPERUSER)
        if not superuser:
            raise CommandError(f"{SUPERUSER} is not set; it names the server.")
        given = [url for url in map(_secret, URLS) if url]
        try:
            if given:
                passwords, database = _from_urls(given)
                provision(superuser, database, passwords=passwords)
                self.stdout.write(f"{database}: roles and database are as they must be")
                return
            if not replace_passwords and _roles_exist(superuser):
                raise CommandError(
                    "The roles exist. Set the four database URLs to keep their "
                    "passwords, or say --replace-passwords."
                )
            made = provision(superuser, database, passwords=random_passwords())
        except psycopg.Error as error:
            raise CommandError(f"PostgreSQL refuses: {error}") from None
        for name, url in made.environment().items():
            self.stdout.write(f"{name}={url}")


def _secret(name: str) -> str:
    """Read a variable, or the file that NAME_FILE names."""
    if file := os.environ.get(f"{name}_FILE"):
        try:
            return Path(file).read_text(encoding="utf-8").strip()
        except OSError as error:
            raise CommandError(f"{name}_FILE: {error}") from None
    return os.environ.get(name, "")


def _from_urls(urls: list[str]) -> tuple[dict[str, str], str]:
    """Return each role's password and the database that all URLs name."""
    parts = [urlsplit(url) for url in urls]
    passwords = {unquote(p.username or ""): unquote(p.password or "") for p in parts}
    databases = {unquote(p.path.lstrip("/")) for p in parts}
    if sorted(passwords) != sorted(ROLES) or not all(passwords.values()):
        raise CommandError(
            f"{', '.join(URLS)} must log in as {', '.join(sorted(ROLES))}, each with "
            "a password; set all four or none."
        )
    if len(databases) != 1 or not all(databases):
        raise CommandError("The four database URLs must name one and the same database")
    return passwords, databases.pop()


def _roles_exist(superuser: str) -> bool:
    with psycopg.connect(superuser) as connection:
        found = connection.execute(
            "SELECT 1 FROM pg_roles WHERE rolname = ANY(%s)", [list(ROLES)]
        )
        return found.fetchone() is not None
