"""Signing: show password or second factor again, then sign exactly this.

A grant is single use, lives five minutes and is bound to membership, purpose,
target and the SHA-256 of the content. A page may show the credential and sign
in one step; the content's digest must then be the one the page showed.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP
from django.core.cache import cache

from cases.canonical import canonical_json, new_secret, secret_hash, sha256_hex
from cases.enums import Role
from cases.errors import (
    ContentChanged,
    NotAllowed,
    ReauthenticationRequired,
    TooMany,
)
from cases.models import Case, Delegation, Signature, SigningGrant, User
from cases.services.base import tell
from cases.tenancy import Actor

__all__ = ["GRANT_LIFE", "PURPOSES", "SignatureInput", "grant_issue", "sign"]

GRANT_LIFE = timedelta(minutes=5)
PURPOSES = ("prescription", "answer", "countersign", "change_request")
_TRIES, _TRY_WINDOW = 10, 900


@dataclass(frozen=True, slots=True)
class SignatureInput:
    """What a person hands in to sign: a grant, or a credential shown now."""

    meaning: str
    grant: str = ""
    password: str = ""
    totp: str = ""
    content_sha256: str = ""


def _verify(user: User, *, password: str, totp: str) -> str:
    """Return the method that proved the person, or raise."""
    if not (password or totp):
        raise ReauthenticationRequired(
            "To sign, enter your password or a fresh code of your second factor."
        )
    key = f"sign-tries:{user.pk}"
    if _one_more_try(key) > _TRIES:
        raise TooMany("Too many tries. Wait a quarter of an hour, then try again.")
    method = _proved_by(user, password=password, totp=totp)
    if not method:
        raise ReauthenticationRequired(
            "To sign, enter your password or a fresh code of your second factor."
        )
    cache.delete(key)
    return method


def _one_more_try(key: str) -> int:
    """Count before looking, so that tries at once cannot slip past the limit."""
    cache.add(key, 0, _TRY_WINDOW)
    try:
        return int(cache.incr(key))
    except ValueError:
        # It ran out between the two lines: this is the first of a new window.
        return 1


def _proved_by(user: User, *, password: str, totp: str) -> str:
    """Return what proved the person, or nothing."""
    if password and user.check_password(password):
        return "password"
    if totp:
        authenticator = Authenticator.objects.filter(
            user=user, type=Authenticator.Type.TOTP
        ).first()
        if authenticator and TOTP(authenticator).validate_code(totp.strip()):
            return "totp"
    return ""


def grant_issue(
    *,
    actor: Actor,
    purpose: str,
    target: str,
    content_sha256: str,
    password: str,
    totp: str,
    at: datetime,
) -> str:
    """Store a grant and return its secret, which is not kept.

    Raises:
        ReauthenticationRequired: neither password nor code is right.
        TooMany: ten wrong tries in a quarter of an hour.
    """
    user = User.objects.get(pk=actor.user_id)
    method = _verify(user, password=password, totp=totp)
    secret = new_secret()
    SigningGrant.objects.create(
        organisation_id=actor.organisation_id,
        membership_id=actor.membership_id,
        purpose=purpose,
        target=target,
        content_sha256=content_sha256,
        token_hash=secret_hash(secret),
        method=method,
        created_at=at,
        expires_at=at + GRANT_LIFE,
    )
    return secret


def _consume(
    *, actor: Actor, purpose: str, target: str, grant: str, at: datetime
) -> SigningGrant:
    row = (
        SigningGrant.objects.select_for_update()
        .filter(
            token_hash=secret_hash(grant),
            membership_id=actor.membership_id,
            purpose=purpose,
            target=target,
            used_at__isnull=True,
            expires_at__gt=at,
        )
        .first()
    )
    if row is None:
        raise ReauthenticationRequired(
            "This signing grant is used up, expired or for something else. "
            "Ask for a new one."
        )
    row.used_at = at
    row.save(update_fields=["used_at"])
    return row


def _signs_for(*, actor: Actor, case: Case, at: datetime) -> str:
    """Return the prescriber's name when a delegate signs, else nothing."""
    if actor.user_id == case.prescriber_id:
        return ""
    day = at.date()
    delegated = Delegation.objects.filter(
        organisation_id=actor.organisation_id,
        prescriber_id=case.prescriber_id,
        delegate_id=actor.user_id,
        starts_on__lte=day,
        ends_on__gte=day,
        ended_at__isnull=True,
    ).exists()
    if not delegated:
        raise NotAllowed(
            "Only the prescriber signs this case, or a clinician to whom they "
            "delegated it in writing for today."
        )
    return case.prescriber.name


def sign(
    *,
    actor: Actor,
    case: Case,
    purpose: str,
    target: str,
    content: dict[str, Any],
    signature: SignatureInput,
    at: datetime,
) -> Signature:
    """Sign the content for the actor and return the stored signature.

    Raises:
        ReauthenticationRequired: no or unusable grant or credential.
        ContentChanged: the digest is not that of what would be signed now.
        NotAllowed: not the prescriber nor a delegate.
    """
    signed_for = ""
    if actor.role == Role.CLINICIAN:
        signed_for = _signs_for(actor=actor, case=case, at=at)
    digest = sha256_hex(canonical_json(content))
    if signature.grant:
        row = _consume(
            actor=actor, purpose=purpose, target=target, grant=signature.grant, at=at
        )
        shown, method = row.content_sha256, row.method
    else:
        user = User.objects.get(pk=actor.user_id)
        method = _verify(user, password=signature.password, totp=signature.totp)
        shown = signature.content_sha256
    if shown != digest:
        raise ContentChanged(content_sha256=digest)
    row_signed = Signature.objects.create(
        case=case,
        membership_id=actor.membership_id,
        user_id=actor.user_id,
        printed_name=actor.name,
        role=actor.role,
        signed_for=signed_for,
        purpose=purpose,
        meaning=signature.meaning,
        method=method,
        content=content,
        content_sha256=digest,
        signed_at=at,
    )
    if signed_for:
        tell(
            case=case,
            organisation_id=case.clinic_id,
            kind="signed_for",
            key=f"signed-for-{row_signed.pk}",
            at=at,
            user=case.prescriber_id,
        )
    return row_signed
