"""Another organisation's code in every address looks like a code nobody has.

The addresses come from the URLconf, so a new one is asked as soon as it exists; the
answers are compared byte by byte with those to a random code of the same form.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.core.cache import cache
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from cases.services import (
    audit_set_up,
    delegations,
    invitations,
    rule_set_impact,
    rule_sets,
    tokens,
)
from cases.services.attachments import attachment_add
from cases.services.remake_causes import cause_add
from cases.tenancy import acting
from rules.loader import shipped_rule_set
from tests.cases.services.remade import built_at_risk, delivered, opened
from tests.cases.services.test_instruments import save
from tests.cases.services.test_instruments_studies import record
from tests.permissions.shape import play_of
from tests.personas import Persona, Personas, client_of
from tests.play import AT, sufficient_unit, unit

PDF = b"%PDF-1.4\n%%EOF\n"
NOBODYS = "ZZZZZZZZZZ"
# Addresses without a row of anybody's, and those whose secret is the permission.
OPEN = {
    "verify",
    "invitation",
    "account_reset_password_from_key",
    "audit_digest_mail",
    "audit_export",
}
# The operator's: refused to everybody else before any row is asked for.
OPERATORS = {"operator_invite"}
# What a laboratory works by is its clinics' to read.
PARTNERS = {"rule_set", "rule_set_file"}
# What is done on the page of a remake.
REMAKES = (
    "remake",
    "remake_state",
    "remake_loss",
    "remake_trace_add",
    "remake_trace_withdraw",
)
PART = {"HX-Request": "true"}
BOOSTED = {"HX-Request": "true", "HX-Boosted": "true"}
RESTORED = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
KNOWN = {"If-None-Match": "*", "If-Match": '"1"', "Idempotency-Key": "k"}
# How a page is asked for, and how the API is.
ASKED = {
    "page": (
        ("GET", {}),
        ("GET", PART),
        ("GET", BOOSTED),
        ("GET", RESTORED),
        ("GET", KNOWN),
        ("POST", {}),
        ("POST", PART),
    ),
    "api": (("GET", {}), ("GET", KNOWN), ("POST", KNOWN), ("PATCH", KNOWN)),
}
# What differs between any two answers of the same page.
_VARIES = re.compile(
    rb'(name="csrfmiddlewaretoken" value="|X-CSRFToken[^0-9A-Za-z]+|nonce="'
    rb"|nonce-)[0-9A-Za-z+/=_-]+"
)


@dataclass(frozen=True)
class Address:
    """A URL pattern: its name and the names of its arguments."""

    name: str
    arguments: tuple[str, ...]


def _addresses(patterns: list[URLPattern | URLResolver]) -> Iterator[Address]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _addresses(pattern.url_patterns)
        else:
            regex = pattern.pattern.regex
            yield Address(str(pattern.name), tuple(regex.groupindex))


def addresses() -> list[Address]:
    """Return every address that names a row."""
    found = _addresses(get_resolver().url_patterns)
    return [a for a in found if a.arguments and a.name not in OPEN | OPERATORS]


@dataclass
class Rows:
    """What clinic A and laboratory L have, by what an address may ask for."""

    case: str
    flag: str
    order: str
    attachment: str
    invitation: str
    laboratory: str
    instrument: str
    study: str
    draft: str
    impact: str
    remade: str
    cause: str
    note: str
    view: str
    remake: int
    trace: int
    pks: dict[str, int]

    def code(self, name: str) -> str:
        """Return the code an address of this name takes."""
        plain = name.removeprefix("api_")
        for start, code in (
            ("flag_", self.flag),
            ("work_order", self.order),
            ("invitation", self.invitation),
            ("instrument", self.instrument),
            ("study", self.study),
            ("rule_set_impact_start", self.draft),
            ("rule_set_impact", self.impact),
            ("rule_set", self.draft),
            ("remake_cause", self.cause),
            ("remake", self.remade),
            ("audit_note", self.note),
            ("audit_view", self.view),
        ):
            if plain.startswith(start):
                return code
        return self.case


@pytest.fixture
def rows(personas: Personas) -> Rows:
    """A case on hold after its release, with a file; and rows of the organisation."""
    play, who = play_of(personas), personas.clinician.actor
    case = play.at_check(sufficient_unit())
    play.clear(case)
    order = play.release(case)
    flagged = play.at_check(unit())
    flag = play.flag(flagged)
    with acting(who):
        file = attachment_add(
            actor=who, code=case.code, name="a.pdf", content=PDF, internal=False, at=AT
        )
        delegated = delegations.delegation_create(
            actor=who,
            delegate_membership_id=personas.colleague.membership.pk,
            starts_on=AT.date(),
            ends_on=AT.date(),
            note="Away.",
            at=AT,
        )
        token, _secret = tokens.api_token_create(actor=who, name="x", days=3, at=AT)
    manager = personas.clinic_manager.actor
    with acting(manager):
        invited = invitations.invitation_create(
            actor=manager, email="new@example.org", role="assistant", at=AT
        )
    with acting(personas.lab_manager.actor):
        draft = rule_sets.draft_copy(
            actor=personas.lab_manager.actor, digest="", name="Own", label="1", at=AT
        )
        impact = rule_set_impact.impact_start(
            actor=personas.lab_manager.actor, code=draft.code, at=AT
        )
        cause = cause_add(actor=personas.lab_manager.actor, label="Alloy", at=AT)
    made = opened(play, delivered(play, built_at_risk(play)))
    with acting(who):
        trace = made.traces.first()
        assert trace is not None
    with acting(manager):
        note = audit_set_up.note_add(
            actor=manager, on=AT.date(), text="Training held", at=AT
        )
        view = audit_set_up.view_save(
            actor=manager, name="Mine", page="overview", query="", at=AT
        )
    return Rows(
        remade=made.case.code,
        remake=made.pk,
        trace=trace.pk,
        cause=cause.code,
        note=note.code,
        view=view.code,
        laboratory=personas.laboratory.code,
        instrument=save(personas.assistant.actor).code,
        study=record(personas.assistant.actor).code,
        draft=draft.code,
        impact=impact.code,
        case=case.code,
        flag=flag.code,
        order=order.code,
        attachment=file.code,
        invitation=invited.code,
        pks={
            "membership_end": personas.assistant.membership.pk,
            "membership_update": personas.technician.membership.pk,
            "partnership_accept": personas.partnership.pk,
            "partnership_end": personas.partnership.pk,
            "delegation_end": delegated.pk,
            "token_revoke": token.pk,
            **dict.fromkeys(REMAKES, made.pk),
        },
    )


def _path(address: Address, rows: Rows | None) -> str:
    known: dict[str, Any] = {
        "code": rows.code(address.name) if rows else NOBODYS,
        "attachment": rows.attachment if rows else NOBODYS,
        "pk": rows.pks[address.name] if rows and "pk" in address.arguments else 2**40,
        "remake": str(rows.remake if rows else 2**40),
        "trace": rows.trace if rows else 2**40,
        "laboratory": rows.laboratory if rows else NOBODYS,
        "digest": shipped_rule_set().digest,
        "material": "full_metal",
        "tooth": "36",
        "site": "lingual_cusps",
        "quantity": "clearance",
    }
    values = {name: known[name] for name in address.arguments}
    return reverse(address.name, kwargs=values)


def _answer(client: Client, method: str, path: str, headers: dict[str, str]) -> Any:
    """Return status, headers and bytes; what was changed is rolled back."""
    cache.clear()
    body: dict[str, Any] = {}
    if method in {"POST", "PATCH"} and path.startswith("/api/"):
        body = {"data": "{}", "content_type": "application/json"}
        if path.endswith("/attachments"):
            body = {}
    with transaction.atomic():
        response = getattr(client, method.lower())(path, headers=headers, **body)
        transaction.set_rollback(True)
    content = _VARIES.sub(rb"\1", response.content)
    told = {
        key: _VARIES.sub(rb"\1", value.encode()).decode()
        for key, value in response.items()
    }
    return response.status_code, told, content


def _differences(person: Persona, rows: Rows) -> list[str]:
    client = client_of(person)
    client.raise_request_exception = False
    found = []
    partner = person.actor.side == "clinic"
    for address in addresses():
        if partner and address.name in PARTNERS:
            continue
        theirs, nobodys = _path(address, rows), _path(address, None)
        kind = "api" if theirs.startswith("/api/") else "page"
        for method, headers in ASKED[kind]:
            one = _answer(client, method, theirs, headers)
            other = _answer(client, method, nobodys, headers)
            # An address may repeat itself, but tells nothing by it.
            shown = str(one).replace(theirs, nobodys)
            if shown != str(other) or one[0] not in {403, 404, 405}:
                found.append(f"{method} {theirs} {headers}: {one[0]}, {other[0]}")
    return found


@pytest.mark.parametrize("who", ["clinician_b", "technician_m"])
def test_anothers_code_looks_like_nobodys(
    personas: Personas, rows: Rows, who: str
) -> None:
    assert len(addresses()) > 70
    assert _differences(personas.named(who), rows) == []
