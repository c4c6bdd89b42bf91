"""How a list page grows with the number of cases, against its bare SQL.

Run by hand: ``.venv/bin/python -m pytest tests/bench/bench_list.py -s``. The floor is
the one statement that finds the page's rows, as the same login; what counts is the
ratio, and that ten times the cases do not make the page slower.
"""

import statistics
import time
from collections.abc import Callable

import pytest
from django.db import connection

from cases.models import Case
from cases.selectors.cases import CaseFilters, case_page
from cases.tenancy import acting
from tests.database import superuser
from tests.play import Play, build_world, sufficient_unit

ROUNDS = 15
COPY = """
INSERT INTO cases_case (code, clinic_id, laboratory_id, prescriber_id, created_by_id,
  state, version, round, revision, rule_set_digest, verdict, held_from, hold_targets,
  records_due, missing, pan_number, contents_received, charged_work, created_at,
  submitted_at, moved_at)
SELECT lpad(n::text, 10, '0'), clinic_id, laboratory_id, prescriber_id, created_by_id,
  state, version, round, revision, rule_set_digest, verdict, held_from, hold_targets,
  records_due, missing, '', contents_received, charged_work,
  created_at - n * interval '1 minute', submitted_at, moved_at
FROM cases_case, generate_series(%s::int, %s::int) n WHERE code = %s
"""


def median_ms(call: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        call()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def _fill(case: Case, first: int, last: int) -> None:
    with superuser() as raw:
        raw.execute(COPY, [first, last, case.code])
        raw.execute("ANALYZE cases_case; ANALYZE cases_caseparty")


@pytest.mark.django_db(transaction=True)
def test_list_grows_with_the_page_not_with_the_table():
    play = Play(build_world())
    case = play.at_check(sufficient_unit())
    who = play.world.technician

    def page() -> object:
        with acting(who):
            return case_page(actor=who, filters=CaseFilters(states=("at_check",)))

    def floor() -> object:
        with acting(who), connection.cursor() as cursor:
            cursor.execute(
                "SELECT * FROM cases_case WHERE laboratory_id = %s AND state = 'at_check'"
                " AND submitted_at IS NOT NULL ORDER BY created_at DESC, id DESC LIMIT 51",
                [who.organisation_id],
            )
            return cursor.fetchall()

    took = {}
    last = 0
    for total in (1_000, 10_000, 100_000):
        _fill(case, last + 1, total)
        last = total
        took[total] = median_ms(page)
        least = median_ms(floor)
        print(
            f"{total:7} cases: page {took[total]:6.1f} ms, floor {least:5.1f} ms, "
            f"x{took[total] / least:.1f}"
        )
    assert took[100_000] < 3 * took[1_000]
