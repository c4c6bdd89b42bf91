"""The bases of all views of the API: how a call is let in and answered.

Order of questions, the same for every call: signed in (401), readable (400, 413,
415), visible (404), role (403), Idempotency-Key (400), replay, If-Match (428), body
(422); then the service asks for version (412), state (409) and meaning (422).
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.throttling import ScopedRateThrottle
from rest_framework.views import APIView

from cases import clock, policies
from cases.api.authentication import actor_of
from cases.api.documented import Operation, document, pattern_of
from cases.api.fields import Body
from cases.api.once import Reply, digest_of, once, respond
from cases.api.parsers import StrictJSONParser
from cases.api.preconditions import stated_version
from cases.canonical import secret_hash
from cases.errors import NotFound
from cases.lifecycle import Command
from cases.selectors.cases import case_get
from cases.tenancy import Actor

__all__ = ["Call", "CaseCommand", "Endpoint", "PerToken", "Reply"]


class _OneRenderer(BaseContentNegotiation):
    """What the API answers does not depend on Accept."""

    def select_parser(
        self, request: Request, parsers: Iterable[BaseParser]
    ) -> BaseParser | None:
        """Return the parser of the request's media type."""
        media_type = request.content_type.split(";")[0].strip().lower()
        return next((p for p in parsers if p.media_type == media_type), None)

    def select_renderer(
        self,
        request: Request,
        renderers: Iterable[BaseRenderer],
        format_suffix: str | None = None,
    ) -> tuple[BaseRenderer, str]:
        """Return the first renderer."""
        first = next(iter(renderers))
        return first, str(first.media_type)


class PerToken(ScopedRateThrottle):
    """Counts the calls of one token, or of one membership in a session."""

    def get_cache_key(self, request: Request, view: APIView) -> str | None:
        """Return the key under which this caller's calls are counted."""
        # The token alone: the same one after more spaces is no other caller.
        token = request.headers.get("Authorization", "").partition(" ")[2].strip()
        ident = secret_hash(token) if token else f"m{self._member(request)}"
        return str(self.cache_format % {"scope": self.scope, "ident": ident})

    def _member(self, request: Request) -> int:
        return actor_of(request).membership_id


@dataclass(frozen=True, slots=True)
class Call:
    """One command as it came in. ``version`` is 0 where none is asked for."""

    actor: Actor
    code: str
    at: datetime
    data: Mapping[str, Any] = field(default_factory=dict)
    version: int = 0


class Endpoint(APIView):
    """A view of the API; ``operation`` says what the OpenAPI document tells of it."""

    content_negotiation_class = _OneRenderer
    metadata_class = None
    parser_classes: Sequence[type[BaseParser]] = (StrictJSONParser,)
    throttle_classes = (PerToken,)
    http_method_names = ["get", "head", "post", "patch"]
    operations: ClassVar[dict[str, Operation]] = {}

    def __init_subclass__(cls, **kwargs: Any) -> None:
        """Hand the operations of the class itself to the OpenAPI document."""
        super().__init_subclass__(**kwargs)
        document(cls, cls.described())

    @classmethod
    def described(cls) -> dict[str, Operation]:
        """Return method → operation."""
        return cls.operations if "operations" in cls.__dict__ else {}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Let the caller in; a code no row can have is not found."""
        super().initial(request, *args, **kwargs)
        for name, part in kwargs.items():
            if not re.fullmatch(pattern_of(name), part, re.ASCII):
                raise NotFound

    def finalize_response(
        self, request: Request, response: Any, *args: Any, **kwargs: Any
    ) -> Any:
        """Say that the answer depends on who asks."""
        final = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(final, ("Authorization",))
        return final

    def answer(
        self, body: dict[str, Any], *, version: int | None = None
    ) -> HttpResponse:
        """Answer a question."""
        return respond(Reply(body, version=version).kept())

    @property
    def http(self) -> HttpRequest:
        """Django's request."""
        found: HttpRequest = self.request._request
        return found


class CaseCommand(Endpoint):
    """``POST cases/{code}/<verb>``: one command of the lifecycle.

    A subclass names command, body and answer, and performs the one service call.
    """

    command: ClassVar[Command]
    body: ClassVar[Body] = Body()
    versioned: ClassVar[bool] = True
    success: ClassVar[int] = 200
    returns: ClassVar[str] = "Case"

    @classmethod
    def described(cls) -> dict[str, Operation]:
        """Return the one POST, of concrete commands only."""
        if "command" not in cls.__dict__:
            return {}
        return {
            "post": Operation(
                request=cls.body.schema,
                returns=cls.returns,
                status=cls.success,
                versioned=cls.versioned,
                once=True,
            )
        }

    def post(self, request: Request, code: str) -> HttpResponse:
        """Do it once."""
        actor, at = actor_of(request), clock.now()
        data = request.data
        self.admit(actor, code)

        def work() -> Reply:
            version = stated_version(request) if self.versioned else 0
            values = self.body.read(data)
            return self.perform(Call(actor, code, at, values, version))

        return once(request, work, actor=actor, digest=digest_of(request), at=at)

    def admit(self, actor: Actor, code: str) -> None:
        """Ask whether the case is there for the actor and the role fits.

        Raises:
            NotFound, NotAllowed: see there.
        """
        case_get(actor=actor, code=code)
        policies.require(actor, self.command)

    def perform(self, call: Call) -> Reply:
        """Call the service and return what to answer."""
        raise NotImplementedError
