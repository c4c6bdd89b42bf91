"""Idempotency-Key: a request that stores happens once, however often it is sent.

The key stands in the header as in draft-ietf-httpapi-idempotency-key-header, with
or without its quotes. A replay is answered with the first answer and the header
``Idempotency-Replayed``.
"""

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.http import HttpResponse
from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException
from rest_framework.request import Request

from cases.api.preconditions import etag
from cases.services import idempotency
from cases.services.idempotency import KeptAnswer
from cases.tenancy import Actor

__all__ = ["KeyRequired", "Reply", "digest_of", "key_of", "once", "respond"]

_KEY = re.compile(r'"([\x20-\x21\x23-\x7e]{1,80})"|([\x21\x23-\x7e]{1,80})')


class KeyRequired(APIException):
    """A request that stores, without a usable key."""

    status_code = 400
    default_code = "idempotency_key_required"


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer before it is bytes; ``version`` becomes the ETag."""

    body: dict[str, Any] | None = None
    status: int = 200
    version: int | None = None
    location: str = ""
    headers: dict[str, str] = field(default_factory=dict)

    def kept(self) -> KeptAnswer:
        """Return status, headers and the text of the body."""
        headers = dict(self.headers)
        if self.version is not None:
            headers["ETag"] = etag(self.version)
        if self.location:
            headers["Location"] = self.location
        text = ""
        if self.body is not None:
            text = json.dumps(
                self.body, ensure_ascii=False, allow_nan=False, separators=(",", ":")
            )
        return KeptAnswer(self.status, headers, text)


def respond(answer: KeptAnswer) -> HttpResponse:
    """Return the answer as HTTP."""
    headers = dict(answer.headers)
    if answer.body:
        headers.setdefault("Content-Type", "application/json")
    response = HttpResponse(answer.body.encode(), status=answer.status, headers=headers)
    if not answer.body:
        del response.headers["Content-Type"]
    return response


def key_of(request: Request) -> str:
    """Return the key of a request.

    Raises:
        KeyRequired: none, too long, or characters that do not print.
    """
    match = _KEY.fullmatch(request.headers.get("Idempotency-Key", "").strip())
    if match is None:
        raise KeyRequired(
            _(
                "Send an Idempotency-Key: 1 to 80 printable characters, a new one for "
                "every new request, the same one for a retry."
            )
        )
    return match[1] or match[2]


def digest_of(request: Request) -> str:
    """Return the SHA-256 of the body's bytes."""
    return hashlib.sha256(request._request.body).hexdigest()


def once(
    request: Request,
    work: Callable[[], Reply],
    *,
    actor: Actor,
    digest: str,
    at: datetime,
    replay: KeptAnswer | None = None,
) -> HttpResponse:
    """Do the work and keep its answer, or give the answer that was kept.

    ``replay``: what a retry gets instead, where the answer holds a secret.

    Raises:
        KeyRequired, KeyReused: see there; and whatever the work raises.
    """
    key, route = key_of(request), request.path
    kept = idempotency.key_claim(
        actor=actor, route=route, key=key, body_sha256=digest, at=at
    )
    if kept is not None:
        response = respond(kept)
        response.headers["Idempotency-Replayed"] = "true"
        return response
    answer = work().kept()
    idempotency.answer_keep(actor=actor, route=route, key=key, answer=replay or answer)
    return respond(answer)
