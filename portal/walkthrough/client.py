"""A person as a program: one token, one base URL, the standard library's HTTP."""

import json
import urllib.error
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

__all__ = ["API", "Answer", "Person", "fetch"]

API = "/api/v1/"
PATIENCE = 60.0  # seconds for one answer, on a busy machine
# A proxy of the environment has no business between us and this machine.
_OPENER = urllib.request.build_opener(urllib.request.ProxyHandler({}))


@dataclass(frozen=True, slots=True)
class Answer:
    """Status, headers (names in lower case) and bytes of an answer."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    def json(self) -> Any:
        """Return the body as JSON; nothing for an empty one."""
        return json.loads(self.body) if self.body else None

    @property
    def problem(self) -> str:
        """The name of the problem (RFC 9457), or empty."""
        if "problem+json" not in self.headers.get("content-type", ""):
            return ""
        return str(self.json()["type"]).rsplit(":", 1)[-1]

    def said(self) -> str:
        """Return status and the beginning of the body, for a report."""
        return f"{self.status} {self.body[:400].decode(errors='replace')}"


def fetch(
    url: str,
    *,
    method: str = "GET",
    headers: Mapping[str, str] | None = None,
    body: bytes | None = None,
) -> Answer:
    """Send one request and return its answer, whatever its status.

    Raises:
        OSError: nobody answers.
    """
    request = urllib.request.Request(  # noqa: S310 -- the caller's own server
        url, data=body, method=method, headers=dict(headers or {})
    )
    try:
        with _OPENER.open(request, timeout=PATIENCE) as response:
            return _answer(response.status, response.headers, response.read())
    except urllib.error.HTTPError as error:
        with error:
            return _answer(error.code, error.headers, error.read())


def _answer(status: int, headers: Any, body: bytes) -> Answer:
    return Answer(status, {name.lower(): v for name, v in headers.items()}, body)


@dataclass(frozen=True, slots=True)
class Person:
    """One of the people of a credentials file."""

    base_url: str
    role: str
    organisation: str
    name: str
    email: str
    password: str = field(repr=False)
    token: str = field(repr=False)

    def __str__(self) -> str:
        return f"{self.name}, {self.role.replace('_', ' ')}, {self.organisation}"

    def get(self, path: str, **headers: str) -> Answer:
        """Ask; header names with underscores for hyphens."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return self._send("GET", path, named, None)

    def post(
        self,
        path: str,
        body: Mapping[str, Any] | None = None,
        *,
        match: int | None = None,
        key: str | None = None,
    ) -> Answer:
        """Send a command under a fresh Idempotency-Key unless one is given."""
        headers = {
            "Content-Type": "application/json",
            "Idempotency-Key": key or str(uuid4()),
        }
        if match is not None:
            headers["If-Match"] = f'"{match}"'
        return self._send("POST", path, headers, json.dumps(body or {}).encode())

    def _send(
        self, method: str, path: str, headers: dict[str, str], body: bytes | None
    ) -> Answer:
        return fetch(
            f"{self.base_url}{API}{path}",
            method=method,
            headers={"Authorization": f"Bearer {self.token}", **headers},
            body=body,
        )
