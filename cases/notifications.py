"""From an outbox row to notices: in the portal, and by e-mail.

A mail carries the case's code and a link behind sign-in, never health data. In
the portal a notice exists exactly once per event and person; a mail may repeat
after a crash, but only under the same Message-ID.
"""

from collections.abc import Mapping
from datetime import date, datetime
from email.utils import format_datetime
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.core.mail import EmailMessage
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import override

from cases.enums import AuditEvent, Role
from cases.selectors.unscoped import (
    invitation_to_send,
    person_to_write,
    recipients_of,
)
from cases.services.audit_digest import (
    KIND,
    READERS,
    digest_mail_key,
    digest_mail_refused,
)
from cases.services.invitations import invitation_link
from cases.services.notices import (
    MailDue,
    notice_mail_due,
    notice_mail_sent,
    notices_create,
)
from cases.services.people import password_reset_path

__all__ = ["KINDS", "LETTERS", "deliver_mails", "letter_for", "make_notices"]

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
    AuditEvent.REMAKE_STATED: (Role.CLINICIAN, Role.CLINIC_MANAGER, *_BENCH),
    AuditEvent.MESSAGE_POSTED: (*_CHAIR, *_BENCH),
    AuditEvent.ATTACHMENT_ADDED: (*_CHAIR, *_BENCH),
    AuditEvent.CASE_CANCELLED: _BENCH,
    "signed_for": (Role.CLINICIAN,),
    "partnership_asked": (Role.CLINIC_MANAGER, Role.LAB_MANAGER),
    "partnership_accepted": (Role.CLINIC_MANAGER, Role.LAB_MANAGER),
    "partnership_ended": (Role.CLINIC_MANAGER, Role.LAB_MANAGER),
    "rule_set_proposed": (Role.LAB_MANAGER,),
    "rule_set_approved": (Role.LAB_MANAGER,),
    "rule_set_returned": (Role.LAB_MANAGER,),
    "rule_set_published": (Role.LAB_MANAGER, Role.CLINICIAN, Role.CLINIC_MANAGER),
    KIND: READERS,
}
# Mails to one person who may not have a membership yet.
LETTERS = frozenset({"invitation", "password_reset"})


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
        no_mail=digest_mail_refused() if kind == KIND else (),
    )
    return len(people)


def _mail(due: MailDue, *, at: datetime) -> EmailMessage:
    with override(due.person.language):
        path = f"/cases/{due.case_code}/" if due.case_code else "/"
        link = f"{settings.BASE_URL}{path}"
        context = {"case_code": due.case_code, "link": link, "kind": due.kind}
        subject = (
            _("Case %(code)s needs a look") % {"code": due.case_code}
            if due.case_code
            else _("News in Chairbench")
        )
        body = render_to_string("mail/notice.txt", context)
    return EmailMessage(
        subject=subject,
        body=body,
        to=[due.person.email],
        headers={"Message-ID": due.message_id, "Date": format_datetime(at)},
    )


def _digest_mail(
    due: MailDue, counted: Mapping[str, Any], *, organisation_id: int, at: datetime
) -> EmailMessage:
    """Return the digest's mail: counts and a link, nobody's name and no case.

    It says how to stop it, for people and (RFC 2369, RFC 8058) for mail programs.
    """
    key = digest_mail_key(
        organisation_id=organisation_id, membership_id=due.person.membership_id
    )
    stop = f"{settings.BASE_URL}{reverse('audit_digest_mail', args=[key])}"
    pages = {"from": counted["from"], "to": counted["month"]}
    with override(due.person.language):
        month = date_format(date.fromisoformat(f"{counted['month']}-01"), "F Y")
        context = {
            **counted,
            "month": month,
            "share_reported": _percent(counted["reported"], counted["dispatched"]),
            **{name: _hundredths(counted[name]) for name in ("rate", "low", "high")},
            "link": f"{settings.BASE_URL}/audit/?{urlencode(pages)}",
            "stop": stop,
        }
        subject = _("Remake audit of %(month)s") % {"month": month}
        body = render_to_string("mail/audit_digest.txt", context)
    return EmailMessage(
        subject=subject,
        body=body,
        to=[due.person.email],
        headers={
            "Message-ID": due.message_id,
            "Date": format_datetime(at),
            "List-Unsubscribe": f"<{stop}>",
            "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
        },
    )


def _hundredths(share: float | None) -> str:
    """Return a share as a number of per cent with one decimal; nothing for none."""
    # Rounded first: number_format cuts off.
    return "" if share is None else number_format(round(100 * share, 1), decimal_pos=1)


def _percent(count: int, of: int) -> str:
    return _hundredths(count / of if of else None)


def deliver_mails(
    *,
    event: str,
    organisation_id: int,
    at: datetime,
    payload: Mapping[str, Any] | None = None,
) -> int:
    """Send the event's mails that are not marked sent; return how many went out.

    Each is marked right after it left, so that a crash repeats at most one.
    ``payload`` is the outbox row's: what a digest counted.
    """
    sent = 0
    for due in notice_mail_due(event=event, organisation_id=organisation_id):
        if due.kind == KIND:
            letter = _digest_mail(
                due, payload or {}, organisation_id=organisation_id, at=at
            )
        else:
            letter = _mail(due, at=at)
        letter.send()
        notice_mail_sent(
            notice_id=due.notice_id, organisation_id=organisation_id, at=at
        )
        sent += 1
    return sent


def letter_for(
    *, kind: str, payload: Mapping[str, Any], event: str, at: datetime
) -> EmailMessage | None:
    """Return the mail of an invitation or password reset, None when outdated.

    The link's secret is made here: the outbox row names the invitation or the
    person only.
    """
    if kind == "invitation":
        invitation = invitation_to_send(str(payload["invitation"]))
        if invitation is None:
            return None
        address, language = invitation.email, invitation.organisation.language
        path, template = invitation_link(invitation.code), "mail/invitation.txt"
        context = {"organisation": invitation.organisation.name}
    else:
        person = person_to_write(int(payload["user"]))
        if person is None:
            return None
        address, language = person.email, settings.LANGUAGE_CODE
        path, template = password_reset_path(person), "mail/password_reset.txt"
        context = {}
    with override(language):
        subject = (
            _("You are invited to Chairbench")
            if kind == "invitation"
            else _("Set a new password for Chairbench")
        )
        link = f"{settings.BASE_URL}{path}"
        body = render_to_string(template, {**context, "link": link})
    return EmailMessage(
        subject=subject,
        body=body,
        to=[address],
        headers={
            "Message-ID": f"<{event}@chairbench.invalid>",
            "Date": format_datetime(at),
        },
    )
