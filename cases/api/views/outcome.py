"""What happened in the mouth: fit report; remakes, and what each side says of them."""

from typing import Any, ClassVar

from django.http import HttpResponse
from django.urls import reverse
from rest_framework.request import Request

from cases import clock, policies
from cases.api.authentication import actor_of
from cases.api.documented import Operation
from cases.api.endpoint import Call, CaseCommand, Endpoint
from cases.api.fields import Body, listing, nested, nullable
from cases.api.once import Reply, digest_of, once
from cases.api.representations.cases import remake_json, summary
from cases.api.representations.remakes import remake_whole
from cases.api.scalars import decimal, millimetres, text, truth, whole, word, words
from cases.api.views.cases import case_reply
from cases.api.views.shared import NOTE
from cases.enums import Attribution
from cases.lifecycle import Command
from cases.selectors.cases import case_detail
from cases.selectors.remakes import remake_get
from cases.services import bench, outcome, remake_parts, remakes
from cases.services.outcome import FitInput
from cases.services.remake_parts import LossInput, RemakeDetails

__all__ = ["Fit", "InternalRemake", "OneRemake", "RemakeCase", "RemakeStatements"]

_TEETH = listing(text(2), at_most=32)
# A mouth has sixteen teeth in an arch; more than all of them says nothing.
_LOSS = nullable(
    nested(
        Body(
            {
                "amount": decimal("0", "99999999.99"),
                "minutes": whole(0, 100_000),
                "days_lost": whole(0, 3650),
            }
        )
    )
)
_BESIDE = {
    "attribution": word(remake_parts.ATTRIBUTIONS, needed=False),
    "note": NOTE,
    "teeth": _TEETH,
    "evidence": listing(text(10), at_most=remake_parts.MAX_EVIDENCE),
    "loss": _LOSS,
}
# One of the common list, or the code of a cause the laboratory has added.
_CAUSE = text(40, needed=True)


def _remake(data: dict[str, Any]) -> dict[str, Any]:
    """Return what the services take, from a body of either kind of remake."""
    loss = data["loss"]
    details = RemakeDetails(
        teeth=data["teeth"],
        evidence=data["evidence"],
        loss=None if loss is None else LossInput(**loss),
    )
    told = ("cause", "detected_at", "attribution", "note")
    return {**{name: data[name] for name in told}, "details": details}


class Fit(CaseCommand):
    """Report what happened in the mouth; the case is fitted or not fitted."""

    command = Command.FIT
    body = Body(
        {
            "fitted": truth(needed=True),
            "findings": words(outcome.FINDINGS),
            "opposing_adjusted_mm": millimetres("0", "5"),
            "opposing_teeth": _TEETH,
            "minutes": whole(0, 600),
            "coping_used": truth(default=None),
            "note": NOTE,
        }
    )

    def perform(self, call: Call) -> Reply:
        """Report."""
        outcome.fit_report(
            actor=call.actor,
            code=call.code,
            version=call.version,
            report=FitInput(**call.data),
            at=call.at,
        )
        return case_reply(call.actor, call.code)


class InternalRemake(CaseCommand):
    """Record work made again before dispatch; the case stays in fabrication."""

    command = Command.INTERNAL_REMAKE
    body = Body(
        {
            "cause": _CAUSE,
            "detected_at": word(("", *remake_parts.DETECTED_BEFORE), needed=False),
            **_BESIDE,
        }
    )

    def perform(self, call: Call) -> Reply:
        """Record."""
        bench.internal_remake(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **_remake(dict(call.data)),
        )
        return case_reply(call.actor, call.code)


class RemakeCase(CaseCommand):
    """Record a remake and open the linked new draft; the state stays."""

    command = Command.REMAKE
    success = 201
    returns = "RemakeOfCase"
    body = Body(
        {
            "cause": _CAUSE,
            "detected_at": word(("", *remake_parts.DETECTED_AFTER), needed=False),
            **_BESIDE,
        }
    )

    def perform(self, call: Call) -> Reply:
        """Open the remake."""
        outcome.remake_open(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **_remake(dict(call.data)),
        )
        detail = case_detail(actor=call.actor, code=call.code)
        remake = remake_json(detail.remakes[-1], call.actor)
        return Reply(
            {**remake, "case": summary(detail)},
            status=201,
            version=detail.case.version,
            location=reverse("api_case", args=[remake["new_case"]]),
        )


class OneRemake(Endpoint):
    """Show a remake: statements of both sides, what it goes back to, evidence.

    ``loss`` is the own side's and nobody else's.
    """

    operations: ClassVar[dict[str, Operation]] = {"get": Operation(returns="Remake")}

    def get(self, request: Request, code: str, remake: str) -> HttpResponse:
        """Answer the remake."""
        actor = actor_of(request)
        detail = remake_get(actor=actor, code=code, remake=int(remake))
        return self.answer(remake_whole(detail, actor))


class RemakeStatements(Endpoint):
    """State to whom a remake goes back, as the own side sees it; the latest counts.

    Statements are only ever added, so no version of the case is asked for.
    """

    body = Body(
        {"attribution": word(tuple(Attribution.values)), "note": NOTE},
    )
    operations: ClassVar[dict[str, Operation]] = {
        "post": Operation(request=body.schema, returns="Remake", status=201, once=True)
    }

    def post(self, request: Request, code: str, remake: str) -> HttpResponse:
        """State it once."""
        actor, at, data = actor_of(request), clock.now(), request.data
        number = int(remake)
        remake_get(actor=actor, code=code, remake=number)
        policies.require_right(actor, "remakes")

        def work() -> Reply:
            remakes.remake_state(
                actor=actor, code=code, remake=number, at=at, **self.body.read(data)
            )
            detail = remake_get(actor=actor, code=code, remake=number)
            return Reply(
                remake_whole(detail, actor),
                status=201,
                location=reverse("api_remake", args=[code, remake]),
            )

        return once(request, work, actor=actor, digest=digest_of(request), at=at)
