"""Release against query, raw SQL on both sides: the database alone decides.

No service is called once the case stands ready; two sessions of the
application's login do what a program with a bug could do.
"""

import threading
from collections.abc import Iterator

import psycopg
import pytest
from django.db import connections

from cases.models import Case, WorkOrder
from cases.tenancy import acting
from tests.play import Play, build_world, sufficient_unit

RELEASE = """
INSERT INTO cases_workorder (code, case_id, laboratory_id, number, revision, round,
  based_on_id, prescription_signature_id, content, content_sha256, status,
  released_by_id, released_at, storage_key, pdf_sha256)
SELECT 'RACE000001', c.id, c.laboratory_id, 1, c.revision, c.round,
  c.current_check_id, p.signature_id, '{}', repeat('0', 64), 'active',
  %(member)s, now(), '', ''
FROM cases_case c JOIN cases_prescription p
  ON p.case_id = c.id AND p.revision = c.revision
WHERE c.code = %(case)s
"""
FLAG = """
INSERT INTO cases_flag (code, case_id, status, origin, reasons, text, sites, options,
  revision, round, rule_set_digest, raised_by_id, raised_by_name, raised_at,
  withdrawn_reason)
SELECT 'RACEFLAG01', c.id, 'open', 'laboratory', '["other"]', 'Wait.', '[]', '[]',
  c.revision, c.round, c.rule_set_digest, %(member)s, 'T', now(), ''
FROM cases_case c WHERE c.code = %(case)s
"""


def _session() -> psycopg.Connection:
    return psycopg.connect(**connections["default"].get_connection_params())


@pytest.fixture
def ready(transactional_db) -> tuple[Play, Case]:
    play = Play(build_world())
    case = play.at_check(sufficient_unit())
    play.clear(case)
    return play, case


@pytest.fixture
def sessions() -> Iterator[tuple[psycopg.Connection, psycopg.Connection]]:
    first, second = _session(), _session()
    yield first, second
    first.close()
    second.close()


def _begin(session: psycopg.Connection, play: Play) -> dict[str, object]:
    who = play.world.technician
    session.execute(
        "SELECT set_config('app.org', %s, true)", [str(who.organisation_id)]
    )
    return {"member": who.membership_id}


def _race(first, second, play: Play, case: Case, *statements: str) -> str | None:
    """Run statement 1, let statement 2 wait on it, commit both; say what failed."""
    values = _begin(first, play) | {"case": case.code}
    first.execute(statements[0], values)
    outcome: list[str | None] = []

    def other() -> None:
        values = _begin(second, play) | {"case": case.code}
        try:
            second.execute(statements[1], values)
            second.commit()
            outcome.append(None)
        except psycopg.Error as error:
            second.rollback()
            outcome.append(error.sqlstate)

    thread = threading.Thread(target=other)
    thread.start()
    thread.join(0.3)
    assert thread.is_alive(), "the second session must wait for the first"
    first.commit()
    thread.join(10)
    return outcome[0]


def test_a_query_after_the_release_is_refused(ready, sessions):
    play, case = ready
    assert _race(*sessions, play, case, RELEASE, FLAG) == "CB001"
    with acting(play.world.technician):
        assert WorkOrder.objects.filter(case=case, status="active").count() == 1
        assert case.flags.count() == 0


def test_a_release_after_the_query_is_refused(ready, sessions):
    play, case = ready
    assert _race(*sessions, play, case, FLAG, RELEASE) == "CB001"
    with acting(play.world.technician):
        assert WorkOrder.objects.filter(case=case).count() == 0
        assert case.flags.count() == 1


def test_two_releases_cannot_both_stand(ready, sessions):
    play, case = ready
    assert _race(*sessions, play, case, RELEASE, RELEASE) is not None
    with acting(play.world.technician):
        assert WorkOrder.objects.filter(case=case).count() == 1


@pytest.mark.parametrize(
    ("sabotage", "reason"),
    [
        ("UPDATE cases_case SET rule_set_digest = repeat('f', 64)", "no check"),
        ("UPDATE cases_case SET round = round + 1", "no check"),
    ],
)
def test_a_changed_ground_shuts_the_gate(ready, sessions, sabotage, reason):
    play, case = ready
    session, _ = sessions
    values = _begin(session, play) | {"case": case.code}
    session.execute(f"{sabotage} WHERE code = %(case)s", values)
    with pytest.raises(psycopg.Error) as refused:
        session.execute(RELEASE, values)
    session.rollback()
    assert refused.value.sqlstate == "CB001"
    assert reason in str(refused.value)


def test_a_case_cannot_be_called_cleared_by_hand(transactional_db, sessions):
    play = Play(build_world())
    case = play.at_check(sufficient_unit())
    session, _ = sessions
    values = _begin(session, play) | {"case": case.code}
    session.execute(FLAG, values)
    session.execute(
        "UPDATE cases_case SET state = 'cleared' WHERE code = %(case)s", values
    )
    with pytest.raises(psycopg.Error) as refused:
        session.commit()
    assert refused.value.sqlstate == "CB001"


def test_fabrication_needs_an_active_order(ready, sessions):
    play, case = ready
    session, _ = sessions
    values = _begin(session, play) | {"case": case.code}
    session.execute(
        "UPDATE cases_case SET state = 'in_fabrication' WHERE code = %(case)s", values
    )
    with pytest.raises(psycopg.Error) as refused:
        session.commit()
    assert refused.value.sqlstate == "CB001"
