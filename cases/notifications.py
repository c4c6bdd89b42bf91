"""From an outbox row to notices: in the portal, and by e-mail.

A mail carries the case's code and a link behind sign-in, never health data. In
the portal a notice exists exactly once per event and person; a mail may repeat
after a crash, but only under the same Message-ID.
"""

from datetime import datetime
from email.utils import format_datetime

from django.conf import settings
from django.core.mail import EmailMessage
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.utils.translation import override

from cases.enums import AuditEvent, Role
from cases.selectors.unscoped import Recipient, recipients_of
from cases.services.notices import notice_mail_due, notice_mail_sent, notices_create

__all__ = ["KINDS", "deliver_mails", "make_notices"]

_CHAIR = (Role.CLINICIAN, Role.ASSISTANT)
_BENCH = (Role.TECHNICIAN, Role.LAB_MANAGER)

# Which events go out as notices, and to which roles of the side that is told.
KINDS: dict[str, tuple[str, ...]] = {
    AuditEvent.CASE_SUBMITTED: _BENCH,
    AuditEvent.CASE_RECEIVED: _CHAIR,
    AuditEvent.CASE_INCOMPLETE: _CHAIR,
    AuditEvent.CASE_RESUBMITTED: _BENCH,
    AuditEvent.RECORDS_SENT: _BENCH,
    AuditEvent.FLAG_RAISED: (*_CHAIR, *_BENCH),
    AuditEvent.FLAG_WITHDRAWN: (*_CHAIR, *_BENCH),
    AuditEvent.CHANGE_REQUESTED: _BENCH,
    AuditEvent.ANSWER_SIGNED: _BENCH,
    AuditEvent.COUNTERSIGNED: _CHAIR,
    AuditEvent.COUNTERSIGN_DECLINED: _CHAIR,
    AuditEvent.CASE_RESUMED: _BENCH,
    AuditEvent.CASE_CLEARED: _CHAIR,
    AuditEvent.WORK_ORDER_RELEASED: _CHAIR,
    AuditEvent.SENT_TO_TRY_IN: _CHAIR,
    AuditEvent.RETURNED: _BENCH,
    AuditEvent.DISPATCHED: _CHAIR,
    AuditEvent.RECEIPT: _BENCH,
    AuditEvent.FIT_REPORTED: _BENCH,
    AuditEvent.REMAKE_OPENED: _BENCH,
    AuditEvent.MESSAGE_POSTED: (*_CHAIR, *_BENCH),
    AuditEvent.ATTACHMENT_ADDED: (*_CHAIR, *_BENCH),
    AuditEvent.CASE_CANCELLED: _BENCH,
    "signed_for": (Role.CLINICIAN,),
    "partnership_asked": (Role.CLINIC_MANAGER, Role.LAB_MANAGER),
    "partnership_accepted": (Role.CLINIC_MANAGER, Role.LAB_MANAGER),
}


def make_notices(
    *,
    organisation_id: int,
    kind: str,
    event: str,
    case_id: int | None,
    only_user: int | None,
    at: datetime,
) -> int:
    """Create portal notices and mails to send; return how many people are told."""
    roles = KINDS.get(kind)
    if roles is None:
        return 0
    people = [
        person
        for person in recipients_of(organisation_id=organisation_id, roles=roles)
        if only_user is None or person.user_id == only_user
    ]
    notices_create(
        organisation_id=organisation_id,
        people=people,
        kind=kind,
        event=event,
        case_id=case_id,
        at=at,
    )
    return len(people)


def _mail(person: Recipient, *, kind: str, case_code: str, message_id: str, at: datetime) -> EmailMessage:
    with override(person.language):
        link = f"{settings.BASE_URL}/cases/{case_code}/" if case_code else settings.BASE_URL
        context = {"case_code": case_code, "link": link, "kind": kind}
        subject = (
            _("Case %(code)s needs a look") % {"code": case_code}
            if case_code
            else _("News in Chairbench")
        )
        body = render_to_string("mail/notice.txt", context)
    return EmailMessage(
        subject=subject,
        body=body,
        to=[person.email],
        headers={"Message-ID": message_id, "Date": format_datetime(at)},
    )


def deliver_mails(*, event: str, organisation_id: int, at: datetime) -> int:
    """Send the event's mails that are not marked sent; return how many went out.

    Each is marked right after it left, so that a crash repeats at most one.
    """
    sent = 0
    for due in notice_mail_due(event=event, organisation_id=organisation_id):
        _mail(
            due.person,
            kind=due.kind,
            case_code=due.case_code,
            message_id=due.message_id,
            at=at,
        ).send()
        notice_mail_sent(
            notice_id=due.notice_id, organisation_id=organisation_id, at=at
        )
        sent += 1
    return sent
