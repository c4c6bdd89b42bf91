"""The query and its settlement: flags, change requests, answers, countersignatures."""

from collections.abc import Mapping
from typing import Any

from django.urls import reverse

from cases import policies
from cases.api.endpoint import Call, CaseCommand
from cases.api.fields import Body, listing, mapping
from cases.api.once import Reply
from cases.api.representations.cases import summary
from cases.api.representations.flags import flag_json
from cases.api.scalars import day, text, truth, word
from cases.api.views.shared import SIGNATURE, pairs, signature_of, sites
from cases.enums import FlagReason
from cases.lifecycle import AnswerKind, Command
from cases.selectors.cases import case_detail
from cases.selectors.records import flag_get
from cases.services import answers, flags
from cases.services.answers import REFERRALS, AnswerInput
from cases.tenancy import Actor

__all__ = [
    "ANSWER",
    "Answer",
    "ChangeRequest",
    "Countersign",
    "Flag",
    "Withdraw",
    "answer_of",
]


def _flag_reply(actor: Actor, code: str, flag: str, *, status: int = 200) -> Reply:
    """Return the query beside where its case now stands."""
    detail = case_detail(actor=actor, code=code)
    found = next(row for row in detail.flags if row.code == flag)
    return Reply(
        {**flag_json(found), "case": summary(detail)},
        status=status,
        version=detail.case.version,
        location=reverse("api_case", args=[code]) if status == 201 else "",
    )


class Flag(CaseCommand):
    """Put the case on hold with one query to the clinician."""

    command = Command.FLAG
    success = 201
    returns = "FlagOfCase"
    body = Body(
        {
            "reasons": listing(
                word([r for r in FlagReason.values if r != FlagReason.CHANGE_REQUEST]),
                at_most=8,
                needed=True,
            ),
            "text": text(4000, needed=True),
            "sites": sites(default=None),
            "verified": truth(),
        }
    )

    def perform(self, call: Call) -> Reply:
        """Ask. Without ``sites`` the query is about every short site."""
        wanted = call.data["sites"]
        flag = flags.flag_raise(
            actor=call.actor,
            code=call.code,
            version=call.version,
            reasons=call.data["reasons"],
            text=call.data["text"],
            sites=None if wanted is None else pairs(wanted),
            verified=call.data["verified"],
            at=call.at,
        )
        return _flag_reply(call.actor, call.code, flag.code, status=201)


class ChangeRequest(CaseCommand):
    """The clinician stops the work and asks for a change, signed."""

    command = Command.CHANGE_REQUEST
    success = 201
    returns = "FlagOfCase"
    body = Body({"text": text(4000, needed=True), "signature": SIGNATURE})

    def perform(self, call: Call) -> Reply:
        """Ask for the change."""
        flag = flags.change_request(
            actor=call.actor,
            code=call.code,
            version=call.version,
            text=call.data["text"],
            signature=signature_of(call.data),
            at=call.at,
        )
        return _flag_reply(call.actor, call.code, flag.code, status=201)


class _FlagCommand(CaseCommand):
    """``POST flags/{code}/<verb>``; the version is that of the flag's case."""

    returns = "FlagOfCase"

    def admit(self, actor: Actor, code: str) -> None:
        """Ask whether the query is there for the actor and the role fits."""
        flag_get(actor=actor, code=code)
        policies.require(actor, self.command)

    def settled(self, call: Call) -> Reply:
        """Return the query as it is now."""
        flag = flag_get(actor=call.actor, code=call.code)
        return _flag_reply(call.actor, flag.case.code, call.code)


_CHANGES = Body(
    {
        "material": text(40),
        "occlusal_surface": text(10),
        "cementation": text(14),
        "shade": text(40),
        "finish_line": text(20),
    }
)
_CHOICE = {
    "kind": word(tuple(AnswerKind)),
    "grounds": text(4000),
    "consent": truth(),
    "changes": mapping(_CHANGES, at_most=60),
    "review_on": day(),
    "referral": word(REFERRALS, needed=False),
}
ANSWER = Body(_CHOICE)


def answer_of(values: Mapping[str, Any]) -> AnswerInput:
    """Return what the clinician chose."""
    chosen = {name: values[name] for name in _CHOICE}
    return AnswerInput(**{**chosen, "kind": AnswerKind(chosen["kind"])})


class Answer(_FlagCommand):
    """Sign the answer to a query; the case goes where it leads."""

    command = Command.ANSWER
    body = Body({**_CHOICE, "signature": SIGNATURE})

    def perform(self, call: Call) -> Reply:
        """Answer."""
        answers.flag_answer(
            actor=call.actor,
            code=call.code,
            version=call.version,
            answer=answer_of(call.data),
            signature=signature_of(call.data),
            at=call.at,
        )
        return self.settled(call)


class Withdraw(_FlagCommand):
    """Take a query back; the case returns to the state it came from."""

    command = Command.WITHDRAW
    body = Body({"reason": text(4000, needed=True)})

    def perform(self, call: Call) -> Reply:
        """Withdraw."""
        flags.flag_withdraw(
            actor=call.actor,
            code=call.code,
            version=call.version,
            reason=call.data["reason"],
            at=call.at,
        )
        return self.settled(call)


class Countersign(_FlagCommand):
    """The responsible technician accepts or declines a documented risk."""

    command = Command.COUNTERSIGN
    body = Body(
        {"accept": truth(needed=True), "reason": text(4000), "signature": SIGNATURE}
    )

    def perform(self, call: Call) -> Reply:
        """Accept with a signature, or decline with a reason."""
        answers.flag_countersign(
            actor=call.actor,
            code=call.code,
            version=call.version,
            accept=call.data["accept"],
            reason=call.data["reason"],
            signature=signature_of(call.data),
            at=call.at,
        )
        return self.settled(call)
