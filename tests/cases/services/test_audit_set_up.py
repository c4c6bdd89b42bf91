"""Settings, notes and saved views of the audit."""

from datetime import UTC, date, datetime
from urllib.parse import parse_qs

import pytest

from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import AuditNote, AuditSettings, AuditView
from cases.services import audit_set_up as services
from cases.tenancy import Actor, acting
from tests.personas import Personas

AT = datetime(2026, 5, 20, 9, 30, tzinfo=UTC)
GOOD = {
    "small_number": 6,
    "least_cases": 12,
    "compare_people": True,
    "monthly_digest": False,
    "currency": "chf",
}


@pytest.fixture
def manager(personas: Personas) -> Actor:
    return personas.lab_manager.actor


def pointers(error: pytest.ExceptionInfo[Invalid]) -> list[str]:
    return [field.pointer for field in error.value.fields]


def save(actor: Actor, **changes):
    with acting(actor):
        return services.settings_save(actor=actor, at=AT, **{**GOOD, **changes})


def test_settings_are_kept_for_one_organisation(manager: Actor, personas: Personas):
    save(manager)
    save(manager, currency="eur ", compare_people=False)

    with acting(manager):
        kept = AuditSettings.objects.get()
    assert (kept.small_number, kept.least_cases, kept.currency) == (6, 12, "EUR")
    assert (kept.compare_people, kept.monthly_digest) == (False, False)
    assert (kept.changed_by_name, kept.changed_at) == (manager.name, AT)
    with acting(personas.clinic_manager.actor):
        assert not AuditSettings.objects.exists()


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"small_number": 2}, ["/small_number"]),
        ({"small_number": 101}, ["/small_number"]),
        ({"least_cases": 4}, ["/least_cases"]),
        ({"least_cases": 1001}, ["/least_cases"]),
        ({"small_number": 20, "least_cases": 19}, ["/least_cases"]),
        ({"currency": "EU"}, ["/currency"]),
        ({"currency": "ÄÖÜ"}, ["/currency"]),
        ({"small_number": 0, "currency": ""}, ["/small_number", "/currency"]),
    ],
)
def test_settings_outside_their_limits_are_refused(manager: Actor, changes, where):
    with pytest.raises(Invalid) as error:
        save(manager, **changes)

    assert pointers(error) == where
    with acting(manager):
        assert not AuditSettings.objects.exists()


@pytest.mark.parametrize("name", ["clinician", "assistant", "technician"])
def test_only_managers_set_up(personas: Personas, name: str):
    actor = personas.named(name).actor
    with pytest.raises(NotAllowed):
        save(actor)
    with acting(actor), pytest.raises(NotAllowed):
        services.note_add(actor=actor, on=AT.date(), text="Training", at=AT)


def add(actor: Actor, text: str = "Training held", on: date = date(2026, 3, 2)):
    with acting(actor):
        return services.note_add(actor=actor, on=on, text=text, at=AT)


def test_a_note_stands_until_it_is_taken_off(manager: Actor):
    note = add(manager, "  Training\nheld ")

    assert (note.text, note.on, note.made_by_name) == (
        "Training held",
        date(2026, 3, 2),
        manager.name,
    )
    with acting(manager):
        services.note_remove(actor=manager, code=note.code, at=AT)
        assert AuditNote.objects.get().removed_at == AT
        with pytest.raises(Conflict):
            services.note_remove(actor=manager, code=note.code, at=AT)


@pytest.mark.parametrize(
    ("text", "on", "where"),
    [
        (" \t", date(2026, 3, 2), "/text"),
        ("x" * 121, date(2026, 3, 2), "/text"),
        ("Training", date(1999, 12, 31), "/on"),
        ("Training", date(2027, 5, 22), "/on"),
    ],
)
def test_a_note_that_says_nothing_or_never_is_refused(manager: Actor, text, on, where):
    with pytest.raises(Invalid) as error:
        add(manager, text, on)
    assert pointers(error) == [where]


def test_another_organisations_note_is_not_there(manager: Actor, personas: Personas):
    note = add(manager)
    other = personas.clinic_manager.actor
    with acting(other), pytest.raises(NotFound):
        services.note_remove(actor=other, code=note.code, at=AT)


def test_notes_have_a_limit_that_taking_off_makes_room_in(
    manager: Actor, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(services, "MOST_NOTES", 2)
    first = add(manager)
    add(manager)
    with pytest.raises(Conflict):
        add(manager)
    with acting(manager):
        services.note_remove(actor=manager, code=first.code, at=AT)
    add(manager)


def keep(actor: Actor, name: str = "Zirconia", page: str = "rates", query: str = ""):
    with acting(actor):
        return services.view_save(actor=actor, name=name, page=page, query=query, at=AT)


def test_a_view_keeps_what_its_page_reads_and_nothing_else(manager: Actor):
    view = keep(
        manager,
        query="from=2026-01&to=2026-03&material=zirconia_3y&measure=internal"
        "&csrfmiddlewaretoken=x&after=abc&next=//example.org",
    )

    assert parse_qs(view.query) == {
        "from": ["2026-01"],
        "to": ["2026-03"],
        "material": ["zirconia_3y"],
        "measure": ["internal"],
    }


def test_a_view_without_a_period_moves_with_the_months(manager: Actor):
    assert keep(manager, query="kind=crown&from=&to=").query == "kind=crown"


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"name": " "}, "/name"),
        ({"name": "x" * 61}, "/name"),
        ({"page": "../people"}, "/page"),
        ({"query": "from=2026-05&to=2026-01"}, "/to"),
        ({"query": "outcome=nothing"}, "/outcome"),
    ],
)
def test_a_view_that_could_not_be_opened_is_refused(manager: Actor, changes, where):
    with pytest.raises(Invalid) as error:
        keep(manager, **changes)
    assert pointers(error) == [where]


def test_a_name_is_used_once_by_one_person(manager: Actor, personas: Personas):
    keep(manager)
    with pytest.raises(Invalid) as error:
        keep(manager)
    assert pointers(error) == ["/name"]
    keep(personas.clinician.actor)


def test_views_are_ones_own(personas: Personas):
    one, other = personas.clinician.actor, personas.colleague.actor
    view = keep(one)
    with acting(other):
        assert not AuditView.objects.exists()
        with pytest.raises(NotFound):
            services.view_remove(actor=other, code=view.code)
    with acting(one):
        services.view_remove(actor=one, code=view.code)
        assert not AuditView.objects.exists()
        with pytest.raises(NotFound):
            services.view_remove(actor=one, code=view.code)


def test_views_have_a_limit(manager: Actor, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(services, "MOST_VIEWS", 1)
    keep(manager)
    with pytest.raises(Conflict):
        keep(manager, name="Another")


@pytest.mark.parametrize("name", ["assistant", "technician"])
def test_roles_without_an_audit_keep_no_views(personas: Personas, name: str):
    with pytest.raises(NotAllowed):
        keep(personas.named(name).actor)
