"""Instruments: entered whole or not at all, counted, retired, one's own."""

from decimal import Decimal
from typing import Any

import pytest

from cases.errors import Conflict, Invalid, NotFound
from cases.models import Instrument
from cases.selectors import instruments as selectors
from cases.services import instruments as services
from cases.tenancy import Actor, acting
from tests.factories import AT
from tests.personas import Personas


def save(actor: Actor, **changes: Any) -> Instrument:
    """Enter a strip set, or what is said otherwise."""
    fields: dict[str, Any] = {
        "code": None,
        "kind": "strips",
        "label": "Strips, room 2",
        "resolution_mm": "",
        "u_mm": "",
        "most_uses": "",
        "note": "",
        "strips": [("1,0", "1.02"), ("1.5", ""), ("2.0", "1.96")],
        **changes,
    }
    with acting(actor):
        return services.instrument_save(actor=actor, at=AT, **fields)


def caliper(actor: Actor, **changes: Any) -> Instrument:
    """Enter a caliper."""
    fields = {"kind": "caliper", "label": "Caliper 3", "strips": [], **changes}
    return save(actor, **fields)


def strips_of(actor: Actor, code: str) -> list[tuple[str, str]]:
    with acting(actor):
        found = selectors.instrument_get(actor=actor, code=code)
        return [(str(s.nominal_mm), str(s.measured_mm)) for s in found.strips.all()]


def test_a_strip_set_keeps_nominal_and_measured_thickness(personas: Personas):
    actor = personas.assistant.actor
    made = save(actor)

    assert strips_of(actor, made.code) == [
        ("1.0000", "1.0200"),
        ("1.5000", "None"),
        ("2.0000", "1.9600"),
    ]
    assert (made.organisation_id, made.created_by_name, made.created_at, made.uses) == (
        personas.clinic_a.pk,
        actor.name,
        AT,
        0,
    )


def test_a_caliper_keeps_resolution_and_certificate(personas: Personas):
    made = caliper(
        personas.technician.actor, resolution_mm="0,1", u_mm="0.0251", most_uses="400"
    )

    assert (made.resolution_mm, made.u_mm, made.most_uses) == (
        Decimal("0.1"),
        Decimal("0.0251"),
        400,
    )


@pytest.mark.parametrize(
    ("changes", "pointers"),
    [
        ({"label": " "}, ["/label"]),
        ({"label": "x" * 61, "note": "y" * 201}, ["/label", "/note"]),
        ({"note": "turn \u202e round"}, ["/note"]),
        ({"kind": "ruler", "strips": []}, ["/kind"]),
        ({"resolution_mm": "0.1"}, ["/resolution_mm"]),
        ({"strips": []}, ["/strips"]),
        ({"strips": [("", "1.0")]}, ["/strips/0/nominal_mm"]),
        ({"strips": [("0", "")]}, ["/strips/0/nominal_mm"]),
        ({"strips": [("1.0", ""), ("1,00", "")]}, ["/strips/1/nominal_mm"]),
        ({"strips": [("1.0", "1.5")]}, ["/strips/0/measured_mm"]),
        ({"strips": [("1_5", "x")]}, ["/strips/0/nominal_mm", "/strips/0/measured_mm"]),
        ({"strips": [(f"{n}.0", "") for n in range(1, 16)] * 3}, ["/strips"]),
        ({"most_uses": "0"}, ["/most_uses"]),
        ({"most_uses": "1.5", "uses": "-1"}, ["/uses", "/most_uses"]),
        (
            {"kind": "caliper", "u_mm": "NaN", "resolution_mm": "1,500"},
            ["/resolution_mm", "/u_mm", "/strips"],
        ),
    ],
)
def test_every_fault_is_named_and_nothing_stored(
    personas: Personas, changes: dict[str, Any], pointers: list[str]
):
    actor = personas.assistant.actor
    with pytest.raises(Invalid) as refused:
        save(actor, **changes)

    found = [fault.pointer for fault in refused.value.fields]
    assert found[: len(pointers)] == pointers
    with acting(actor):
        assert not Instrument.objects.exists()


def test_a_name_is_used_once_among_those_in_use(personas: Personas):
    actor = personas.assistant.actor
    first = save(actor)
    with pytest.raises(Invalid) as refused:
        save(actor)
    assert [f.pointer for f in refused.value.fields] == ["/label"]

    save(personas.clinician_b.actor)
    retire(actor, first.code)
    save(actor)


def retire(actor: Actor, code: str, reason: str = "Bent.") -> Instrument:
    with acting(actor):
        return services.instrument_retire(actor=actor, code=code, reason=reason, at=AT)


def test_a_change_replaces_the_strips_and_keeps_the_count(personas: Personas):
    actor = personas.assistant.actor
    made = save(actor)
    used(actor, made.code)

    changed = save(actor, code=made.code, label="Strips", strips=[("0.5", "0.51")])

    assert (changed.code, changed.label, changed.uses) == (made.code, "Strips", 1)
    assert strips_of(actor, made.code) == [("0.5000", "0.5100")]
    assert save(actor, code=made.code, uses="12").uses == 12


def test_the_kind_stays(personas: Personas):
    actor = personas.assistant.actor
    made = save(actor)

    with pytest.raises(Invalid) as refused:
        caliper(actor, code=made.code)
    assert [f.pointer for f in refused.value.fields] == ["/kind"]


def used(actor: Actor, code: str, seen: int | None = None) -> Instrument:
    with acting(actor):
        return services.instrument_used(actor=actor, code=code, at=AT, seen=seen)


def test_uses_are_counted_and_a_second_press_is_not(personas: Personas):
    actor = personas.assistant.actor
    code = save(actor).code

    assert [used(actor, code).uses, used(actor, code, seen=1).uses] == [1, 2]
    with pytest.raises(Conflict) as refused:
        used(actor, code, seen=1)
    assert "stands at 2" in refused.value.text()


def test_a_retired_one_is_listed_apart_and_stays_as_it_was(personas: Personas):
    actor = personas.assistant.actor
    code = save(actor).code
    with pytest.raises(Invalid):
        retire(actor, code, " ")
    retire(actor, code)

    with acting(actor):
        assert list(selectors.instruments(actor=actor)) == []
        gone = list(selectors.instruments(actor=actor, retired=True))
        assert selectors.instrument_choices(actor=actor) == ()
    assert [(i.code, i.retired_reason, i.retired_at) for i in gone] == [
        (code, "Bent.", AT)
    ]
    with pytest.raises(Conflict):
        retire(actor, code)
    with pytest.raises(Conflict):
        used(actor, code)
    with pytest.raises(Conflict):
        save(actor, code=code)


@pytest.mark.parametrize("name", ["clinician_b", "technician", "technician_m"])
def test_another_organisations_instrument_does_not_exist(personas: Personas, name: str):
    code = save(personas.assistant.actor).code
    actor = personas.named(name).actor

    for attempt in (
        lambda: used(actor, code),
        lambda: retire(actor, code),
        lambda: save(actor, code=code),
        lambda: get(actor, code),
    ):
        with pytest.raises(NotFound):
            attempt()
    with acting(actor):
        assert not Instrument.objects.exists()


def get(actor: Actor, code: str) -> Instrument:
    with acting(actor):
        return selectors.instrument_get(actor=actor, code=code)
