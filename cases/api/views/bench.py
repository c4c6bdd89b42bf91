"""After the check: release, try-in, return, dispatch, receipt, ends."""

from typing import Any, ClassVar

from django.db import transaction
from django.urls import reverse

from cases import policies, storage
from cases.api.endpoint import Call, CaseCommand
from cases.api.fields import Body
from cases.api.once import KeyRequired, Reply, key_of
from cases.api.representations.records import work_order_json
from cases.api.scalars import text
from cases.api.views.cases import case_reply
from cases.api.views.shared import NOTE
from cases.errors import NotFound
from cases.lifecycle import Command
from cases.selectors.cases import case_detail
from cases.services import bench, drafts, idempotency, release
from cases.tenancy import Actor

__all__ = [
    "Cancel",
    "Discard",
    "Dispatch",
    "Receipt",
    "Release",
    "Resume",
    "Return",
    "TryIn",
]


class _Noted(CaseCommand):
    """A step with a note; ``step`` is its service."""

    body = Body({"note": NOTE})
    step: ClassVar[Any]

    def perform(self, call: Call) -> Reply:
        """Take the step."""
        self.step(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **call.data,
        )
        return case_reply(call.actor, call.code)


class Resume(_Noted):
    """Take up a deferred case: new records are due."""

    command = Command.RESUME
    step = staticmethod(bench.case_resume)


class TryIn(_Noted):
    """Send the work to the clinic for a try-in."""

    command = Command.TRY_IN
    step = staticmethod(bench.case_try_in)


class Return(_Noted):
    """Return the work with notes: after the try-in, or for adjustment."""

    command = Command.RETURN
    body = Body({"note": text(4000, needed=True)})
    step = staticmethod(bench.case_return)


class Dispatch(_Noted):
    """Send the finished work to the clinic (note: carrier and reference)."""

    command = Command.DISPATCH
    step = staticmethod(bench.case_dispatch)


class Receipt(_Noted):
    """Confirm that the work arrived at the clinic."""

    command = Command.RECEIPT
    step = staticmethod(bench.case_receipt)


class Cancel(_Noted):
    """Cancel before dispatch; open queries are withdrawn."""

    command = Command.CANCEL
    body = Body({"reason": text(4000, needed=True), "charged_work": text(4000)})
    step = staticmethod(bench.case_cancel)


class Release(CaseCommand):
    """Release the work order of a cleared case; a worker makes the document."""

    command = Command.RELEASE
    success = 201
    returns = "WorkOrder"

    def perform(self, call: Call) -> Reply:
        """Release."""
        order = release.work_order_release(
            actor=call.actor, code=call.code, version=call.version, at=call.at
        )
        detail = case_detail(actor=call.actor, code=call.code)
        return Reply(
            work_order_json(order, call.code),
            status=201,
            version=detail.case.version,
            location=reverse("api_work_order", args=[order.code]),
        )


class Discard(CaseCommand):
    """Delete a draft that nobody else ever saw."""

    command = Command.DISCARD
    success = 204
    returns = ""

    def admit(self, actor: Actor, code: str) -> None:
        """Let a retry through to its answer, although the draft is gone."""
        try:
            super().admit(actor, code)
        except NotFound:
            if not self._known(actor):
                raise
            policies.require(actor, self.command)

    def _known(self, actor: Actor) -> bool:
        try:
            key = key_of(self.request)
        except KeyRequired:
            return False
        return idempotency.key_known(actor=actor, route=self.request.path, key=key)

    def perform(self, call: Call) -> Reply:
        """Discard; files go once the database has let go of them."""
        keys = drafts.case_discard(
            actor=call.actor, code=call.code, version=call.version
        )
        transaction.on_commit(lambda: _delete(keys), robust=True)
        return Reply(status=204)


def _delete(keys: list[str]) -> None:
    for key in keys:
        storage.delete(key)
