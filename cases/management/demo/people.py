"""The demo's people: made once, with secrets of this installation only.

Passwords are random and stand in one file that only its owner reads; the
repository has none. A later start takes them from there, or sets new ones.
"""

import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret

from cases.enums import OrganisationKind
from cases.management.demo.cast import CAST, COMPANIES, Company, Part
from cases.models import Membership, Organisation, Partnership, User
from cases.selectors import people as selectors
from cases.selectors.identity import actors_of
from cases.services.people import account_create
from cases.services.tokens import api_token_create, api_token_revoke
from cases.tenancy import Actor, acting, operator, tenant

__all__ = ["Player", "find_players", "make_players", "reissue_token", "write_people"]

TOKEN_NAME = "Demo"  # noqa: S105 -- a label, not a secret
TOKEN_DAYS = 30
# No letters that are mistaken for digits: people copy these by hand.
_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"


@dataclass(frozen=True, slots=True)
class Player:
    """A person of the cast as they exist here."""

    part: Part
    company: Company
    email: str
    actor: Actor
    password: str
    totp_secret: str | None

    def entry(self) -> dict[str, Any]:
        """Return what the credentials file says beside the token."""
        return {
            "role": self.part.role.value,
            "organisation": self.company.name,
            "name": self.part.name,
            "email": self.email,
            "password": self.password,
            "totp_secret": self.totp_secret,
        }

    def shown(self) -> dict[str, Any]:
        """Return what the sign-in page says."""
        return {**self.entry(), "responsible": self.part.responsible}


def _fresh_password() -> str:
    """Return fifteen random characters (74 bits) in groups that can be copied."""
    groups = ("".join(secrets.choice(_ALPHABET) for _ in range(5)) for _ in range(3))
    return "-".join(groups)


def _email(part: Part, company: Company) -> str:
    return f"{part.key}@{company.domain}"


def _companies() -> dict[str, Company]:
    return {company.key: company for company in COMPANIES}


def _player(part: Part, user: User, *, password: str, totp: str | None) -> Player:
    return Player(
        part, _companies()[part.company], user.email, actors_of(user)[0], password, totp
    )


def _second_factor(part: Part, user: User) -> str | None:
    if not part.second_factor:
        return None
    secret: str = generate_totp_secret()
    Authenticator.objects.filter(user_id=user.pk).delete()
    TOTP.activate(user, secret)
    return secret


def make_players(*, at: datetime) -> dict[str, Player]:
    """Make organisations, partnerships and people; return the people by key."""
    made = {company.key: _organisation(company) for company in COMPANIES}
    _partnerships(list(made.values()), at=at)
    players = {}
    for part in CAST:
        organisation = made[part.company]
        password = _fresh_password()
        user = account_create(
            email=_email(part, _companies()[part.company]),
            name=part.name,
            password=password,
            licence_number=part.licence_number,
        )
        with tenant(organisation.pk):
            Membership.objects.create(
                organisation=organisation,
                user=user,
                role=part.role,
                responsible_technician=part.responsible,
            )
        totp = _second_factor(part, user)
        players[part.key] = _player(part, user, password=password, totp=totp)
    return players


def _organisation(company: Company) -> Organisation:
    with operator():
        return Organisation.objects.create(
            kind=company.kind,
            name=company.name,
            address="An invented place. Nothing in this demo is real.",
            tooth_system=company.tooth_system,
        )


def _partnerships(organisations: list[Organisation], *, at: datetime) -> None:
    laboratory = next(
        one for one in organisations if one.kind == OrganisationKind.LABORATORY
    )
    for clinic in organisations:
        if clinic.kind == OrganisationKind.CLINIC:
            with tenant(laboratory.pk):
                made = Partnership.objects.create(
                    clinic=clinic,
                    laboratory=laboratory,
                    asked_by=laboratory,
                    asked_at=at,
                )
            with tenant(clinic.pk):
                made.accepted_at = at
                made.save(update_fields=["accepted_at"])


def find_players(known: Mapping[str, Mapping[str, Any]]) -> dict[str, Player] | None:
    """Return the people of an earlier start, or None before the first.

    ``known`` is what the people file says, by address. A person whose password
    does not stand there, or was changed since, gets a new one.
    """
    with operator():
        if not Organisation.objects.filter(name=COMPANIES[0].name).exists():
            return None
    players = {}
    for part in CAST:
        user = User.objects.get(email=_email(part, _companies()[part.company]))
        entry = known.get(user.email, {})
        password = str(entry.get("password", ""))
        totp = entry.get("totp_secret")
        if not user.check_password(password):
            password = _fresh_password()
            user.set_password(password)
            user.save(update_fields=["password"])
        if part.second_factor and not totp:
            totp = _second_factor(part, user)
        players[part.key] = _player(part, user, password=password, totp=totp)
    return players


def reissue_token(player: Player, *, at: datetime) -> str:
    """Revoke the demo's earlier token of a person and return a new one."""
    actor = player.actor
    with acting(actor):
        for token in selectors.tokens(actor=actor).filter(name=TOKEN_NAME):
            api_token_revoke(actor=actor, token_id=token.pk, at=at)
        _row, secret = api_token_create(
            actor=actor, name=TOKEN_NAME, days=TOKEN_DAYS, at=at
        )
    return secret


def write_people(file: Path, body: Mapping[str, Any]) -> None:
    """Write JSON that only its owner may read, whole or not at all."""
    draft = file.with_name(f".{file.name}.{secrets.token_hex(4)}")
    with os.fdopen(
        os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w"
    ) as out:
        json.dump(body, out, indent=2, ensure_ascii=False)
        out.write("\n")
    draft.replace(file)
