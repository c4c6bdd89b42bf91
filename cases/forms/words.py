"""States, commands and other codes in the words people read.

Every code of a closed list has a word here; a code that is not known stands as it
is, so that an old row never breaks a page.
"""

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from cases.enums import Attribution, Cause, Detected, Finding, FlagReason
from cases.lifecycle import AnswerKind, CaseState, Command, Mover

__all__ = [
    "ANSWERS",
    "ATTRIBUTIONS",
    "CAUSES",
    "COMMANDS",
    "CONTENTS",
    "DETECTED",
    "FINDINGS",
    "MOVES",
    "RECORDS",
    "STATES",
    "reason_choices",
    "word",
]

Words = dict[str, Promise]
S = CaseState
C = Command

STATES: Words = {
    S.DRAFT: _("draft"),
    S.SUBMITTED: _("sent, not yet received"),
    S.AT_CHECK: _("at check"),
    S.INCOMPLETE: _("incomplete"),
    S.ON_HOLD: _("on hold"),
    S.AWAITING_RECORDS: _("waiting for new records"),
    S.DEFERRED: _("deferred"),
    S.CLEARED: _("cleared"),
    S.IN_FABRICATION: _("in fabrication"),
    S.AT_TRY_IN: _("at try-in"),
    S.DISPATCHED: _("dispatched"),
    S.FITTED: _("fitted"),
    S.NOT_FITTED: _("not fitted"),
    S.CANCELLED: _("cancelled"),
}

# What is waited for, said to whoever does not have the move.
MOVES: Words = {
    S.DRAFT: _("The clinic prepares the prescription."),
    S.SUBMITTED: _("The laboratory logs what arrives."),
    S.AT_CHECK: _("The laboratory checks the clearance."),
    S.INCOMPLETE: _("The clinic completes the case and signs it again."),
    S.ON_HOLD: _("The clinician answers the query."),
    S.AWAITING_RECORDS: _("The clinic sends the new records."),
    S.DEFERRED: _("The clinic resumes the case at the review."),
    S.CLEARED: _("The laboratory releases the work order."),
    S.IN_FABRICATION: _("The laboratory makes the work."),
    S.AT_TRY_IN: _("The clinic tries the work in and returns it."),
    S.DISPATCHED: _("The clinic reports the fit."),
    S.FITTED: _("The case has ended: the work is fitted."),
    S.NOT_FITTED: _("The work was not fitted; it may be returned or remade."),
    S.CANCELLED: _("The case was cancelled."),
}

COMMANDS: Words = {
    C.EDIT_DRAFT: _("Edit the prescription"),
    C.SUBMIT: _("Sign and send"),
    C.DISCARD: _("Discard the draft"),
    C.RECEIVE: _("Log the receipt"),
    C.INCOMPLETE: _("Send back as incomplete"),
    C.RESUBMIT: _("Sign and send again"),
    C.READINGS: _("Enter own readings"),
    C.RECORDS: _("Send the new records"),
    C.RECHECK: _("Check again"),
    C.PROVISIONAL: _("Provisional lost or high"),
    C.CLEAR: _("Clear for fabrication"),
    C.FLAG: _("Raise a query"),
    C.CHANGE_REQUEST: _("Ask for a change"),
    C.WITHDRAW: _("Withdraw the query"),
    C.ANSWER: _("Answer the query"),
    C.COUNTERSIGN: _("Countersign"),
    C.RESUME: _("Resume the case"),
    C.RELEASE: _("Release the work order"),
    C.TRY_IN: _("Send for try-in"),
    C.RETURN: _("Return to the laboratory"),
    C.DISPATCH: _("Dispatch"),
    C.RECEIPT: _("Confirm the receipt"),
    C.FIT: _("Report the fit"),
    C.INTERNAL_REMAKE: _("Record an internal remake"),
    C.REMAKE: _("Open a remake"),
    C.CANCEL: _("Cancel the case"),
    C.MESSAGE: _("Write a message"),
    C.ATTACH: _("Add a file"),
}

MOVERS: Words = {
    Mover.CLINIC: _("clinic"),
    Mover.LABORATORY: _("laboratory"),
    Mover.NOBODY: _("nobody"),
}

ANSWERS: Words = {
    AnswerKind.RE_PREPARATION: _("Re-preparation"),
    AnswerKind.RE_MEASURE: _("Measure again or remount at the laboratory"),
    AnswerKind.NEW_JAW_RECORD: _("New jaw record"),
    AnswerKind.CHANGE_MATERIAL: _("Change of material"),
    AnswerKind.CHANGE_DESIGN: _("Change of design"),
    AnswerKind.REDUCTION_COPING: _("Reduction coping"),
    AnswerKind.ADJUST_OPPOSING: _("Adjust the opposing tooth"),
    AnswerKind.REFER: _("Other treatment first"),
    AnswerKind.ACCEPT_RISK: _("Accept with documented risk"),
    AnswerKind.CANCEL: _("Cancel the case"),
}

CONTENTS: Words = {
    "impression": _("Impression"),
    "scan": _("Scan"),
    "opposing": _("Opposing impression or scan"),
    "jaw_record": _("Jaw record"),
    "shade_photos": _("Shade photos"),
    "disinfection_stated": _("Disinfection stated"),
}

RECORDS: Words = {
    "readings": _("new readings"),
    "impression": _("impression or scan"),
    "opposing_impression": _("opposing impression or scan"),
    "jaw_record": _("jaw record"),
}

CAUSES: Words = {one.value: one.label for one in Cause}
DETECTED: Words = {one.value: one.label for one in Detected}
FINDINGS: Words = {one.value: one.label for one in Finding}
ATTRIBUTIONS: Words = {one.value: one.label for one in Attribution}

ROUND_CAUSES: Words = {
    "submission": _("submission"),
    "remount": _("remounted or measured again"),
    "new_records": _("new preparation and records"),
    "new_jaw_record": _("new jaw record"),
}

_ALL: dict[str, Words] = {
    "state": STATES,
    "move": MOVES,
    "command": COMMANDS,
    "mover": MOVERS,
    "answer": ANSWERS,
    "content": CONTENTS,
    "record": RECORDS,
    "attribution": ATTRIBUTIONS,
    "cause": CAUSES,
    "detected": DETECTED,
    "finding": FINDINGS,
    "round": ROUND_CAUSES,
    "reason": {reason.value: reason.label for reason in FlagReason},
}


def word(kind: str, code: str) -> str:
    """Return the word of a code; what is not known stands as it is."""
    found = _ALL[kind].get(code)
    return str(found) if found else code.replace("_", " ")


def reason_choices() -> list[tuple[str, str]]:
    """Return the reasons a laboratory may ask for."""
    return [
        (reason.value, str(reason.label))
        for reason in FlagReason
        if reason != FlagReason.CHANGE_REQUEST
    ]
