"""Cases loaded by the thousand are whole, true, and nobody else's."""

import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from cases.management.volume import guards
from cases.management.volume.sheets import COLUMNS
from cases.management.volume.verify import sample_faults
from cases.models import Organisation, User
from cases.tenancy import operator
from tests.cases.services.remade import built_at_risk, delivered, opened
from tests.cases.volume.loaded import UNTIL, load, people, rows
from tests.database import superuser, truncate_as_owner
from tests.play import Play, build_world

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def test_a_volume_is_whole_and_true():
    said = load(cases=1500, seed=3)

    assert "a sample of 200 verified" in said
    numbers = [pk for (pk,) in rows("SELECT id FROM cases_case ORDER BY id")]
    assert len(numbers) >= 1500
    with superuser() as connection:
        assert sample_faults(connection, numbers) == []
    kinds = {kind for (kind,) in rows("SELECT DISTINCT kind FROM cases_answer")}
    assert kinds >= {"re_preparation", "change_material", "accept_risk", "cancel"}
    states = {state for (state,) in rows("SELECT DISTINCT state FROM cases_case")}
    assert states >= {"fitted", "not_fitted", "dispatched", "on_hold", "cancelled"}
    # Nothing is told that lies ahead.
    assert rows("SELECT max(at)::date FROM cases_timelineentry")[0][0] <= UNTIL
    for table in ("auditfact", "auditquery", "auditmonth", "remake", "remaketrace"):
        assert rows(f"SELECT count(*) > 0 FROM cases_{table}") == [(True,)]


def test_the_verification_sees_what_was_changed():
    load(cases=60, seed=3)
    numbers = [pk for (pk,) in rows("SELECT id FROM cases_case ORDER BY id")]
    with superuser() as connection:
        connection.execute("SET LOCAL session_replication_role = replica")
        for change in (
            "UPDATE cases_timelineentry SET event = 'case.returned' WHERE id = 3",
            "UPDATE cases_timelinecontent SET content = '{}' WHERE entry_id = 2",
            "UPDATE cases_timelinehead SET position = 99 WHERE case_id = 5",
            "UPDATE cases_signature SET content = '{}' WHERE id = 4",
            "UPDATE cases_auditfact SET remade = NOT remade WHERE case_id = 6",
            "DELETE FROM cases_siteverdict WHERE case_id = 7",
        ):
            connection.execute(change)
        faults = " ".join(sample_faults(connection, numbers))
        connection.rollback()
    for said in ("columns of entry", "content of entry", "the head", "a digest in"):
        assert said in faults
    assert "case 6: a fact" in faults
    assert "case 7: was built although" in faults


def test_the_guards_are_back_and_numbers_go_on():
    references = (
        "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid),"
        " convalidated FROM pg_constraint WHERE contype = 'f' ORDER BY 1, 2"
    )
    before = rows(references)
    load(cases=60, seed=3)
    assert rows(references) == before
    assert len(before) > 50
    assert rows("SELECT count(*) FROM pg_trigger WHERE tgenabled <> 'O'") == [(0,)]
    unforced = (
        "SELECT relname FROM pg_class WHERE relrowsecurity AND NOT relforcerowsecurity"
    )
    assert rows(unforced) == []
    # A case by the services beside them: sequences, orders and triggers go on.
    case = delivered(play := Play(build_world()), built_at_risk(play))
    assert rows(
        "SELECT count(*) FROM cases_auditfact WHERE case_id = %s", [case.pk]
    ) == [(1,)]


def test_a_failed_load_leaves_nothing(monkeypatch):
    monkeypatch.setitem(COLUMNS, "cases_fitreport", "case_id no_such_column")
    with pytest.raises(Exception, match="no_such_column"):
        load(cases=60)
    assert rows("SELECT count(*) FROM cases_organisation") == [(0,)]
    assert rows("SELECT count(*) FROM pg_trigger WHERE tgenabled <> 'O'") == [(0,)]


def test_the_same_seed_tells_the_same_cases():
    told = (
        "SELECT md5(string_agg(c.code || c.state || c.version || s.content::text ||"
        " s.signed_at, ',' ORDER BY s.id)) FROM cases_case c"
        " JOIN cases_signature s ON s.case_id = c.id"
    )
    found = []
    for seed in (5, 5, 6):
        load(cases=150, seed=seed)
        found += rows(told)
        truncate_as_owner()
    assert found[0] == found[1] != found[2]


def test_only_an_empty_database_of_ones_own_is_filled():
    with pytest.raises(CommandError, match="looks like a real installation"):
        call_command("load_volume", cases=5)
    with operator():
        Organisation.objects.create(kind="clinic", name="Somebody")
    with pytest.raises(CommandError, match="not made by this command"):
        load(cases=5)
    assert rows("SELECT count(*) FROM cases_case") == [(0,)]


def test_a_second_volume_is_refused():
    load(cases=5, clinics=1, laboratories=1)
    with pytest.raises(CommandError, match="loaded already"):
        load(cases=5)


def test_a_database_in_use_is_left_alone(monkeypatch):
    monkeypatch.setattr(guards, "_PATIENCE", "100ms")
    with superuser() as other:
        other.execute("SELECT count(*) FROM cases_case")
        with pytest.raises(CommandError, match="in use"):
            load(cases=5)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"cases": 0}, "--cases must be at least 1"),
        ({"cases": 5, "clinics": 1, "laboratories": 2}, "needs a clinic"),
        ({"cases": 5, "months": 121}, "at most 120"),
    ],
)
def test_a_size_that_cannot_be_is_refused(wrong, said):
    with pytest.raises(CommandError, match=said):
        load(**wrong)


def test_its_cases_stand_on_the_pages(settings):
    settings.REQUIRE_SECOND_FACTOR = False
    load(cases=200, seed=2, laboratories=1, clinics=2)
    codes = [
        code
        for (code,) in rows(
            "SELECT DISTINCT ON (c.state, a.kind) c.code FROM cases_case c"
            " LEFT JOIN cases_answer a ON a.case_id = c.id ORDER BY c.state, a.kind"
        )
    ]
    assert len(codes) > 8
    for role in ("lab_manager", "technician"):
        client = Client()
        client.force_login(User.objects.get(pk=people(role)[0].user_id))
        assert client.get("/bench/").status_code == 200
        for code in codes:
            assert client.get(f"/cases/{code}/").status_code == 200


def _shape(value: Any) -> Any:
    """Return the keys of a JSON value, without what is in them."""
    if isinstance(value, dict):
        return {key: _shape(one) for key, one in value.items() if key != "result"}
    if isinstance(value, list):
        found = [_shape(one) for one in value]
        if found and isinstance(found[0], dict):
            # Readings say what they have: one was held, another was not.
            return [{key: one[key] for one in found for key in sorted(one)}]
        return found[:1]
    return "text" if value is None else type(value).__name__.replace("str", "text")


def _shapes(case: int) -> dict[str, Any]:
    found = {}
    for name, content in rows(
        "SELECT purpose, content FROM cases_signature WHERE case_id = %(c)s"
        " UNION ALL SELECT 'order', content FROM cases_workorder WHERE case_id = %(c)s"
        " UNION ALL SELECT e.event, t.content FROM cases_timelineentry e"
        " JOIN cases_timelinecontent t ON t.entry_id = e.id WHERE e.case_id = %(c)s",
        {"c": case},
    ):
        found[name] = _shape(content)
    return found


def test_what_is_signed_and_told_has_the_shape_the_services_give():
    load(cases=1500, seed=3)
    (loaded, *_more) = [
        pk
        for (pk,) in rows(
            "SELECT c.id FROM cases_case c JOIN cases_answer a ON a.case_id = c.id"
            " JOIN cases_unit u ON u.case_id = c.id"
            " JOIN cases_remake m ON m.case_id = c.id AND NOT m.internal"
            " WHERE a.kind = 'accept_risk' AND u.material = 'metal_ceramic'"
            " AND u.kind = 'crown' AND NOT EXISTS (SELECT 1 FROM cases_reading r"
            " WHERE r.case_id = c.id AND r.method <> 'strip') ORDER BY c.id"
        )
    ]
    play = Play(build_world())
    case = delivered(play, built_at_risk(play))
    opened(play, case)
    ours, theirs = _shapes(loaded), _shapes(case.pk)
    assert {*theirs} <= {*ours}
    for name, shape in theirs.items():
        assert json.dumps(ours[name], sort_keys=True) == json.dumps(
            shape, sort_keys=True
        ), name
