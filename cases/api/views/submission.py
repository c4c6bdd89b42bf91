"""Over the bench: submit, receive, incomplete, resubmit, readings, records, clear."""

from cases.api.endpoint import Call, CaseCommand
from cases.api.fields import Body, listing
from cases.api.once import Reply
from cases.api.scalars import day, pattern, text, words
from cases.api.views.cases import case_reply
from cases.api.views.shared import NOTE, READINGS, SIGNATURE, SITES, pairs, signature_of
from cases.lifecycle import Command
from cases.selectors.check_catalog import own_rule_set, rule_set_at
from cases.services import readings, release, submission

__all__ = [
    "Clear",
    "Incomplete",
    "Provisional",
    "Readings",
    "Receive",
    "Recheck",
    "Records",
    "Resubmit",
    "Submit",
]


class Submit(CaseCommand):
    """Sign the draft as prescription and send it to the laboratory."""

    command = Command.SUBMIT
    body = Body({"signature": SIGNATURE})

    def perform(self, call: Call) -> Reply:
        """Submit."""
        submission.case_submit(
            actor=call.actor,
            code=call.code,
            version=call.version,
            signature=signature_of(call.data),
            at=call.at,
        )
        return case_reply(call.actor, call.code)


class Resubmit(CaseCommand):
    """Sign the corrected revision of an incomplete case and send it again."""

    command = Command.RESUBMIT
    body = Body({"signature": SIGNATURE})

    def perform(self, call: Call) -> Reply:
        """Resubmit."""
        submission.case_resubmit(
            actor=call.actor,
            code=call.code,
            version=call.version,
            signature=signature_of(call.data),
            at=call.at,
        )
        return case_reply(call.actor, call.code)


class Receive(CaseCommand):
    """Log parcel or files; the laboratory's clock starts."""

    command = Command.RECEIVE
    body = Body(
        {
            "contents": words(submission.CONTENTS),
            "pan_number": text(20),
            "promised_on": day(),
        }
    )

    def perform(self, call: Call) -> Reply:
        """Receive."""
        submission.case_receive(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **call.data,
        )
        return case_reply(call.actor, call.code)


class Incomplete(CaseCommand):
    """Send the case back and say what is missing."""

    command = Command.INCOMPLETE
    body = Body({"missing": text(4000, needed=True)})

    def perform(self, call: Call) -> Reply:
        """Send back."""
        submission.case_incomplete(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **call.data,
        )
        return case_reply(call.actor, call.code)


class Readings(CaseCommand):
    """Add the laboratory's own readings; the case is checked again."""

    command = Command.READINGS
    body = Body({"readings": READINGS})

    def perform(self, call: Call) -> Reply:
        """Add the readings."""
        readings.readings_add(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **call.data,
        )
        return case_reply(call.actor, call.code)


class Records(CaseCommand):
    """Send what the answer asked for; a new round begins."""

    command = Command.RECORDS
    body = Body(
        {"readings": READINGS, "sent": listing(text(40), at_most=10), "note": NOTE}
    )

    def perform(self, call: Call) -> Reply:
        """Send the records."""
        readings.records_send(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **call.data,
        )
        return case_reply(call.actor, call.code)


class Recheck(CaseCommand):
    """Check again under the laboratory's rule set in force, or one by digest."""

    command = Command.RECHECK
    body = Body(
        {
            "rule_set": pattern(
                "[0-9a-f]{64}", "Write the digest: 64 hexadecimal digits."
            )
        }
    )

    def perform(self, call: Call) -> Reply:
        """Check again."""
        if digest := call.data["rule_set"]:
            rule_set = rule_set_at(actor=call.actor, at=call.at, digest=digest)
        else:
            rule_set = own_rule_set(actor=call.actor, at=call.at)
        readings.case_recheck(
            actor=call.actor,
            code=call.code,
            version=call.version,
            digest=rule_set.digest,
            at=call.at,
        )
        return case_reply(call.actor, call.code)


class Provisional(CaseCommand):
    """Record that the provisional was lost or high: the readings are stale."""

    command = Command.PROVISIONAL
    body = Body({"note": text(1000, needed=True)})

    def perform(self, call: Call) -> Reply:
        """Mark the readings."""
        readings.provisional_lost(
            actor=call.actor,
            code=call.code,
            version=call.version,
            at=call.at,
            **call.data,
        )
        return case_reply(call.actor, call.code)


class Clear(CaseCommand):
    """Clear the case; sites within measuring uncertainty are cleared on the record."""

    command = Command.CLEAR
    body = Body({"within_uncertainty": SITES})

    def perform(self, call: Call) -> Reply:
        """Clear."""
        release.case_clear(
            actor=call.actor,
            code=call.code,
            version=call.version,
            within_uncertainty=pairs(call.data["within_uncertainty"]),
            at=call.at,
        )
        return case_reply(call.actor, call.code)
