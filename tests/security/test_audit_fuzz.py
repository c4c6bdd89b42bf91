"""Every address of the audit with hundreds of made-up query strings, as everybody.

Nothing may be a fault of the portal's (500), and nobody may read a name or a code of
what is not theirs, whatever the address says.
"""

import random
from collections.abc import Iterator
from urllib.parse import quote

import pytest
from django.core.cache import cache
from django.db import transaction
from django.test import Client

from cases.audit.filters import AuditFilters
from cases.documents.audit_tables import NAMES
from cases.services.audit_set_up import settings_save
from cases.tenancy import acting
from tests.audit_rows import multiplied
from tests.permissions.shape import play_of
from tests.permissions.states import dispatched
from tests.personas import Personas, client_of
from tests.play import AT

PAGES = ("", "rates/", "clearance/", "queries/", "clinics/", "compare/", "cases/")
OTHERS = ("views/", "notes/", "set-up/", "report.pdf")
API = (
    "summary",
    "rates",
    "causes",
    "control-chart",
    "funnel",
    "clearance",
    "queries",
    "cases",
)
_FILTERS = [n for n in AuditFilters.__dataclass_fields__ if n not in ("first", "last")]
NAMES_ASKED = (
    *_FILTERS,
    "from",
    "to",
    "from2",
    "to2",
    "measure",
    "after",
    "cursor",
    "limit",
    "format",
    "table",
    "quarter",
    "page",
    "query",
    "as_of",
    "first",
    "clinic[]",
    "__proto__",
)
HOSTILE = (
    "",
    " ",
    "0",
    "-1",
    "1",
    "999999999999999999",
    "9223372036854775808",
    "9" * 5000,
    "\u0661\u0662",
    "\uff11",
    "\u00b2",
    "1e9",
    "1.5",
    "true",
    "null",
    "[]",
    "%s",
    "%(organisation)s",
    "{n}",
    "{0.__class__}",
    "' OR 1=1 --",
    '"; DROP TABLE cases_auditfact; --',
    "\x00",
    "a\x00b",
    "\r\nSet-Cookie: a=b",
    "<script>alert(1)</script>",
    '"><svg onload=alert(1)>',
    "javascript:alert(1)",
    "//evil.example/",
    "..%2f..%2fetc",
    "\ud7ff\U0001f600" * 30,
    "\u202e\u200b\ufeff",
    "x" * 61,
    "x" * 3000,
    "ABCDE12345",
    "clinic",
    "internal",
    "remade",
    "not_reported",
    "adverse",
    "flagged",
    "yes",
    "no",
    "crown",
    "bridge",
    "shade",
    "withdrawn",
    "other",
    "insufficient",
    "up_to_025",
    "up_to_025.up_to_050",
    "up_to_050.up_to_025",
    "...",
    "2026-01",
    "2026-02",
    "2026-13",
    "2026-1",
    "0000-00",
    "9999-12",
    "2000-01",
    "1999-12",
    "2026-Q1",
    "2000-Q1",
    "2099-Q4",
    "json",
    "csv",
    "rates-material",
    "MjAyNi0wMS0wMXwyMDI2LTAxLTAxVDAwOjAwOjAwKzAwOjAwfDE=",
    "MDAwMS0wMS0wMXwwMDAxLTAxLTAxVDAwOjAwOjAwKzIzOjU5fDE=",
    "OTk5OS0xMi0zMXw5OTk5LTEyLTMxVDIzOjU5OjU5LTIzOjU5fDE=",
    "fHx8",
    "====",
)


LIKELY = {
    "from": ("2025-11", "2026-01", "2026-02"),
    "to": ("2026-02", "2026-03"),
    "quarter": ("2026-Q1",),
    "outcome": ("remade", "adverse", "internal", "flagged", "not_reported"),
    "cause": ("shade", "fracture", "casting"),
    "flagged": ("yes", "no"),
    "kind": ("crown", "bridge"),
    "first_class": ("sufficient", "up_to_025.up_to_050", "unmeasured"),
    "built_class": ("over_050", "undecided"),
    "first_verdict": ("insufficient", "sufficient"),
    "measure": ("remade", "opposing_adjusted", "internal"),
    "limit": ("1", "200"),
}


def _pair(chance: random.Random) -> str:
    if chance.random() < 0.5:
        name = chance.choice([*LIKELY])
        return f"{name}={chance.choice(LIKELY[name])}"
    name = chance.choice(NAMES_ASKED)
    value = quote(chance.choice(HOSTILE), safe=chance.choice(("", "/:=%")))
    return chance.choice((*(f"{name}={value}",) * 6, name, f"{name}=%ff%fe"))


def _query(chance: random.Random) -> str:
    """Return a query string: names that are read and others, doubled, bare, broken."""
    parts = [_pair(chance) for _ in range(chance.randint(0, 5))]
    return chance.choice(("&", "&", "&", ";", "&&")).join(parts)


def _addresses() -> list[str]:
    pages = [f"/audit/{page}" for page in (*PAGES, *OTHERS)]
    files = [f"/audit/export/{name}.csv" for name in (*NAMES, "cases", "rates-clinic")]
    return [*pages, *files, *(f"/api/v1/audit/{name}" for name in API)]


@pytest.fixture
def busy(personas: Personas) -> Personas:
    """Facts of clinic A at laboratory L, enough to be shown."""
    dispatched(play_of(personas))
    multiplied(100, 160)
    multiplied(200, 212, remade=True, cause="shade")
    colleague = str(personas.colleague.user.pk)
    multiplied(300, 340, prescriber_id=colleague)
    multiplied(400, 407, remade=True, cause="fracture", prescriber_id=colleague)
    manager = personas.clinic_manager.actor
    for one in (manager, personas.lab_manager.actor):
        with acting(one):
            settings_save(
                actor=one,
                small_number=5,
                least_cases=10,
                compare_people=True,
                monthly_digest=True,
                currency="EUR",
                at=AT,
            )
    return personas


READERS = (
    "clinician",
    "colleague",
    "assistant",
    "clinic_manager",
    "clinician_b",
    "technician",
    "lab_manager",
    "technician_m",
)
WITHOUT = {"assistant", "technician", "technician_m"}
FOREIGN = {
    "clinician": ("Clinic B", "Laboratory M", "Colleague Test"),
    "colleague": ("Clinic B", "Laboratory M", "Clinician Test"),
    "clinic_manager": ("Clinic B", "Laboratory M", "Technician Test"),
    "clinician_b": ("Clinic A", "Laboratory M", "Clinician Test", "Colleague Test"),
    "lab_manager": ("Laboratory M", "Clinician B Test"),
}
TIMES = 120
EXPECTED = {200, 400, 403, 404, 406, 422, 429}


def _asked(client: Client, addresses: list[str], seed: int, times: int) -> Iterator:
    chance = random.Random(seed)  # noqa: S311 -- invented addresses, not secrets
    for _ in range(times):
        cache.clear()
        path = f"{chance.choice(addresses)}?{_query(chance)}"
        with transaction.atomic():
            yield path, client.get(path)
            transaction.set_rollback(True)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("who", READERS)
def test_no_address_is_a_fault_or_tells_of_others(busy: Personas, who: str) -> None:
    client = client_of(busy.named(who))
    client.raise_request_exception = False
    seen: set[int] = set()
    for path, answer in _asked(client, _addresses(), READERS.index(who), TIMES):
        seen.add(answer.status_code)
        assert answer.status_code in EXPECTED, path
        if who in WITHOUT:
            assert answer.status_code != 200, path
        told = answer.content.decode(errors="replace")
        if "html" in answer.headers["Content-Type"]:
            assert "<script>alert" not in told, path
            assert "onload=alert(1)>" not in told, path
        for name in FOREIGN.get(who, ()):
            assert name not in told, (path, name)
        assert "evil.example" not in answer.headers.get("Location", "")
    assert who in WITHOUT or {200, 422} <= seen
