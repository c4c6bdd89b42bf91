"""Stored rule sets: found by digest, immutable, loaded once."""

import json
from datetime import UTC, datetime
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction

from rules.errors import UnknownRuleSet
from rules.loader import ruleset_by_digest, shipped_rule_set
from rules.models import RuleSetVersion
from rules.parse import parse_rule_set
from tests.rules.builders import SHIPPED

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def other_set(version="mine"):
    return parse_rule_set(json.loads(SHIPPED.canonical) | {"version": version})


def store(rule_set, **fields):
    return RuleSetVersion.objects.create(
        **{
            "digest": rule_set.digest,
            "name": rule_set.name,
            "version": rule_set.version,
            "payload": json.loads(rule_set.canonical),
            "published_at": AT,
        }
        | fields
    )


def test_the_shipped_set_needs_no_row():
    assert shipped_rule_set() == SHIPPED
    assert shipped_rule_set() is shipped_rule_set()
    assert ruleset_by_digest(SHIPPED.digest) is shipped_rule_set()


@pytest.mark.parametrize("digest", ["", "x", "\x00", "A" * 64, "é" * 64])
def test_what_is_no_digest_is_unknown(digest):
    with pytest.raises(UnknownRuleSet):
        ruleset_by_digest(digest)


@pytest.mark.django_db
def test_a_stored_set_comes_back_equal():
    mine = other_set()
    with pytest.raises(UnknownRuleSet):
        ruleset_by_digest(mine.digest)
    row = store(mine)
    assert ruleset_by_digest(mine.digest) == mine
    assert str(row) == f"{SHIPPED.name} mine ({mine.digest[:12]})"


@pytest.mark.django_db
def test_a_row_that_does_not_match_its_digest_is_not_served():
    mine = other_set("3")
    store(mine, payload=json.loads(SHIPPED.canonical))
    with pytest.raises(UnknownRuleSet):
        ruleset_by_digest(mine.digest)


@pytest.mark.django_db
def test_a_stored_set_cannot_change():
    row = store(other_set("4"))
    row.name = "Other"
    with pytest.raises(TypeError, match="cannot change"):
        row.save()
    with pytest.raises(TypeError, match="cannot be deleted"):
        row.delete()
    assert RuleSetVersion.objects.get(pk=row.pk).name == SHIPPED.name


@pytest.mark.django_db
def test_a_digest_is_stored_once_and_looks_like_one():
    store(other_set("5"))
    with pytest.raises(IntegrityError), transaction.atomic():
        store(other_set("5"))
    with pytest.raises(IntegrityError), transaction.atomic():
        store(other_set("6"), digest="no digest")


@pytest.mark.django_db
def test_load_rules_stores_the_shipped_set_once():
    said = []
    for _ in range(2):
        out = StringIO()
        call_command("load_rules", stdout=out)
        said.append(out.getvalue())
    assert said[1] == f"{SHIPPED.name} {SHIPPED.version}: already stored\n"
    row = RuleSetVersion.objects.get(digest=SHIPPED.digest)
    assert parse_rule_set(row.payload) == SHIPPED
