"""What keeping the facts and summaries of the audit costs whoever writes an outcome.

Run by hand: ``.venv/bin/python -m pytest tests/bench/bench_audit.py -s``. A fit report
is the commonest outcome. Its row is written with and without the triggers that keep the
facts, in a transaction that is taken back; the whole service stands beside it, and so
does a timeline entry that is no dispatch, for every step writes one. What counts is that
ten times the cases do not make keeping dearer, and that it is a small part of what a
report costs anyway.
"""

import statistics
import time
from datetime import date

import pytest
from django.core.management import call_command

from cases.services import outcome
from cases.services.outcome import FitInput
from tests.cases.services.remade import do
from tests.database import superuser, truncate_as_owner
from tests.permissions.states import dispatched
from tests.play import Play, build_world

ROUNDS = 200
SERVED = 15
UNTIL = date(2026, 2, 28)
REPORT = """
INSERT INTO cases_fitreport (case_id, outcome, findings, minutes, note, reported_by_id,
  reported_by_name, reported_at)
SELECT id, 'fitted', '["as_delivered"]', 20, '', created_by_id, '', now()
FROM cases_case WHERE id = %(case)s
"""
ENTRY = """
INSERT INTO cases_timelineentry (case_id, position, event, at, actor_membership_id,
  actor_side, state_before, state_after, internal, content_commitment, canonical,
  prev_hash, entry_hash)
SELECT case_id, position + 100, 'message.posted', at, actor_membership_id, actor_side,
  state_after, state_after, internal, content_commitment, canonical, '', ''
FROM cases_timelineentry WHERE case_id = %(case)s ORDER BY position DESC LIMIT 1
"""
WAITING = (
    "SELECT case_id FROM cases_auditfact WHERE NOT reported ORDER BY case_id LIMIT %s"
)


def written_ms(statement: str, table: str, keeping: str, *, keep: bool) -> float:
    """Return the median time of one row with or without a trigger; nothing stays."""
    with superuser() as raw:
        cases = [pk for (pk,) in raw.execute(WAITING, [ROUNDS])]
        # The columns of this entry do not say what was hashed; that is not measured.
        raw.execute(
            "ALTER TABLE cases_timelineentry DISABLE TRIGGER timeline_says_its_columns"
        )
        if not keep:
            raw.execute(f"ALTER TABLE {table} DISABLE TRIGGER {keeping}")
        times = []
        for pk in cases:
            start = time.perf_counter()
            raw.execute(statement, {"case": pk})
            times.append((time.perf_counter() - start) * 1000)
        raw.rollback()
    assert len(times) == ROUNDS
    return statistics.median(times)


def served_ms() -> float:
    """Return the median time of the service that reports a fit."""
    play = Play(build_world())
    report = FitInput(fitted=True, findings=["as_delivered"], minutes=20)
    times = []
    for _ in range(SERVED):
        case = dispatched(play)
        start = time.perf_counter()
        do(
            play,
            outcome.fit_report,
            play.world.assistant,
            case.code,
            version=None,
            report=report,
        )
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_an_outcome_costs_the_same_however_many_there_are():
    added = {}
    for many in (2_000, 20_000):
        truncate_as_owner()
        call_command(
            "load_volume",
            cases=many,
            until=UNTIL,
            yes_empty_database=True,
            verbosity=0,
        )
        report = ("cases_fitreport", "audit_fit_reported")
        entry = ("cases_timelineentry", "audit_case_dispatched")
        kept, bare = (written_ms(REPORT, *report, keep=k) for k in (True, False))
        told, quiet = (written_ms(ENTRY, *entry, keep=k) for k in (True, False))
        service = served_ms()
        added[many] = kept - bare
        print(
            f"{many:7} cases: report {kept:.2f} ms, without facts {bare:.2f} ms, added"
            f" {added[many]:.2f} ms of {service:.1f} ms the service takes; another"
            f" timeline entry {told:.2f} ms, without {quiet:.2f} ms"
        )
        assert added[many] < service / 3
    assert added[20_000] < 1.5 * added[2_000]
