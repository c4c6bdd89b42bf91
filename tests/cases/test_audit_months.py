"""Figures by month: the SQL counts what plain Python counts, and keeps it truly."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.audit.figures import Figures, MonthFigures
from cases.audit.filters import AuditFilters, months_between
from cases.clock import now
from cases.enums import Role
from cases.errors import Invalid, NotAllowed, NotFound
from cases.models import AuditMemo, AuditSettings, RemakeCause
from cases.selectors import audit_months
from cases.selectors.audit_cases import AuditCasePage, audit_cases
from cases.selectors.audit_labels import audit_labels, filter_choices
from cases.selectors.audit_months import audit_figures
from cases.tenancy import Actor, acting
from tests.audit_counted import counted
from tests.audit_stage import FIRST, LAST, Stage, build_stage, insert
from tests.cases.services.remade import manager_of
from tests.database import superuser

pytestmark = pytest.mark.django_db(transaction=True)
ALL = AuditFilters(first=FIRST, last=LAST)


@pytest.fixture
def stage() -> Stage:
    return build_stage()


def compare_people(who: Actor) -> None:
    with acting(who):
        AuditSettings.objects.update_or_create(
            organisation_id=who.organisation_id,
            defaults={"compare_people": True, "changed_at": now()},
        )


def read(who: Actor, filters: AuditFilters = ALL) -> Figures:
    with acting(who):
        return audit_figures(actor=who, filters=filters, at=now())


def cases_of(who: Actor, filters: AuditFilters = ALL, **more: Any) -> AuditCasePage:
    with acting(who):
        return audit_cases(actor=who, filters=filters, **more)


def mine(stage: Stage, who: Actor) -> tuple[list[dict], list[dict]]:
    column = "clinic_id" if who.is_clinic else "laboratory_id"
    found = [
        [row for row in rows if row[column] == who.organisation_id]
        for rows in (stage.facts, stage.queries)
    ]
    if who.role == Role.CLINICIAN:
        found = [
            [row for row in rows if row["prescriber_id"] == who.user_id]
            for rows in found
        ]
    return found[0], found[1]


def ordered(month: MonthFigures) -> MonthFigures:
    """Return the same figures with their cells in one order."""
    return replace(
        month,
        dose_first=tuple(sorted(month.dose_first, key=str)),
        dose_built=tuple(sorted(month.dose_built, key=str)),
        opposing=tuple(sorted(month.opposing, key=str)),
    )


def expected(
    stage: Stage, who: Actor, *, fits=lambda row: True, asks=None, cause: str = ""
) -> list[MonthFigures]:
    facts, queries = mine(stage, who)
    return [
        counted(
            month,
            [row for row in facts if fits(row)],
            [row for row in queries if (asks or fits)(row)],
            laboratory=not who.is_clinic,
            cause=cause,
        )
        for month in months_between(FIRST, LAST)
    ]


def same(figures: Figures, wanted: list[MonthFigures]) -> None:
    assert [month.month for month in figures.months] == [m.month for m in wanted]
    for found, one in zip(figures.months, wanted, strict=True):
        assert ordered(found) == one


# -- counting ---------------------------------------------------------------------------


def test_every_viewer_counts_own_facts(stage: Stage):
    viewers = [
        stage.lab_manager,
        stage.clinic_manager,
        stage.world.dentist,
        stage.world.outsider,
        manager_of(stage.world.other_laboratory, Role.LAB_MANAGER, "Other"),
    ]
    for who in viewers:
        wanted = expected(stage, who)
        assert sum(month.total.dispatched for month in wanted) > 20
        same(read(who), wanted)
        # Once more, from what was kept.
        same(read(who), wanted)


def test_filters_count_what_python_counts(stage: Stage):
    who = stage.lab_manager
    compare_people(who)
    dentist, technician = stage.world.dentist, stage.world.technician
    chosen: list[tuple[dict[str, Any], Any, Any]] = [
        (
            {"clinic": dentist.organisation_code},
            lambda row: row["clinic_id"] == dentist.organisation_id,
            None,
        ),
        (
            {"clinician": str(dentist.user_id)},
            lambda row: row["prescriber_id"] == dentist.user_id,
            None,
        ),
        (
            {"technician": str(technician.membership_id)},
            lambda row: row["technician_id"] == technician.membership_id,
            lambda row: row["raised_by_id"] == technician.membership_id,
        ),
        ({"flagged": "yes"}, lambda row: row["flagged"], lambda row: True),
        ({"flagged": "no"}, lambda row: not row["flagged"], lambda row: True),
        ({"outcome": "adverse"}, adverse, lambda row: True),
        ({"outcome": "reported"}, lambda row: row["reported"], lambda row: True),
        (
            {"first_class": "up_to_025"},
            lambda row: row["first_class"] == "up_to_025",
            lambda row: True,
        ),
        (
            {"first_class": "undecided.up_to_025"},
            lambda row: row["first_class"] in {"undecided", "up_to_025"},
            lambda row: True,
        ),
    ]
    for name in ("material", "kind", "tooth_class", "method", "option"):
        value = {
            "material": "zirconia_3y",
            "kind": "bridge",
            "tooth_class": "molar",
            "method": "scan",
            "option": "re_preparation",
        }[name]
        chosen.append(({name: value}, lambda row, n=name, v=value: row[n] == v, None))
    chosen.append(
        (
            {"material": "zirconia_3y", "method": "strip"},
            lambda row: (row["material"], row["method"]) == ("zirconia_3y", "strip"),
            None,
        )
    )
    for values, fits, asks in chosen:
        wanted = expected(stage, who, fits=fits, asks=asks)
        assert sum(month.total.dispatched for month in wanted) > 5, values
        same(read(who, replace(ALL, **values)), wanted)


def adverse(row: dict) -> bool:
    return bool(
        row["remade"]
        or (row["reported"] and not row["fitted"])
        or row["opposing_adjusted"]
    )


def test_a_cause_says_which_remakes_count(stage: Stage):
    for who in (stage.lab_manager, stage.clinic_manager):
        wanted = expected(stage, who, cause="shade")
        same(read(who, replace(ALL, cause="shade")), wanted)
        total = read(who).total
        assert 0 < read(who, replace(ALL, cause="shade")).total.remade < total.remade


def test_a_clinic_is_told_nothing_of_the_laboratorys_own(stage: Stage):
    figures = read(stage.clinic_manager)
    assert figures.by("technician") == {}
    assert figures.total.internal == 0
    assert all(
        one.internal == 0 for month in figures.months for one in month.causes.values()
    )
    assert read(stage.lab_manager).total.internal > 0


# -- whose ------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["technician", "assistant"])
def test_roles_without_an_audit(stage: Stage, role):
    who = getattr(stage.world, role)
    with pytest.raises(NotAllowed):
        read(who)
    with pytest.raises(NotAllowed):
        cases_of(who)


def test_another_clinic_is_not_there(stage: Stage):
    world = stage.world
    strange = replace(ALL, clinic=world.outsider.organisation_code)
    for who in (stage.clinic_manager, world.dentist):
        with pytest.raises(NotFound):
            read(who, strange)
        with pytest.raises(NotFound):
            cases_of(who, strange)
    own = replace(ALL, clinic=world.dentist.organisation_code)
    same(read(stage.clinic_manager, own), expected(stage, stage.clinic_manager))


def test_a_clinic_without_a_case_is_not_there_for_a_laboratory(stage: Stage):
    who = stage.lab_manager
    for code in ("0000000000", who.organisation_code):
        with pytest.raises(NotFound):
            read(who, replace(ALL, clinic=code))
    other = manager_of(stage.world.other_laboratory, Role.LAB_MANAGER, "Other")
    # It has facts of the clinic, but never worked with it by name.
    with pytest.raises(NotFound):
        read(other, replace(ALL, clinic=stage.world.dentist.organisation_code))


def test_people_are_asked_for_only_where_they_are_compared(stage: Stage):
    world = stage.world
    by_person = replace(ALL, clinician=str(world.dentist.user_id))
    by_bench = replace(ALL, technician=str(world.technician.membership_id))
    for who in (stage.lab_manager, stage.clinic_manager):
        with pytest.raises(NotAllowed):
            read(who, by_person)
    with pytest.raises(NotAllowed):
        read(stage.lab_manager, by_bench)
    compare_people(stage.clinic_manager)
    assert read(stage.clinic_manager, by_person).total.dispatched > 0
    with pytest.raises(NotAllowed):
        read(stage.clinic_manager, by_bench)
    with pytest.raises(NotFound):
        read(stage.clinic_manager, replace(ALL, clinician=str(world.outsider.user_id)))
    with pytest.raises(NotFound):
        read(stage.clinic_manager, replace(ALL, clinician="999999999999999999"))


def test_a_technician_of_another_laboratory_is_not_there(stage: Stage):
    compare_people(stage.lab_manager)
    other = stage.world.other_laboratory.membership_id
    with pytest.raises(NotFound):
        read(stage.lab_manager, replace(ALL, technician=str(other)))


def test_a_clinician_is_kept_to_own_cases(stage: Stage):
    who = stage.world.dentist
    same(read(who, replace(ALL, clinician=str(who.user_id))), expected(stage, who))
    with pytest.raises(NotFound):
        read(who, replace(ALL, clinician=str(stage.world.colleague.user_id)))
    with pytest.raises(NotAllowed):
        read(who, replace(ALL, technician=str(stage.world.technician.membership_id)))


def test_internal_remakes_are_not_asked_for_by_a_clinic(stage: Stage):
    asked = replace(ALL, outcome="internal")
    for who in (stage.clinic_manager, stage.world.dentist):
        with pytest.raises(NotAllowed):
            cases_of(who, asked)
    assert cases_of(stage.lab_manager, asked).n > 0


def own_cause(who: Actor, label: str) -> str:
    with acting(who):
        made = RemakeCause.objects.create(
            laboratory_id=who.organisation_id,
            label=label,
            made_by_id=who.membership_id,
            made_at=now(),
        )
    return made.code


def test_a_cause_of_another_laboratory_is_not_there(stage: Stage):
    other = own_cause(stage.world.other_laboratory, "Dropped")
    ours = own_cause(stage.world.technician, "Lost in the post")
    for who in (stage.lab_manager, stage.clinic_manager):
        assert read(who, replace(ALL, cause=ours)).total.remade == 0
        for code in (other, "0000000000"):
            with pytest.raises(NotFound):
                read(who, replace(ALL, cause=code))


# -- keeping ----------------------------------------------------------------------------


def statements(who: Actor, filters: AuditFilters) -> int:
    with (
        acting(who),
        CaptureQueriesContext(
            connection,
        ) as asked,
    ):
        audit_figures(actor=who, filters=filters, at=now())
    return len(asked)


def test_a_year_asks_the_database_as_often_as_a_month(stage: Stage):
    one = AuditFilters(first=LAST, last=LAST)
    year = AuditFilters(first=date(2025, 5, 1), last=LAST)
    who = stage.lab_manager
    cold, kept = statements(who, one), statements(who, one)
    assert kept == 2
    forget()
    assert (statements(who, year), statements(who, year)) == (cold, kept)
    # Half of it kept, half of it not.
    forget("month < '2026-01-01'")
    assert statements(who, year) == cold


def forget(condition: str = "true") -> None:
    with superuser() as raw:
        raw.execute(f"DELETE FROM cases_auditmemo WHERE {condition}")


def test_a_period_without_a_case_is_empty(stage: Stage):
    filters = AuditFilters(first=date(2020, 1, 1), last=date(2020, 3, 1))
    assert statements(stage.lab_manager, filters) == 1
    assert read(stage.lab_manager, filters).months == tuple(
        MonthFigures(month) for month in filters.months
    )


def test_what_is_written_makes_the_kept_month_stale_and_no_other(stage: Stage):
    who = stage.lab_manager
    before = read(who)
    with superuser() as raw:
        raw.execute("UPDATE cases_auditmemo SET figures = figures - 'total'")
        raw.execute(
            "UPDATE cases_auditmemo SET figures = jsonb_set(figures, '{total}',"
            " '[1000,0,0,0,0,0,0,0,0,0]')"
        )
    fact = {k: v for k, v in stage.facts[0].items() if k != "id"}
    fact |= {"part": "new", "month": LAST, "teeth": "[]"}
    insert("cases_auditfact", [fact | {"laboratory_id": who.organisation_id}])
    after = read(who)
    # The others are still what was kept, true or not.
    assert [m.total.dispatched for m in after.months[:-1]] == [1000] * 5
    assert after.months[-1].total.dispatched == before.months[-1].total.dispatched + 1


def test_a_memo_of_another_shape_is_counted_anew(stage: Stage):
    who = stage.lab_manager
    wanted = read(who)
    shapes = [
        "'[]'",
        "'{}'",
        "'null'",
        "figures - 'queries'",
        "jsonb_set(figures, '{total}', '[1,2,3,4,5,6,7,8,9,10,11]')",
        "jsonb_set(figures, '{by}', '[1]')",
        "jsonb_set(figures, '{unremade}', '{\"yesterday\": 1}')",
    ]
    for shape in shapes:
        with superuser() as raw:
            raw.execute(f"UPDATE cases_auditmemo SET figures = {shape}")
        assert read(who).months == wanted.months, shape


def test_old_memos_and_the_longest_unused_selections_go(stage: Stage, monkeypatch):
    who = stage.lab_manager
    monkeypatch.setattr(audit_months, "_MOST_MONTHS", 4)
    monkeypatch.setattr(audit_months, "_SPARE_MONTHS", 2)
    at = datetime.fromisoformat("2026-05-01T00:00:00+00:00")
    one = AuditFilters(first=LAST, last=LAST)
    with acting(who):
        for number, kind in enumerate(("a", "b", "c", "d", "e", "f")):
            asked = replace(one, kind=kind)
            later = at + timedelta(hours=number)
            audit_figures(actor=who, filters=asked, at=later)
        keys = AuditMemo.objects.values("key").distinct().count()
        # When the sixth came, five were too many: the two latest stayed.
        assert keys == 3
        later = at + timedelta(days=61)
        audit_figures(actor=who, filters=replace(one, kind="g"), at=later)
        assert AuditMemo.objects.count() == 1


def test_a_selection_weighs_as_many_months_as_it_has(stage: Stage, monkeypatch):
    who = stage.lab_manager
    monkeypatch.setattr(audit_months, "_MOST_MONTHS", 12)
    monkeypatch.setattr(audit_months, "_SPARE_MONTHS", 3)
    at = datetime.fromisoformat("2026-05-01T00:00:00+00:00")
    long = AuditFilters(first=FIRST, last=LAST)
    with acting(who):
        for number, kind in enumerate(("crown", "bridge", "onlay", "")):
            asked = replace(long, kind=kind)
            later = at + timedelta(hours=number)
            audit_figures(actor=who, filters=asked, at=later)
        # Three of six months were too many for twelve: the latest of them stayed.
        assert AuditMemo.objects.count() == 2 * len(long.months)


def test_memos_of_one_organisation_are_no_others(stage: Stage):
    read(stage.lab_manager)
    with acting(stage.clinic_manager):
        assert not AuditMemo.objects.exists()


# -- the cases behind a number ----------------------------------------------------------


def test_every_number_lists_as_many_cases(stage: Stage):
    who = stage.lab_manager
    compare_people(who)
    figures = read(who)
    names = {v: k for k, v in code_of(who, figures).items()}
    assert len(names) == 2
    for code, clinic in names.items():
        tally = figures.by("clinic")[clinic]
        for measure in (
            "remade",
            "internal",
            "flagged",
            "accepted",
            "reported",
            "opposing_adjusted",
            "restoration_adjusted",
            "as_delivered",
        ):
            asked = replace(ALL, clinic=code, outcome=measure)
            assert cases_of(who, asked).n == getattr(tally, measure), measure
    for (verdict, option, outcome), count in figures.flow().items():
        answer: dict[str, Any] = {"option": option} if option else {"flagged": "no"}
        asked = replace(ALL, first_verdict=verdict, outcome=outcome, **answer)
        page = cases_of(who, asked)
        assert page.hidden == (count < 5)
        assert page.n == (0 if page.hidden else count)
        assert {row.outcome for row in page.rows} <= {outcome}


def code_of(who: Actor, figures: Figures) -> dict[str, str]:
    with acting(who):
        return dict(audit_labels(actor=who, figures=figures)["clinic_code"])


def test_pages_of_cases_follow_each_other(stage: Stage):
    facts, _queries = mine(stage, stage.lab_manager)
    seen, cursor = [], ""
    while True:
        page = cases_of(stage.lab_manager, cursor=cursor, limit=60)
        assert page.n == len(facts)
        seen += [row.part for row in page.rows]
        cursor = page.next_cursor
        if not cursor:
            break
    latest = sorted(facts, key=lambda f: (f["dispatched_at"], f["id"]), reverse=True)
    assert seen == [fact["part"] for fact in latest]


@pytest.mark.parametrize("cursor", ["x", "MjAyNg==", "é", "MjAyNi0wMS0wMXxhfDE="])
def test_a_place_no_list_gave(stage: Stage, cursor):
    with pytest.raises(Invalid):
        cases_of(stage.lab_manager, cursor=cursor)


def test_a_row_says_what_became_of_it(stage: Stage):
    asked = replace(ALL, outcome="remade", cause="shade", flagged="yes")
    page = cases_of(stage.lab_manager, asked)
    assert page.rows
    row = page.rows[0]
    assert (row.outcome, row.cause) == ("remade", "shade")
    assert row.clinic in {"Clinic A", "Clinic B"}
    fact = next(f for f in stage.facts if f["part"] == row.part)
    assert (row.material, row.kind, row.dispatched_on, row.first_class, row.option) == (
        fact["material"],
        fact["kind"],
        fact["dispatched_on"],
        fact["first_class"],
        fact["option"],
    )
    assert row.teeth == (row.part,)


def few(stage: Stage, count: int, **changes: Any) -> AuditFilters:
    """Add restorations of a kind of their own; return the filter that finds them."""
    fact = {k: v for k, v in stage.facts[0].items() if k != "id"}
    dentist = stage.world.dentist
    fact |= {
        "laboratory_id": stage.lab_manager.organisation_id,
        "clinic_id": dentist.organisation_id,
        "prescriber_id": dentist.user_id,
        "kind": "veneer",
        "teeth": "[]",
        "remade": False,
        **changes,
    }
    insert("cases_auditfact", [fact | {"part": f"v{n}"} for n in range(count)])
    return replace(ALL, kind="veneer")


@pytest.mark.parametrize(("count", "hidden"), [(1, True), (4, True), (5, False)])
def test_too_few_are_not_listed(stage: Stage, count, hidden):
    asked = few(stage, count)
    for who in (stage.lab_manager, stage.clinic_manager):
        page = cases_of(who, asked)
        assert page.hidden is hidden
        assert (page.n, len(page.rows)) == ((0, 0) if hidden else (count, count))
    own = cases_of(stage.world.dentist, asked)
    assert (own.hidden, own.n, len(own.rows)) == (False, count, count)


def test_an_empty_list_does_not_speak_of_a_single_restoration(stage: Stage):
    asked = replace(few(stage, 1), outcome="remade")
    assert cases_of(stage.lab_manager, asked).hidden
    assert not cases_of(stage.world.dentist, asked).hidden
    two = replace(ALL, kind="inlay", outcome="remade")
    assert not cases_of(stage.lab_manager, two).hidden


def test_the_threshold_is_the_organisations(stage: Stage):
    asked = few(stage, 5)
    with acting(stage.lab_manager):
        AuditSettings.objects.create(
            organisation_id=stage.lab_manager.organisation_id,
            small_number=8,
            changed_at=now(),
        )
    assert cases_of(stage.lab_manager, asked).hidden
    assert not cases_of(stage.clinic_manager, asked).hidden


# -- names and choices ------------------------------------------------------------------


def test_names_of_what_is_counted(stage: Stage):
    who = stage.lab_manager
    figures = read(who)
    with acting(who):
        labels = audit_labels(actor=who, figures=figures)
    world = stage.world
    assert labels["clinic"] == {
        str(world.dentist.organisation_id): "Clinic A",
        str(world.outsider.organisation_id): "Clinic B",
    }
    assert labels["material"]["metal_ceramic"] == "Metal-ceramic"
    assert set(labels["material"]) == {"metal_ceramic", "zirconia_3y", "full_metal"}
    # Nobody is named where people are not compared.
    assert (labels["clinician"], labels["technician"]) == ({}, {})
    compare_people(who)
    with acting(who):
        labels = audit_labels(actor=who, figures=figures)
    assert labels["clinician"] == {
        str(one.user_id): one.name
        for one in (world.dentist, world.colleague, world.outsider)
    }
    assert labels["technician"] == {
        str(one.membership_id): one.name
        for one in (world.technician, world.responsible)
    }


def test_what_a_viewer_may_choose_by(stage: Stage):
    world = stage.world
    with acting(stage.lab_manager):
        found = filter_choices(actor=stage.lab_manager)
    assert found["clinic"] == [
        (world.dentist.organisation_code, "Clinic A"),
        (world.outsider.organisation_code, "Clinic B"),
    ]
    assert ("metal_ceramic", "Metal-ceramic") in found["material"]
    assert {"clinician", "technician"}.isdisjoint(found)
    compare_people(stage.lab_manager)
    compare_people(stage.clinic_manager)
    with acting(stage.lab_manager):
        found = filter_choices(actor=stage.lab_manager)
    assert [name for _key, name in found["clinician"]] == [
        "Colleague",
        "Dentist",
        "Outsider",
    ]
    assert [name for _key, name in found["technician"]] == [
        "Lead",
        "Responsible",
        "Technician",
    ]
    with acting(stage.clinic_manager):
        found = filter_choices(actor=stage.clinic_manager)
    assert {"clinic", "technician"}.isdisjoint(found)
    assert [name for _key, name in found["clinician"]] == ["Colleague", "Dentist"]
    with acting(world.dentist):
        found = filter_choices(actor=world.dentist)
    assert set(found) == {"material", "cause"}
