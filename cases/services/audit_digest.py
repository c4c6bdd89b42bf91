"""The monthly digest: that it is due, what it counts, and who wants no mail.

A digest exists once per organisation and month: its row and the row of the outbox are
written together. It holds counts of restorations only; whoever it is about, and which
cases, is read behind sign-in.
"""

import logging
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.core.signing import BadSignature, Signer
from django.db import transaction
from django.utils import translation

from cases import outbox
from cases.audit.filters import AuditFilters, month_after
from cases.audit.report_types import AuditReport
from cases.enums import Role
from cases.errors import NotFound
from cases.models import (
    AuditDigest,
    AuditDigestStop,
    AuditFact,
    AuditSettings,
    Membership,
    Organisation,
)
from cases.selectors.identity import actors_of
from cases.services.audit_report import audit_report
from cases.tenancy import Actor, acting, operator, tenant

__all__ = [
    "FOLLOWED_DAYS",
    "KIND",
    "READERS",
    "digest_mail_key",
    "digest_mail_refused",
    "digest_mail_set",
    "digest_mail_stopped",
    "digest_make",
    "digests_make",
    "last_complete_month",
]

logger = logging.getLogger(__name__)

KIND: Final = "audit_digest"
READERS: Final = (Role.CLINIC_MANAGER, Role.LAB_MANAGER)
# As long as a report waits for remakes (cases.audit.report_types.Setup).
FOLLOWED_DAYS: Final = 30
# Findings need more than a month to be told from chance.
_MONTHS_OF_FINDINGS: Final = 12
_SALT: Final = "audit-digest-mail"


def last_complete_month(today: date) -> date:
    """Return the first day of the last month whose restorations were followed up.

    As on the pages: its last day lies at least ``FOLLOWED_DAYS`` back.
    """
    followed = today - timedelta(days=FOLLOWED_DAYS)
    first = date(followed.year, followed.month, 1)
    if month_after(first) - timedelta(days=1) <= followed:
        return first
    before = first - timedelta(days=1)
    return date(before.year, before.month, 1)


def digests_make(*, at: datetime, enough: Callable[[], bool] = lambda: False) -> int:
    """Make every digest that is due; return how many were made.

    Each in a transaction of its own: what fails for one organisation is logged and
    tried again at the next call, and stops no other. ``enough`` is asked before each
    whether to leave the rest to the next call.
    """
    with operator():
        found = list(Organisation.objects.order_by("pk").values_list("pk", flat=True))
    made = 0
    for organisation_id in found:
        if enough():
            break
        try:
            made += digest_make(organisation_id=organisation_id, at=at)
        except Exception:
            logger.exception("digest of organisation %s failed", organisation_id)
    return made


def digest_make(*, organisation_id: int, at: datetime) -> bool:
    """Make an organisation's digest of its last complete month, if it is due.

    Not due: made before, switched off, nothing dispatched in the month, or nobody
    who may read it.
    """
    with tenant(organisation_id):
        organisation = Organisation.objects.get(pk=organisation_id)
        today = at.astimezone(ZoneInfo(organisation.time_zone)).date()
        month = last_complete_month(today)
        reader = _reader(organisation)
        if reader is None or not _is_due(organisation, month):
            return False
    with acting(reader), translation.override(organisation.language):
        payload = _counted(reader, month=month, at=at)
        return _keep(organisation_id, month=month, payload=payload, at=at)


def _is_due(organisation: Organisation, month: date) -> bool:
    """Return whether a digest is wanted, not made yet, and has something to say."""
    own = {f"{organisation.kind}_id": organisation.pk, "month": month}
    return (
        not AuditDigest.objects.filter(organisation=organisation, month=month).exists()
        and not AuditSettings.objects.filter(
            organisation=organisation, monthly_digest=False
        ).exists()
        and AuditFact.objects.filter(**own).exists()
    )


def _reader(organisation: Organisation) -> Actor | None:
    """Return a manager as actor: all of them see the same figures."""
    member = (
        Membership.objects.filter(
            organisation=organisation,
            role__in=READERS,
            ended_at__isnull=True,
            user__is_active=True,
        )
        .select_related("user")
        .order_by("pk")
        .first()
    )
    if member is None:
        return None
    found = (one for one in actors_of(member.user) if one.membership_id == member.pk)
    return next(found, None)


def _counted(reader: Actor, *, month: date, at: datetime) -> dict[str, Any]:
    """Return what the mail says: counts of one month, hidden ones left out."""
    only = AuditFilters(first=month, last=month)
    year = AuditFilters(first=_back(month, _MONTHS_OF_FINDINGS - 1), last=month)
    report = audit_report(actor=reader, filters=only, at=at)
    findings = audit_report(actor=reader, filters=year, at=at).findings
    return {
        "month": f"{month:%Y-%m}",
        "from": f"{year.first:%Y-%m}",
        "dispatched": report.n,
        "reported": report.reported,
        "findings": len(findings),
        **_remade(report),
    }


def _remade(report: AuditReport) -> dict[str, Any]:
    row = next((one for one in report.headline if one.key == "remade"), None)
    if row is None or row.rate is None:
        return {"count": None, "rate": None, "low": None, "high": None}
    return {"count": row.count, "rate": row.rate, "low": row.low, "high": row.high}


def _back(month: date, months: int) -> date:
    index = month.year * 12 + month.month - 1 - months
    return date(index // 12, index % 12 + 1, 1)


def _keep(
    organisation_id: int, *, month: date, payload: dict[str, Any], at: datetime
) -> bool:
    """Write the digest and what tells of it, once; return whether this call did.

    Two workers at once: the second waits on the unique index and finds the first's.
    """
    _digest, made = AuditDigest.objects.get_or_create(
        organisation_id=organisation_id, month=month, defaults={"made_at": at}
    )
    if made:
        outbox.enqueue(
            kind=KIND,
            organisation_id=organisation_id,
            case=None,
            dedupe_key=f"{KIND}:{organisation_id}:{month:%Y-%m}",
            payload=payload,
            at=at,
        )
    return made


def _signer() -> Signer:
    # A dot survives mail programs that look for the end of an address.
    return Signer(sep=".", salt=_SALT)


def digest_mail_key(*, organisation_id: int, membership_id: int) -> str:
    """Return what proves, without sign-in, that one got the digest's mail.

    It names the membership and is signed; it opens nothing but the choice of mail.
    """
    return _signer().sign(f"{organisation_id}-{membership_id}")


def _named(key: str) -> tuple[int, int]:
    try:
        organisation, _dash, membership = _signer().unsign(key).partition("-")
        return int(organisation), int(membership)
    except (BadSignature, ValueError):
        raise NotFound from None


def _require_reader(organisation_id: int, membership_id: int) -> None:
    if not Membership.objects.filter(
        pk=membership_id,
        organisation_id=organisation_id,
        role__in=READERS,
        ended_at__isnull=True,
    ).exists():
        raise NotFound


def digest_mail_refused() -> set[int]:
    """Return the memberships of the acting organisation that want no mail of it."""
    return set(AuditDigestStop.objects.values_list("membership_id", flat=True))


def digest_mail_stopped(*, key: str) -> bool:
    """Return whether the holder of the key gets no mail; changes nothing.

    Raises:
        NotFound: the key was not signed here, or its membership has ended.
    """
    organisation_id, membership_id = _named(key)
    with tenant(organisation_id, membership_id):
        _require_reader(organisation_id, membership_id)
        return AuditDigestStop.objects.filter(membership_id=membership_id).exists()


def digest_mail_set(*, key: str, wanted: bool, at: datetime) -> None:
    """Stop the digest's mail to the holder of the key, or send it again.

    The notice in the portal stays, and so does everybody else's mail.

    Raises:
        NotFound: the key was not signed here, or its membership has ended.
    """
    organisation_id, membership_id = _named(key)
    with transaction.atomic(), tenant(organisation_id, membership_id):
        _require_reader(organisation_id, membership_id)
        stops = AuditDigestStop.objects
        if wanted:
            stops.filter(membership_id=membership_id).delete()
        else:
            stops.get_or_create(
                membership_id=membership_id,
                defaults={"organisation_id": organisation_id, "stopped_at": at},
            )
