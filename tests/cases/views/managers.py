"""A second laboratory manager, and drafts and published sets for page tests."""

from datetime import timedelta
from typing import Any

from django.test import Client

from cases import clock
from cases.enums import Role
from cases.models import RuleSetDraft
from cases.selectors.rule_sets import draft_get
from cases.services import rule_sets as services
from cases.tenancy import Actor, acting
from rules.loader import ruleset_by_digest
from rules.requirements import RuleSet
from tests.cases.views.conftest import Desk
from tests.factories import actor_of, make_membership, make_user
from tests.personas import client_of

__all__ = [
    "copied",
    "fresh",
    "proposed",
    "published",
    "second_browser",
    "second_manager",
]


def second_manager(desk: Desk) -> Actor:
    """Return another manager of laboratory L, always the same one."""
    laboratory = desk.personas.laboratory
    user = make_user(f"second.{clock.now().timestamp()}@example.org", "Second Test")
    return actor_of(make_membership(laboratory, user, Role.LAB_MANAGER))


def second_browser(desk: Desk) -> Client:
    """Return the browser of a second manager."""
    user = make_user("second@example.org", "Second Test")
    make_membership(desk.personas.laboratory, user, Role.LAB_MANAGER)
    return client_of(user)


def copied(desk: Desk, *, name: str = "Laboratory L", label: str = "1") -> RuleSetDraft:
    """Copy the shipped set as the laboratory's manager."""
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        return services.draft_copy(
            actor=actor, digest="", name=name, label=label, at=clock.now()
        )


def fresh(desk: Desk, draft: RuleSetDraft) -> RuleSetDraft:
    """Return a draft as it is now."""
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        return draft_get(actor=actor, code=draft.code)


def _settings(desk: Desk, draft: RuleSetDraft, k: str) -> None:
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        services.draft_settings_save(
            actor=actor,
            code=draft.code,
            version=None,
            name=draft.name,
            label=draft.label,
            decision={**draft.document["decision"], "k": k},
            methods=draft.document["methods"],
            at=clock.now(),
        )


def proposed(desk: Desk, draft: RuleSetDraft, *, days: int = 0) -> RuleSetDraft:
    """Propose a draft to hold so many days from now."""
    actor = desk.personas.lab_manager.actor
    with acting(actor):
        return services.draft_propose(
            actor=actor,
            code=draft.code,
            version=None,
            effective_from=clock.now().date() + timedelta(days=days),
            note="Look at the guard factor.",
            at=clock.now(),
        )


def published(desk: Desk, *, days: int = 0, k: str = "", **values: Any) -> RuleSet:
    """Copy, propose, approve and publish; return the set."""
    draft = copied(desk, **values)
    if k:
        _settings(desk, draft, k)
    proposed(desk, draft, days=days)
    second = second_manager(desk)
    with acting(second):
        for step in (services.draft_approve, services.draft_publish):
            step(actor=second, code=draft.code, version=None, at=clock.now())
        return ruleset_by_digest(fresh(desk, draft).digest)
