"""What hangs on a case: its thread, its timeline, its work orders."""

from typing import ClassVar
from uuid import uuid4

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy
from rest_framework.exceptions import APIException
from rest_framework.request import Request

from cases.api.authentication import actor_of
from cases.api.documented import Operation
from cases.api.endpoint import Call, CaseCommand, Endpoint
from cases.api.fields import Body, listing
from cases.api.once import Reply
from cases.api.representations.records import (
    message_json,
    timeline_json,
    work_order_json,
)
from cases.api.scalars import text, truth
from cases.api.views.files import download
from cases.lifecycle import Command
from cases.selectors.cases import case_detail
from cases.selectors.records import (
    timeline_rows,
    work_order_get,
    work_order_pdf,
)
from cases.services.thread import MAX_MESSAGE, message_post

__all__ = [
    "Messages",
    "Timeline",
    "WorkOrder",
    "WorkOrderDocument",
]


class Messages(CaseCommand):
    """Read the thread of a case; write to the other side, or a note within."""

    command = Command.MESSAGE
    versioned = False
    success = 201
    returns = "Message"
    body = Body(
        {
            "body": text(MAX_MESSAGE, needed=True),
            "internal": truth(),
            "client_id": text(40),
            "attachments": listing(text(10), at_most=20),
        }
    )

    @classmethod
    def described(cls) -> dict[str, Operation]:
        """Return reading and writing."""
        return {"get": Operation(returns="MessageList"), **super().described()}

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer all messages, oldest first."""
        actor = actor_of(request)
        detail = case_detail(actor=actor, code=code)
        items = [
            message_json(row, [file.code for file in row.attachments.all()])
            for row in detail.messages
            if not (row.internal and actor.is_clinic)
        ]
        return self.answer({"items": items})

    def perform(self, call: Call) -> Reply:
        """Post. The same ``client_id`` again is the same message."""
        values = {**call.data, "client_id": call.data["client_id"] or uuid4().hex}
        message = message_post(actor=call.actor, code=call.code, at=call.at, **values)
        return Reply(
            message_json(message, sorted(values["attachments"])),
            status=201,
            location=reverse("api_messages", args=[call.code]),
        )


class Timeline(Endpoint):
    """Tell everything that happened to a case, in order, with its chained hash."""

    operations: ClassVar[dict[str, Operation]] = {"get": Operation(returns="Timeline")}

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the entries and whether the chain holds."""
        actor = actor_of(request)
        return self.answer(timeline_json(timeline_rows(actor=actor, code=code), actor))


class WorkOrder(Endpoint):
    """Show a work order: number, status, frozen content, digests."""

    operations: ClassVar[dict[str, Operation]] = {"get": Operation(returns="WorkOrder")}

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the record."""
        order = work_order_get(actor=actor_of(request), code=code)
        return self.answer(work_order_json(order, order.case.code))


class NotRendered(APIException):
    """The worker has not made the document yet."""

    status_code = 503
    default_code = "not_rendered"
    default_detail = gettext_lazy(
        "The document is being made. Ask again in some seconds."
    )
    wait = 5


class WorkOrderDocument(Endpoint):
    """Download the document of a work order; 503 until the worker has made it."""

    operations: ClassVar[dict[str, Operation]] = {
        "get": Operation(media_type="application/pdf")
    }

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the original bytes under a name that says nothing of the case."""
        order, content = work_order_pdf(actor=actor_of(request), code=code)
        if content is None:
            raise NotRendered
        name = f"work-order-{order.code}.pdf"
        return download(content, content_type="application/pdf", name=name)
