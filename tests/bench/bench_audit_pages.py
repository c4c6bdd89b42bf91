"""What a page of the audit costs at ten thousand, a hundred thousand and a million cases.

Run by hand: ``.venv/bin/python -m pytest tests/bench/bench_audit_pages.py -s``. Each
size is loaded anew by ``load_volume`` into this run's own embedded PostgreSQL; the
million takes some twenty minutes and fifteen gigabytes. ``AUDIT_BENCH_CASES`` (say
``10000,100000``) chooses other sizes.

Everything is asked through Django's test client, signed in, one request after the other:
a page that was seen before, one under a filter nobody has used yet, and one of whose
months the last has changed meanwhile. Beside it stand the statement that counts the same
figures of the same twelve months, as the same login, and the same counts by DuckDB over
the same rows as a Parquet file. What counts is that a hundred times the cases do not make
the page that was seen before slower: at most 1.3 times. Growth is told in the time of the
clock and in processor time of this process; on a machine that does other things too, only
the latter can be compared between sizes.
"""

import json
import os
import resource
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from io import StringIO
from pathlib import Path
from typing import Any

import duckdb
import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client

from cases import clock
from cases.audit.filters import AuditFilters
from cases.models import User
from cases.selectors.audit_counting import counting_sql
from cases.selectors.audit_scope import audit_scope
from cases.services.audit_report import audit_report
from cases.tenancy import Actor, acting
from tests.cases.volume.loaded import people, rows
from tests.database import superuser

SIZES = [
    int(size)
    for size in os.environ.get("AUDIT_BENCH_CASES", "10000,100000,1000000").split(",")
]
LABORATORIES, CLINICS, MONTHS = 5, 50, 24
KEPT, BARE, STALE = 40, 5, 10
GROWTH = 1.3
PAGE, API = "/audit/", "/api/v1/audit/summary"
NARROWED = (
    *(f"material={m}" for m in ("metal_ceramic", "zirconia_3y", "lithium_disilicate")),
    *(f"tooth_class={c}" for c in ("molar", "premolar", "canine", "incisor")),
    *(f"method={m}" for m in ("strip", "scan", "silicone_caliper")),
    *(f"kind={k}" for k in ("crown", "bridge", "onlay")),
    *(f"cause={c}" for c in ("marginal_fit", "shade", "fracture")),
)
# The counts of ``counting_sql`` once more, over one table of facts and one of queries.
BY = [
    "clinic_id",
    "prescriber_id",
    "technician_id",
    "material",
    "kind",
    "tooth_class",
    "method",
]
SUMS = ", ".join(
    f"count(*) FILTER (WHERE {one})"
    for one in (
        [
            "reported",
            "fitted",
            "as_delivered",
            "restoration_adjusted",
            "opposing_adjusted",
            "remade",
            "internal_remakes>0",
            "flagged",
            "accepted",
        ]
    )
)
ADVERSE = "remade OR (reported AND NOT fitted) OR opposing_adjusted"
DUCK = (
    f"SELECT month, {', '.join(BY)}, count(*), {SUMS} FROM f GROUP BY GROUPING SETS"
    f" ((month), {', '.join(f'(month, {one})' for one in BY)})",
    "SELECT month, remake_cause, attribution, remake_detected, count(*) FROM f"
    " WHERE remade GROUP BY ALL",
    "SELECT month, internal_cause, count(*) FROM f WHERE internal_remakes > 0"
    " GROUP BY ALL",
    *(
        f"SELECT month, prescriber_id, {basis}_class, count(*),"
        " count(*) FILTER (WHERE remade), count(*) FILTER (WHERE opposing_adjusted),"
        f" count(*) FILTER (WHERE {ADVERSE}) FROM f WHERE reported GROUP BY ALL"
        for basis in ("first", "built")
    ),
    "SELECT month, prescriber_id, flagged, count(*),"
    " count(*) FILTER (WHERE opposing_adjusted) FROM f WHERE reported GROUP BY ALL",
    "SELECT month, first_verdict, option, CASE WHEN remade THEN 1 WHEN reported AND NOT"
    " fitted THEN 2 WHEN opposing_adjusted THEN 3 WHEN restoration_adjusted THEN 4"
    " WHEN reported THEN 5 ELSE 6 END AS outcome, count(*) FROM f GROUP BY ALL",
    "SELECT month, clinic_id, count(*), list(place ORDER BY place) FILTER (WHERE remade)"
    " FROM (SELECT *, row_number() OVER (PARTITION BY month, clinic_id"
    " ORDER BY dispatched_at, id) AS place FROM f) GROUP BY ALL",
    "SELECT month, remake_days, count(*) FROM f WHERE remade GROUP BY ALL",
    "SELECT month, dispatched_on, count(*) FROM f WHERE NOT remade GROUP BY ALL",
    "SELECT month, closed, option, count(*) FROM q GROUP BY ALL",
    "SELECT month, (asked_minutes + 14) // 15, count(*) FROM q GROUP BY ALL",
    "SELECT month, (answered_minutes + 14) // 15, count(*) FROM q GROUP BY ALL",
)
_table: dict[tuple[str, int], dict[str, float]] = {}


@pytest.fixture(scope="module", autouse=True)
def _told() -> Iterator[None]:
    yield
    for (what, size), found in sorted(_table.items()):
        shown = ", ".join(f"{name} {value:.1f}" for name, value in found.items())
        print(f"{what:16} {size:9,}: {shown}")


def times_ms(calls: Sequence[Callable[[], object]]) -> list[float]:
    return [clock_ms for clock_ms, _own in both_ms(calls)]


def both_ms(calls: Sequence[Callable[[], object]]) -> list[tuple[float, float]]:
    """Return how long each call took by the clock, and of the processor."""
    found = []
    for call in calls:
        start, own = time.perf_counter(), time.process_time()
        call()
        used = time.process_time() - own
        found.append(((time.perf_counter() - start) * 1000, used * 1000))
    return found


def p95(found: Sequence[float]) -> float:
    return sorted(found)[max(0, round(0.95 * len(found)) - 1)]


def signed_in(actor: Actor) -> Client:
    client = Client()
    client.force_login(User.objects.get(pk=actor.user_id))
    return client


def seen(client: Client, address: str) -> Callable[[], object]:
    def ask() -> None:
        answer = client.get(address)
        assert answer.status_code == 200, answer.content[:500]

    return ask


def outdate(actor: Actor) -> None:
    """Let the last month of somebody's organisation have changed."""
    with superuser() as raw:
        raw.execute(
            "UPDATE cases_auditmonth SET version = version + 1 WHERE organisation_id ="
            " %(who)s AND month = (SELECT max(month) FROM cases_auditmonth"
            " WHERE organisation_id = %(who)s)",
            {"who": actor.organisation_id},
        )


def forget(actor: Actor) -> None:
    """Forget what was kept, so that the next view is a first one."""
    with superuser() as raw:
        raw.execute(
            "DELETE FROM cases_auditmemo WHERE organisation_id = %s",
            [actor.organisation_id],
        )


def filters() -> AuditFilters:
    return AuditFilters.read({}, today=clock.now().date())


def bare(scope: Any, wanted: AuditFilters) -> None:
    with connection.cursor() as cursor:
        months = [*wanted.months]
        cursor.execute(counting_sql(scope), {**scope.values, "months": months})
        # As what is kept is: text of JSON, read.
        assert len([json.loads(figures) for _month, figures in cursor]) == len(months)


def parquet(
    actor: Actor, wanted: AuditFilters, folder: Path
) -> duckdb.DuckDBPyConnection:
    """Return DuckDB with the same rows as two Parquet files."""
    duck = duckdb.connect()
    duck.execute("SET threads = 1")
    side = f"{actor.side}_id"
    for name, table in (("f", "cases_auditfact"), ("q", "cases_auditquery")):
        text, file = folder / f"{name}.csv", folder / f"{name}.parquet"
        with superuser() as raw, raw.cursor() as cursor, text.open("wb") as out:
            command = (
                f"COPY (SELECT * FROM {table} WHERE {side} = {actor.organisation_id}"
                f" AND month BETWEEN '{wanted.first}' AND '{wanted.last}')"
                " TO STDOUT (FORMAT csv, HEADER)"
            )
            with cursor.copy(command) as copy:
                for piece in copy:
                    out.write(piece)
        duck.execute(f"COPY (FROM read_csv('{text}')) TO '{file}'")
        duck.execute(f"CREATE VIEW {name} AS FROM '{file}'")
    return duck


def counted(actor: Actor, folder: Path) -> dict[str, float]:
    """Return how long the same counts take without a portal, in ms."""
    wanted = filters()
    with acting(actor):
        scope = audit_scope(actor=actor, filters=wanted)
        took = times_ms([lambda: bare(scope, wanted)] * BARE)
        at = clock.now()
        built = times_ms(
            [lambda: audit_report(actor=actor, filters=wanted, at=at)] * BARE
        )
    duck = parquet(actor, wanted, folder)
    fast = times_ms([lambda: [duck.execute(one).fetchall() for one in DUCK]] * BARE)
    return {
        "bare SQL": statistics.median(took),
        "report without page": statistics.median(built[1:]),
        "DuckDB": statistics.median(fast),
    }


def asked(actor: Actor, address: str) -> dict[str, float]:
    """Return how long pages take that were seen, were not, and are out of date."""
    client = signed_in(actor)
    forget(actor)
    whole = times_ms([seen(client, address)])
    both = both_ms([seen(client, address)] * KEPT)
    kept = [clock_ms for clock_ms, _own in both]
    first = times_ms([seen(client, f"{address}?{one}") for one in NARROWED])
    stale = []
    for _ in range(STALE):
        outdate(actor)
        stale += times_ms([seen(client, address)])
    return {
        "kept p50": statistics.median(kept),
        "p95": p95(kept),
        "kept processor p50": statistics.median(own for _clock, own in both),
        "first of all": whole[0],
        "first of a filter p50": statistics.median(first),
        "first p95": p95(first),
        "one month stale p50": statistics.median(stale),
        "stale p95": p95(stale),
    }


def loaded(size: int) -> None:
    began = time.perf_counter()
    call_command(
        "load_volume",
        cases=size,
        laboratories=LABORATORIES,
        clinics=CLINICS,
        months=MONTHS,
        yes_empty_database=True,
        stdout=StringIO(),
    )
    took = time.perf_counter() - began
    ((stored, facts),) = rows(
        "SELECT pg_database_size(current_database()), (SELECT count(*) FROM cases_auditfact)"
    )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"\n{size:,} cases loaded in {took:.0f} s ({size / took:,.0f} a second), {facts:,}"
        f" restorations, {stored / 1e9:.2f} GB, peak of this process {peak:.0f} MB,"
        f" load average {os.getloadavg()[0]:.1f}"
    )


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
@pytest.mark.parametrize("size", SIZES)
def test_pages_of_the_audit(size: int, settings: Any, tmp_path: Path):
    settings.REQUIRE_SECOND_FACTOR = False
    loaded(size)
    for role in ("lab_manager", "clinic_manager"):
        actor = people(role)[0]
        floor = counted(actor, tmp_path)
        _table[(f"{role} counts", size)] = floor
        for what, address in (("page", PAGE), ("API", API)):
            found = asked(actor, address)
            _table[(f"{role} {what}", size)] = found
            ratios = {
                "kept / bare SQL": found["kept p50"] / floor["bare SQL"],
                "first / bare SQL": found["first of all"] / floor["bare SQL"],
                "kept / DuckDB": found["kept p50"] / floor["DuckDB"],
            }
            shown = {**found, **(floor if what == "page" else {}), **ratios}
            print(f"{role}, {what}, load {os.getloadavg()[0]:.1f}")
            print("  " + ", ".join(f"{name} {one:.2f}" for name, one in shown.items()))
            print(f"  growth since {SIZES[0]:,}: {growth(role, what, size)}")
    assert growth("lab_manager", "page", size)["kept processor p50"] < 2 * GROWTH


def growth(role: str, what: str, size: int) -> dict[str, float]:
    """Return how many times as long it takes as at the smallest size."""
    least = _table[(f"{role} {what}", SIZES[0])]
    found = _table[(f"{role} {what}", size)]
    names = ("kept p50", "kept processor p50")
    return {name: round(found[name] / least[name], 2) for name in names}
