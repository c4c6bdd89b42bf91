"""Make the database and its four roles, on any PostgreSQL, as often as wanted.

Roles (design: database, from the first migration): the owner migrates and owns
everything, the application and the relay are neither owner nor superuser and obey
row-level security, maintenance bypasses it and never runs in web or worker.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import quote, urlencode

import psycopg
from psycopg import sql
from psycopg.conninfo import conninfo_to_dict

__all__ = ["ROLES", "RoleUrls", "provision", "random_passwords"]

OWNER = "chairbench_owner"
APP = "chairbench_app"
RELAY = "chairbench_relay"
MAINTENANCE = "chairbench_maintenance"
ROLES = (OWNER, APP, RELAY, MAINTENANCE)

# Roles belong to the whole server: two provisions at once (test workers) take
# turns. The number is arbitrary and ours.
_TURN = 7_242_711


@dataclass(frozen=True, slots=True)
class RoleUrls:
    """Connection URLs of one database, by role."""

    app: str
    owner: str
    relay: str
    maintenance: str

    def environment(self) -> dict[str, str]:
        """Return them under the names the settings read."""
        return {
            "DATABASE_URL": self.app,
            "OWNER_DATABASE_URL": self.owner,
            "RELAY_DATABASE_URL": self.relay,
            "MAINTENANCE_DATABASE_URL": self.maintenance,
        }


def random_passwords() -> dict[str, str]:
    """Return a new password for each role (256 bits each)."""
    return {role: secrets.token_urlsafe(32) for role in ROLES}


def role_urls(
    superuser_dsn: str, database: str, passwords: Mapping[str, str] | None = None
) -> RoleUrls:
    """Return the URLs the four roles have on the server of a superuser's DSN."""

    def url(role: str) -> str:
        return _url(superuser_dsn, role, database, (passwords or {}).get(role))

    return RoleUrls(url(APP), url(OWNER), url(RELAY), url(MAINTENANCE))


def provision(
    superuser_dsn: str, database: str, *, passwords: Mapping[str, str] | None = None
) -> RoleUrls:
    """Make roles and database as they must be, and return how to log in.

    Safe to repeat: what stands is brought to the wanted shape, data is not
    touched. ``passwords`` maps each role to its password and replaces an older
    one; without it the roles have none (peer authentication decides).

    Raises:
        psycopg.Error: no connection, or the login is not a superuser's.
    """
    with psycopg.connect(superuser_dsn, autocommit=True) as connection:
        connection.execute("SELECT pg_advisory_lock(%s)", [_TURN])
        for role in ROLES:
            _make_role(connection, role, (passwords or {}).get(role))
        _make_database(connection, database)
    with psycopg.connect(superuser_dsn, dbname=database, autocommit=True) as connection:
        _shape_schema(connection)
    return role_urls(superuser_dsn, database, passwords)


def _make_role(connection: psycopg.Connection, role: str, password: str | None) -> None:
    name = sql.Identifier(role)
    known = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role])
    if not known.fetchone():
        connection.execute(sql.SQL("CREATE ROLE {}").format(name))
    bypass = "BYPASSRLS" if role == MAINTENANCE else "NOBYPASSRLS"
    connection.execute(
        sql.SQL(
            "ALTER ROLE {} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION {}"
        ).format(name, sql.SQL(bypass))
    )
    if password is not None:
        # Sent as its SCRAM verifier, so that no server log ever holds the password.
        verifier = connection.pgconn.encrypt_password(
            password.encode(), role.encode(), b"scram-sha-256"
        )
        connection.execute(
            sql.SQL("ALTER ROLE {} PASSWORD {}").format(name, verifier.decode())
        )


def _make_database(connection: psycopg.Connection, database: str) -> None:
    name, owner = sql.Identifier(database), sql.Identifier(OWNER)
    found = connection.execute(
        "SELECT 1 FROM pg_database WHERE datname = %s", [database]
    )
    if not found.fetchone():
        connection.execute(
            sql.SQL(
                "CREATE DATABASE {} OWNER {} TEMPLATE template0 ENCODING 'UTF8' {}"
            ).format(name, owner, sql.SQL(_locale(connection)))
        )
    roles = sql.SQL(", ").join(map(sql.Identifier, ROLES))
    connection.execute(sql.SQL("ALTER DATABASE {} OWNER TO {}").format(name, owner))
    connection.execute(sql.SQL("REVOKE ALL ON DATABASE {} FROM PUBLIC").format(name))
    connection.execute(
        sql.SQL("GRANT CONNECT ON DATABASE {} TO {}").format(name, roles)
    )


def _locale(connection: psycopg.Connection) -> str:
    """The ordering every installation shares: by code point."""
    if connection.info.server_version >= 170_000:
        return (
            "LOCALE_PROVIDER builtin BUILTIN_LOCALE 'C.UTF-8' "
            "LC_COLLATE 'C' LC_CTYPE 'C'"
        )
    return "LC_COLLATE 'C.UTF-8' LC_CTYPE 'C.UTF-8'"


def _shape_schema(connection: psycopg.Connection) -> None:
    """Only the owner makes things; the others use what it grants them."""
    owner, maintenance = sql.Identifier(OWNER), sql.Identifier(MAINTENANCE)
    users = sql.SQL(", ").join(map(sql.Identifier, (APP, RELAY, MAINTENANCE)))
    for statement in (
        sql.SQL("ALTER SCHEMA public OWNER TO {}").format(owner),
        sql.SQL("REVOKE ALL ON SCHEMA public FROM PUBLIC"),
        sql.SQL("GRANT USAGE ON SCHEMA public TO {}").format(users),
        # Backup, verification and erasure need every table; the application's and
        # the relay's rights are granted table by table in the migrations.
        sql.SQL(
            "ALTER DEFAULT PRIVILEGES FOR ROLE {} IN SCHEMA public "
            "GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {}"
        ).format(owner, maintenance),
        sql.SQL(
            "ALTER DEFAULT PRIVILEGES FOR ROLE {} IN SCHEMA public "
            "GRANT USAGE, SELECT ON SEQUENCES TO {}"
        ).format(owner, maintenance),
    ):
        connection.execute(statement)


def _url(dsn: str, role: str, database: str, password: str | None) -> str:
    """Rewrite a superuser's DSN into a URL of another role and database."""
    parts = {key: str(value) for key, value in conninfo_to_dict(dsn).items()}
    for taken in ("user", "password", "dbname"):
        parts.pop(taken, None)
    login = quote(role) + (f":{quote(password, safe='')}" if password else "")
    host, port = parts.get("host", ""), parts.get("port", "")
    place = ""
    if host and not host.startswith("/"):
        place = f"{host}:{port}" if port else host
        parts.pop("host")
        parts.pop("port", None)
    query = f"?{urlencode(parts)}" if parts else ""
    return f"postgresql://{login}@{place}/{quote(database, safe='')}{query}"
