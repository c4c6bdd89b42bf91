"""A laboratory's rule sets from copy to force; laboratory managers only.

A draft begins as a copy or an import, is edited (``rule_sets_edit``), proposed with
the day it should hold from, approved by a second manager and published
(``rule_sets_approval``). This module is the front door to all of it.
"""

import json
from datetime import datetime

from django.db import transaction

from cases import policies
from cases.errors import NotFound
from cases.models import (
    Organisation,
    RuleSetDraft,
    RuleSetPublication,
)
from cases.selectors.check_catalog import digest_now
from cases.services.rule_sets_approval import (
    draft_approve,
    draft_discard,
    draft_propose,
    draft_publish,
    draft_return,
)
from cases.services.rule_sets_edit import (
    draft_charges_save,
    draft_lines_save,
    draft_material_remove,
    draft_material_save,
    draft_settings_save,
    draft_span_limits_save,
)
from cases.services.rule_sets_store import (
    faults_of,
    read_rule_set,
)
from cases.tenancy import Actor
from rules.errors import Fault, InvalidRuleSet
from rules.loader import ruleset_by_digest, shipped_rule_set
from rules.parse import LARGEST_TOML, parse_toml
from rules.requirements import RuleSet

__all__ = [
    "draft_approve",
    "draft_charges_save",
    "draft_copy",
    "draft_discard",
    "draft_import",
    "draft_lines_save",
    "draft_material_remove",
    "draft_material_save",
    "draft_propose",
    "draft_publish",
    "draft_return",
    "draft_settings_save",
    "draft_span_limits_save",
]


def _make(
    rule_set: RuleSet, *, based_on: str, actor: Actor, at: datetime
) -> RuleSetDraft:
    return RuleSetDraft.objects.create(
        laboratory_id=actor.organisation_id,
        based_on=based_on,
        name=rule_set.name,
        label=rule_set.version,
        document=json.loads(rule_set.canonical),
        digest=rule_set.digest,
        created_by_id=actor.membership_id,
        created_by_name=actor.name,
        created_at=at,
        edited_by_id=actor.membership_id,
        edited_by_name=actor.name,
        edited_at=at,
    )


def _source(actor: Actor, digest: str, at: datetime) -> RuleSet:
    """Return the shipped set, one of the laboratory's, or for "" the one in force."""
    own = Organisation.objects.get(pk=actor.organisation_id)
    digest = digest or digest_now(own, at=at)
    shipped = shipped_rule_set()
    if digest in ("", shipped.digest):
        return shipped
    published = RuleSetPublication.objects.filter(laboratory=own, digest=digest)
    if digest != own.rule_set_digest and not published.exists():
        raise NotFound
    return ruleset_by_digest(digest)


@transaction.atomic
def draft_copy(
    *, actor: Actor, digest: str, name: str, label: str, at: datetime
) -> RuleSetDraft:
    """Begin a draft as a copy of a set: shipped, published here, or "" in force.

    Raises:
        NotAllowed: the actor does not manage the laboratory.
        NotFound: no such set here.
        Invalid: name or label, at ``/name`` and ``/label``.
    """
    policies.require_right(actor, "rule_sets")
    source = _source(actor, digest, at)
    document = {**source.dump(), "name": name, "version": label}
    return _make(read_rule_set(document), based_on=source.digest, actor=actor, at=at)


@transaction.atomic
def draft_import(*, actor: Actor, document: bytes | str, at: datetime) -> RuleSetDraft:
    """Begin a draft from a TOML text.

    Raises:
        NotAllowed: the actor does not manage the laboratory.
        Invalid: every fault with the core's pointer and the line it stands on;
            nothing was stored.
    """
    policies.require_right(actor, "rule_sets")
    try:
        rule_set = parse_toml(_text(document))
    except InvalidRuleSet as error:
        raise faults_of(error.faults) from error
    return _make(rule_set, based_on="", actor=actor, at=at)


def _text(document: bytes | str) -> str:
    if isinstance(document, str):
        return document
    # What is too long is refused by its length, whatever it holds.
    if len(document) > LARGEST_TOML:
        return document.decode("latin-1")
    try:
        return document.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = document[: error.start].count(b"\n") + 1
        fault = Fault("", "This text is not UTF-8: save it as UTF-8.", line=line)
        raise faults_of([fault]) from error
