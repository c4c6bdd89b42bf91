"""Signing from a program: see what would be signed, get a grant, sign with it.

1. A preview answers exactly what would be signed and its SHA-256; it stores nothing.
2. A grant is asked for over that digest with password or one-time code.
3. The signing command takes ``"signature": {"grant": …, "meaning": …}``.
"""

import json
from collections.abc import Mapping
from typing import Any, ClassVar

from django.http import HttpResponse
from rest_framework.request import Request

from cases import clock, policies
from cases.api import errors
from cases.api.authentication import actor_of
from cases.api.documented import Operation
from cases.api.endpoint import Endpoint
from cases.api.fields import Body
from cases.api.once import Reply, once
from cases.api.representations.values import iso
from cases.api.scalars import pattern, text, word
from cases.api.views.flags import ANSWER, answer_of
from cases.canonical import canonical_json, sha256_hex
from cases.errors import Invalid, NotFound
from cases.lifecycle import CaseState, Command, next_state
from cases.selectors.cases import case_get
from cases.selectors.records import flag_get
from cases.services import answers, flags, submission
from cases.services.idempotency import KeptAnswer
from cases.services.signing import GRANT_LIFE, PURPOSES, grant_issue
from cases.tenancy import Actor

__all__ = [
    "AnswerPreview",
    "ChangeRequestPreview",
    "CountersignPreview",
    "ResubmitPreview",
    "SigningGrants",
    "SubmitPreview",
]


class _Preview(Endpoint):
    """What a command would sign; asks what the command asks, stores nothing."""

    command: ClassVar[Command]
    purpose: ClassVar[str]
    body: ClassVar[Body] = Body()

    @classmethod
    def described(cls) -> dict[str, Operation]:
        """Return the one POST, of concrete previews only."""
        if "command" not in cls.__dict__:
            return {}
        return {"post": Operation(request=cls.body.schema, returns="SigningPreview")}

    def post(self, request: Request, code: str) -> HttpResponse:
        """Answer purpose, target, content and digest."""
        actor = actor_of(request)
        content = self.content(actor, code, request.data)
        return self.answer(
            {
                "purpose": self.purpose,
                "target": code,
                "content": content,
                "content_sha256": sha256_hex(canonical_json(content)),
            }
        )

    def allowed(self, actor: Actor, state: str) -> None:
        """Ask whether the role may and the state allows it."""
        policies.require(actor, self.command)
        next_state(CaseState(state), self.command)

    def content(self, actor: Actor, code: str, data: object) -> dict[str, Any]:
        """Return exactly what would be signed."""
        raise NotImplementedError


class SubmitPreview(_Preview):
    """Show what submitting the draft would sign."""

    command = Command.SUBMIT
    purpose = "prescription"

    def content(self, actor: Actor, code: str, data: object) -> dict[str, Any]:
        """Return the prescription."""
        case = case_get(actor=actor, code=code)
        self.allowed(actor, case.state)
        self.body.read(data)
        return submission.submission_content(case)


class ResubmitPreview(SubmitPreview):
    """Show what resubmitting the corrected case would sign."""

    command = Command.RESUBMIT


class ChangeRequestPreview(_Preview):
    """Show what the change request would sign."""

    command = Command.CHANGE_REQUEST
    purpose = "change_request"
    body = Body({"text": text(4000, needed=True)})

    def content(self, actor: Actor, code: str, data: object) -> dict[str, Any]:
        """Return the change request."""
        case = case_get(actor=actor, code=code)
        self.allowed(actor, case.state)
        values = self.body.read(data)
        return flags.change_request_content(case=case, text=values["text"])


class AnswerPreview(_Preview):
    """Show what the answer to a query would sign."""

    command = Command.ANSWER
    purpose = "answer"
    body = ANSWER

    def content(self, actor: Actor, code: str, data: object) -> dict[str, Any]:
        """Return the answer."""
        flag = flag_get(actor=actor, code=code)
        self.allowed(actor, flag.case.state)
        return answers.answer_preview(
            case=flag.case,
            flag=flag,
            answer=answer_of(self.body.read(data)),
            at=clock.now(),
        )


class CountersignPreview(_Preview):
    """Show what the countersignature would sign."""

    command = Command.COUNTERSIGN
    purpose = "countersign"

    def content(self, actor: Actor, code: str, data: object) -> dict[str, Any]:
        """Return the countersignature."""
        flag = flag_get(actor=actor, code=code)
        self.allowed(actor, flag.case.state)
        self.body.read(data)
        return answers.countersign_content(
            case=flag.case, flag=flag, answer=answers.pending_answer(flag)
        )


# A retry never gets another secret, and the first one is kept nowhere.
_ISSUED = KeptAnswer(
    409,
    {"Content-Type": errors.CONTENT_TYPE},
    json.dumps(
        errors.problem(
            409,
            "grant-already-issued",
            "This grant was already issued and its secret is not kept. Ask for a new "
            "one with a new Idempotency-Key.",
        )
    ),
)


class SigningGrants(Endpoint):
    """Show password or one-time code, get a single-use grant for five minutes."""

    throttle_scope = "grants"
    body: ClassVar[Body] = Body(
        {
            "purpose": word(PURPOSES),
            "target": text(10, needed=True),
            "content_sha256": pattern(
                "[0-9a-f]{64}", "Write the digest: 64 hexadecimal digits.", needed=True
            ),
            "password": text(1000),
            "totp": text(20),
        }
    )
    operations: ClassVar[dict[str, Operation]] = {
        "post": Operation(
            request=body.schema, returns="SigningGrant", status=201, once=True
        )
    }

    def post(self, request: Request) -> HttpResponse:
        """Issue the grant."""
        actor, at = actor_of(request), clock.now()
        values = self.body.read(request.data)
        self._target(actor, values)

        def work() -> Reply:
            secret = grant_issue(actor=actor, at=at, **values)
            expires = {"grant": secret, "expires_at": iso(at + GRANT_LIFE)}
            return Reply(expires, status=201)

        return once(
            request, work, actor=actor, digest=_about(values), at=at, replay=_ISSUED
        )

    def _target(self, actor: Actor, values: Mapping[str, Any]) -> None:
        look = flag_get if values["purpose"] in {"answer", "countersign"} else case_get
        try:
            look(actor=actor, code=values["target"])
        except NotFound as error:
            raise Invalid.one(
                "/target", "Name the case or the query that is to be signed."
            ) from error


def _about(values: Mapping[str, Any]) -> str:
    """Return a digest of what the grant is for, without the credential."""
    about = [values[key] for key in ("purpose", "target", "content_sha256")]
    return sha256_hex(canonical_json(about))
