"""Every address against every persona; an address without a row fails.

The table is data: tests/permissions/ says how to add to it.
"""

import json
from collections.abc import Iterator

import pytest
from django.core.cache import cache
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.permissions import ALL, Row, Target
from tests.personas import Personas


def names(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
    """Yield the name of every pattern, with its text where it has none."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from names(pattern.url_patterns)
        else:
            yield pattern.name or f"unnamed: {pattern.pattern}"


def test_every_address_has_a_row_and_every_row_an_address():
    in_table = {row.name for row in ALL}
    addresses = set(names(get_resolver().url_patterns))

    assert sorted(addresses - in_table) == []
    assert sorted(in_table - addresses) == []


def test_no_row_is_written_twice():
    keys = [(row.name, row.method, row.case) for row in ALL]

    assert len(keys) == len(set(keys))


def ask(personas: Personas, persona: str, row: Row, target: Target) -> int:
    """Return the status one persona gets; what they changed is rolled back."""
    client = Client(raise_request_exception=False)
    if persona == "operator":
        client.force_login(personas.operator)
    elif persona != "anonymous":
        client.force_login(personas.named(persona).user)
    path = reverse(row.name, kwargs=target.kwargs)
    if target.json is not None:
        response = client.generic(
            row.method,
            path,
            json.dumps(target.json),
            content_type="application/json",
            headers=target.headers,
        )
    else:
        call = getattr(client, row.method.lower())
        response = call(path, target.data, headers=target.headers)
    return int(response.status_code)


@pytest.mark.parametrize(
    "row", ALL, ids=lambda row: f"{row.method} {row.name} {row.case}".strip()
)
def test_who_may(row: Row, personas: Personas):
    target = row.arrange(personas)
    got = {}
    for persona in row.statuses():
        cache.clear()
        with transaction.atomic():
            got[persona] = ask(personas, persona, row, target)
            transaction.set_rollback(True)

    assert got == row.statuses()
