"""Programs that call the API as the tests' people, and hold it to its document.

Every answer of every test is compared with the OpenAPI document: what the document
does not promise (a field more, a number as text, a status it does not name) fails.
"""

import json
from dataclasses import dataclass, field
from functools import cache
from typing import Any
from uuid import uuid4

import jsonschema  # type: ignore[import-untyped]  # -- it ships no types
import pytest
from django.core.cache import cache as django_cache
from django.test import Client
from django.urls import Resolver404
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.settings import patched_settings

from cases.api.views.schema import Schema
from tests import factories
from tests.personas import Persona, Personas
from tests.play import sufficient_unit, unit

API = "/api/v1/"
SIGNED = {
    "submit": "prescription",
    "resubmit": "prescription",
    "change-request": "change_request",
    "answer": "answer",
    "countersign": "countersign",
}


@cache
def openapi() -> dict[str, Any]:
    """The document, generated once."""
    with patched_settings(Schema.custom_settings):
        return SchemaGenerator(api_version="1").get_schema(request=None, public=True)


@cache
def validator(schema: str) -> jsonschema.Draft202012Validator:
    """Return what holds an answer against one schema of the document."""
    whole = {**json.loads(schema), "components": openapi()["components"]}
    return jsonschema.Draft202012Validator(whole)


def _promised(response: Any, method: str) -> dict[str, Any] | None:
    """Return the document's words for an answer; None where no view answered."""
    try:
        route = response.resolver_match.route
    except Resolver404:
        return None
    path = "/" + route.replace("<str:", "{").replace(">", "}")
    operation = openapi()["paths"].get(path, {}).get(method)
    if operation is None:
        return None
    answers = operation["responses"]
    status = str(response.status_code)
    found = answers.get(status) or answers.get(f"{status[0]}XX")
    assert found, (
        f"{method} {path} answers {status}, the document knows {list(answers)}"
    )
    return found


def hold(response: Any, method: str) -> None:
    """Fail unless the answer is what the document promises."""
    if response.status_code in {304, 405}:
        return
    promised = _promised(response, method)
    content = (promised or {}).get("content", {})
    media = response.headers.get("Content-Type", "")
    if promised is None or (not content and not response.content):
        return
    assert media.split(";")[0] in content or not media.startswith("application/json")
    schema = content.get(media, {}).get("schema")
    if schema and media.endswith("json"):
        validator(json.dumps(schema)).validate(json.loads(response.content))


@dataclass
class Caller:
    """A program with one person's token."""

    persona: Persona
    token: str
    client: Client = field(default_factory=Client)

    def request(self, method: str, path: str, **more: Any) -> Any:
        """Send a request and hold its answer to the document."""
        headers = {"Authorization": f"Bearer {self.token}", **more.pop("headers", {})}
        full = path if path.startswith("/") else API + path
        call = getattr(self.client, method)
        response = call(
            full,
            headers={k: v for k, v in headers.items() if v is not None},
            **more,
        )
        hold(response, method)
        return response

    def get(self, path: str, **headers: str) -> Any:
        """Ask."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.request("get", path, headers=named)

    def post(
        self,
        path: str,
        body: Any = None,
        *,
        key: str | None = "",
        match: int | str | None = None,
    ) -> Any:
        """Send a command; a fresh key unless one is given (None: no key)."""
        return self._send("post", path, body, key=key, match=match)

    def patch(self, path: str, body: Any, *, match: int | str | None = None) -> Any:
        """Change a draft."""
        return self._send("patch", path, body, key=None, match=match)

    def _send(self, method: str, path: str, body: Any, *, key: Any, match: Any) -> Any:
        raw = body if isinstance(body, bytes | str) else json.dumps(body or {})
        headers = {
            "Idempotency-Key": (key or str(uuid4())) if key is not None else None,
            "If-Match": f'"{match}"' if isinstance(match, int) else match,
        }
        return self.request(
            method, path, data=raw, content_type="application/json", headers=headers
        )

    def case(self, code: str) -> dict[str, Any]:
        """Return a case as this person sees it."""
        response = self.get(f"cases/{code}")
        assert response.status_code == 200, response.content
        return response.json()

    def version(self, code: str) -> int:
        """Return the version of a case."""
        return int(self.case(code)["version"])

    def do(self, code: str, verb: str, body: Any = None, *, expect: int = 200) -> Any:
        """Carry out a command of a case on its current version."""
        response = self.post(f"cases/{code}/{verb}", body, match=self.version(code))
        assert response.status_code == expect, response.content
        return response.json()

    def grant(self, path: str, body: Any = None) -> dict[str, str]:
        """Look at what would be signed and get a grant for it."""
        shown = self.post(f"{path}/preview", body, key=None)
        assert shown.status_code == 200, shown.content
        seen = shown.json()
        assert seen["purpose"] == SIGNED[path.rsplit("/", 1)[1]]
        issued = self.post(
            "signing-grants",
            {
                "purpose": seen["purpose"],
                "target": seen["target"],
                "content_sha256": seen["content_sha256"],
                "password": factories.PASSWORD,
            },
        )
        assert issued.status_code == 201, issued.content
        return {"grant": issued.json()["grant"], "meaning": "I authorise this work."}

    def sign(
        self, path: str, code: str, body: Any = None, *, shown: Any = None, expect=200
    ) -> Any:
        """Carry out a signing command with a grant of its own."""
        stated = body or {}
        signature = self.grant(path, stated if shown is None else shown)
        response = self.post(
            path, {**stated, "signature": signature}, match=self.version(code)
        )
        assert response.status_code == expect, response.content
        return response.json()


@dataclass
class Api:
    """The tests' people as callers, and cases brought as far as a test needs."""

    personas: Personas
    callers: dict[str, Caller] = field(default_factory=dict)

    def __getattr__(self, name: str) -> Caller:
        """Return the caller of a persona."""
        if name.startswith("_") or name in {"personas", "callers"}:
            raise AttributeError(name)
        if name not in self.callers:
            persona = self.personas.named(name)
            token = factories.make_token(persona.actor)
            self.callers[name] = Caller(persona, token)
        return self.callers[name]

    def draft_body(self, *units: dict, **more: Any) -> dict[str, Any]:
        """Return the body of a draft for laboratory L."""
        return {
            "laboratory": self.personas.laboratory.code,
            "patient": {"reference": "P-100"},
            "units": list(units) or [unit()],
            **more,
        }

    def draft(self, *units: dict, **more: Any) -> str:
        """Begin a draft and return its code."""
        response = self.clinician.post("cases", self.draft_body(*units, **more))
        assert response.status_code == 201, response.content
        return response.json()["code"]

    def submitted(self, *units: dict) -> str:
        """Bring a case to the laboratory's door."""
        code = self.draft(*units)
        self.clinician.sign(f"cases/{code}/submit", code)
        return code

    def at_check(self, *units: dict) -> str:
        """Bring a case to the technician."""
        code = self.submitted(*units)
        self.technician.do(code, "receive", {"contents": ["impression"]})
        return code

    def flagged(self, *units: dict) -> tuple[str, str]:
        """Bring a short case on hold; return case and flag."""
        code = self.at_check(*units)
        flag = self.technician.do(
            code,
            "flags",
            {"reasons": ["clearance"], "text": "Short over the lingual cusps."},
            expect=201,
        )
        return code, flag["code"]

    def released(self) -> tuple[str, str]:
        """Bring a sufficient case to the bench; return case and work order."""
        code = self.at_check(sufficient_unit())
        self.technician.do(code, "clear")
        order = self.technician.do(code, "release", expect=201)
        return code, order["code"]

    def dispatched(self) -> str:
        """Bring a sufficient case back to the clinic."""
        code, _order = self.released()
        self.technician.do(code, "dispatch", {"note": "By courier."})
        return code


@pytest.fixture
def api(personas: Personas) -> Api:
    """Everybody as callers of the API."""
    django_cache.clear()
    return Api(personas)
