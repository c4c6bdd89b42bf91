"""The API's commands: what carries a case or a query on, and what signs it.

Signing commands carry a real grant of the one person who may sign here, so the
expected 200 is that of the whole command.
"""

from collections.abc import Callable
from typing import Any

from cases import clock
from cases.canonical import canonical_json, sha256_hex
from cases.lifecycle import AnswerKind
from cases.models import Case, Flag, Membership
from cases.services import answers, flags, signing, submission
from cases.services.answers import AnswerInput
from cases.tenancy import Actor, acting, tenant
from tests.factories import PASSWORD
from tests.permissions.api import KEY
from tests.permissions.pages import Arrange
from tests.permissions.shape import Row, Target, play_of
from tests.permissions.states import (
    at_check,
    at_try_in,
    awaiting,
    cleared,
    corrected,
    deferred,
    dispatched,
    draft,
    fitted,
    in_fabrication,
    submitted,
    sufficient,
)
from tests.personas import Personas
from tests.play import Play, reading, unit

Content = Callable[[Case], dict[str, Any]]

MEANING = "I authorise this work."
TEXT = "Full metal instead."
RISK = {"grounds": "As it is.", "consent": True}


def _sent(code: str, version: int, fields: dict[str, Any]) -> Target:
    headers = {**KEY, "If-Match": f'"{version}"'}
    return Target(kwargs={"code": code}, json=fields, headers=headers)


def command(played: Callable[[Play], Case], **fields: object) -> Arrange:
    """Return what plays a case somewhere and sends a command on its version."""

    def arrange(personas: Personas) -> Target:
        play = play_of(personas)
        case = play.fresh(played(play))
        return _sent(case.code, case.version, fields)

    return arrange


def _grant(
    who: Actor, *, purpose: str, target: str, content: dict[str, Any]
) -> dict[str, str]:
    """Return the signature of a body; the caller acts as its person."""
    secret = signing.grant_issue(
        actor=who,
        purpose=purpose,
        target=target,
        content_sha256=sha256_hex(canonical_json(content)),
        password=PASSWORD,
        totp="",
        at=clock.now(),
    )
    return {"grant": secret, "meaning": MEANING}


def signed(
    played: Callable[[Play], Case], purpose: str, content: Content, **fields: object
) -> Arrange:
    """Return what sends a command signed by the prescriber."""

    def arrange(personas: Personas) -> Target:
        play = play_of(personas)
        case, who = play.fresh(played(play)), play.world.dentist
        with acting(who):
            signature = _grant(
                who, purpose=purpose, target=case.code, content=content(case)
            )
        return _sent(case.code, case.version, {**fields, "signature": signature})

    return arrange


def _change(case: Case) -> dict[str, Any]:
    return flags.change_request_content(case=case, text=TEXT)


def query(**fields: object) -> Arrange:
    """Return what raises the laboratory's query and sends a body to it."""

    def arrange(personas: Personas) -> Target:
        play = play_of(personas)
        case = at_check(play)
        flag = play.flag(case)
        return _sent(flag.code, play.fresh(case).version, fields)

    return arrange


def answer(personas: Personas) -> Target:
    """Answer a query, signed by the prescriber."""
    play = play_of(personas)
    case, who = at_check(play), play.world.dentist
    code = play.flag(case).code
    fresh = play.fresh(case)
    with acting(who):
        content = answers.answer_preview(
            case=fresh,
            flag=Flag.objects.get(code=code),
            answer=AnswerInput(kind=AnswerKind.RE_MEASURE),
            at=clock.now(),
        )
        signature = _grant(who, purpose="answer", target=code, content=content)
    fields = {"kind": "re_measure", "signature": signature}
    return _sent(code, fresh.version, fields)


def risk(personas: Personas) -> tuple[str, int]:
    """Have a risk accepted by the clinician; return the query and the version."""
    play = play_of(personas)
    case = at_check(play)
    flag = play.flag(case)
    play.answer(flag, AnswerKind.ACCEPT_RISK, **RISK)
    return flag.code, play.fresh(case).version


def countersigned(personas: Personas) -> Target:
    """Countersign a risk; nobody of PERSONAS is a responsible technician."""
    return _sent(*risk(personas), {"accept": True})


def by_responsible(personas: Personas) -> Target:
    """Make the technician a responsible one, who countersigns."""
    who = personas.technician
    with tenant(who.actor.organisation_id):
        row = Membership.objects.filter(pk=who.membership.pk)
        row.update(responsible_technician=True)
    code, version = risk(personas)
    with acting(who.actor):
        flag = Flag.objects.select_related("case").get(code=code)
        content = answers.countersign_content(
            case=flag.case, flag=flag, answer=answers.pending_answer(flag)
        )
        signature = _grant(
            who.actor, purpose="countersign", target=code, content=content
        )
    return _sent(code, version, {"accept": True, "signature": signature})


def shown_to_responsible(personas: Personas) -> Target:
    """Ask what the countersignature would sign."""
    target = by_responsible(personas)
    return Target(kwargs=target.kwargs, json={})


def clinics_query(personas: Personas) -> Target:
    """Take back what the clinic asked at the try-in."""
    play = play_of(personas)
    case, who = at_try_in(play), play.world.dentist
    with acting(who):
        flag = flags.flag_raise(
            actor=who,
            code=case.code,
            version=None,
            reasons=["shade"],
            text="Which shade?",
            sites=None,
            at=play.tick(),
        )
    return _sent(flag.code, play.fresh(case).version, {"reason": "Found it."})


def grant(personas: Personas) -> Target:
    """Ask for a grant over a case; each shows the password all tests share."""
    fields = {
        "purpose": "prescription",
        "target": at_check(play_of(personas)).code,
        "content_sha256": "0" * 64,
        "password": PASSWORD,
    }
    return Target(json=fields, headers=KEY)


SIGNER = "200 403 403 403 403 404 404 403 401"
CHAIR = "200 200 403 403 403 404 404 403 401"
BENCH = "403 403 403 200 200 404 404 403 401"
# The laboratory does not know that a draft exists.
DRAFT_SIGNER = "200 403 403 404 404 404 404 403 401"
NOT_YET = "403 403 403 403 403 404 404 403 401"
RESPONSIBLE = "403 403 403 200 403 404 404 403 401"
ASKED = {"reasons": ["shade"], "text": "Which shade?"}
MOUNTED = {
    **reading("central_fossa", passes_mm="1.5"),
    "tooth": unit()["tooth"],
    "basis": "model",
    "mounting_number": 1,
}
SUBMITTED = submission.submission_content

# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
CASES = (
    Row(
        "api_case_submit",
        "POST",
        DRAFT_SIGNER,
        signed(draft, "prescription", SUBMITTED),
    ),
    Row("api_case_submit_preview", "POST", DRAFT_SIGNER, command(draft)),
    Row(
        "api_case_discard",
        "POST",
        "204 204 403 404 404 404 404 403 401",
        command(draft),
    ),
    Row("api_case_receive", "POST", BENCH, command(submitted)),
    Row("api_case_incomplete", "POST", BENCH, command(at_check, missing="The scan.")),
    Row(
        "api_case_resubmit",
        "POST",
        SIGNER,
        signed(corrected, "prescription", SUBMITTED),
    ),
    Row("api_case_resubmit_preview", "POST", SIGNER, command(corrected)),
    Row("api_case_readings", "POST", BENCH, command(at_check, readings=[MOUNTED])),
    Row("api_case_records", "POST", CHAIR, command(awaiting, sent=["jaw_record"])),
    Row("api_case_recheck", "POST", BENCH, command(at_check)),
    Row("api_case_clear", "POST", BENCH, command(sufficient)),
    # The clinic raises a query at try-in only; before, it asks for a change.
    Row(
        "api_case_flags",
        "POST",
        "409 409 403 201 201 404 404 403 401",
        command(at_check, **ASKED),
    ),
    Row(
        "api_case_flags",
        "POST",
        "201 201 403 201 201 404 404 403 401",
        command(at_try_in, **ASKED),
        "try-in",
    ),
    Row(
        "api_case_change_request",
        "POST",
        "201 403 403 403 403 404 404 403 401",
        signed(at_check, "change_request", _change, text=TEXT),
    ),
    Row(
        "api_case_change_request_preview",
        "POST",
        SIGNER,
        command(at_check, text=TEXT),
    ),
    Row(
        "api_case_provisional", "POST", CHAIR, command(at_check, note="Lost on Friday.")
    ),
    Row("api_case_resume", "POST", CHAIR, command(deferred)),
    Row(
        "api_case_release",
        "POST",
        "403 403 403 201 201 404 404 403 401",
        command(cleared),
    ),
    Row("api_case_try_in", "POST", BENCH, command(in_fabrication)),
    Row("api_case_return", "POST", CHAIR, command(at_try_in, note="Contact.")),
    Row("api_case_dispatch", "POST", BENCH, command(in_fabrication)),
    Row(
        "api_case_receipt",
        "POST",
        "200 200 200 403 403 404 404 403 401",
        command(dispatched),
    ),
    Row(
        "api_case_fit",
        "POST",
        CHAIR,
        command(dispatched, fitted=True, findings=["as_delivered"]),
    ),
    Row(
        "api_case_internal_remake",
        "POST",
        BENCH,
        command(in_fabrication, cause="fracture"),
    ),
    Row(
        "api_case_remake",
        "POST",
        "201 201 403 403 403 404 404 403 401",
        command(fitted, cause="shade"),
    ),
    Row("api_case_cancel", "POST", SIGNER, command(at_check, reason="Moved away.")),
)
QUERIES = (
    Row("api_flag_answer", "POST", SIGNER, answer),
    Row("api_flag_answer_preview", "POST", SIGNER, query(kind="re_measure")),
    # A side takes back its own query only.
    Row("api_flag_withdraw", "POST", BENCH, query(reason="Found it.")),
    Row("api_flag_withdraw", "POST", SIGNER, clinics_query, "clinic"),
    Row("api_flag_countersign", "POST", NOT_YET, countersigned),
    Row("api_flag_countersign", "POST", RESPONSIBLE, by_responsible, "responsible"),
    Row("api_flag_countersign_preview", "POST", NOT_YET, countersigned),
    Row(
        "api_flag_countersign_preview",
        "POST",
        RESPONSIBLE,
        shown_to_responsible,
        "responsible",
    ),
    # A grant is no permission: the command it signs asks for the role. What is not
    # theirs is as bad a target as what is nobody's.
    Row(
        "api_signing_grants",
        "POST",
        "201 201 201 201 201 422 422 403 401",
        grant,
    ),
)
ROWS = (*CASES, *QUERIES)
