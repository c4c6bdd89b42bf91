"""What instruments and studies add to readings, and what they must not."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.errors import Invalid
from cases.selectors.instruments import reading_figures
from cases.tenancy import Actor, acting
from rules.loader import shipped_rule_set
from rules.parse import parse_rule_set
from tests.cases.services.test_instruments import caliper, retire, save
from tests.cases.services.test_instruments_studies import record
from tests.personas import Personas
from tests.play import reading

ADDED = ("delta_mm", "u_mm", "u_origin", "instrument_label")


def figures(actor: Actor, *readings: dict[str, Any], **more: Any) -> list[dict]:
    with acting(actor):
        return reading_figures(actor=actor, readings=readings, **more)


def added(actor: Actor, body: dict[str, Any], **more: Any) -> dict[str, Any]:
    (found,) = figures(actor, body, **more)
    assert {k: v for k, v in found.items() if k in body} == body
    return {k: found[k] for k in ADDED if k in found and k not in body}


def point(method: str = "silicone_caliper", **values: Any) -> dict[str, Any]:
    return reading("central_fossa", method=method, value_mm="1.7", **values)


@pytest.mark.parametrize(
    ("typed", "delta"),
    [("0", "0.04"), ("0.0399", "0.04"), ("0,1", "0,1"), ("0.0401", "0.0401")],
)
def test_a_measured_strip_is_no_better_than_it_was_measured(
    personas: Personas, typed: str, delta: str
):
    actor = personas.assistant.actor
    code = save(actor).code
    body = reading("buccal_cusps", passes_mm="2.0", instrument=code, delta_mm=typed)

    (found,) = figures(actor, body)

    assert found["delta_mm"] == delta


def test_nothing_named_and_no_study_adds_nothing(personas: Personas):
    actor = personas.assistant.actor

    assert added(actor, reading("buccal_cusps", passes_mm="2.0")) == {}
    assert added(actor, point()) == {}
    assert added(actor, point(u_mm="0.05")) == {"u_origin": "typed"}


@pytest.mark.parametrize(
    ("values", "delta"),
    [
        # The set of test_instruments: 1.0 is 1.02, 1.5 unmeasured, 2.0 is 1.96.
        ({"passes_mm": "1.0"}, "0.02"),
        ({"passes_mm": "1,0", "held_mm": "2.0"}, "0.04"),
        ({"passes_mm": "1.0", "held_mm": "1.5"}, "0.02"),
        ({"drags_mm": "2.0"}, "0.04"),
        ({"passes_mm": "1.5"}, None),
        ({"passes_mm": "0.8"}, None),
        ({"passes_mm": "nonsense"}, None),
    ],
)
def test_strips_widen_by_their_largest_deviation(
    personas: Personas, values: dict[str, str], delta: str | None
):
    actor = personas.assistant.actor
    code = save(actor).code

    found = added(actor, reading("buccal_cusps", instrument=code, **values))

    wanted = {"instrument_label": "Strips, room 2"}
    assert found == (wanted if delta is None else {"delta_mm": delta, **wanted})


def test_a_strip_nobody_measured_keeps_the_rule_sets_tolerance(personas: Personas):
    actor = personas.assistant.actor
    code = save(actor).code
    body = reading("buccal_cusps", passes_mm="1.0", held_mm="1.5", instrument=code)
    document: dict[str, Any] = {**shipped_rule_set().dump()}
    document["decision"]["strip_delta_mm"] = "0.03"

    wide = added(actor, body, rule_set=parse_rule_set(document))

    assert wide == {"instrument_label": "Strips, room 2"}


def test_an_own_study_replaces_the_default_of_its_method(personas: Personas):
    actor = personas.assistant.actor
    made = caliper(actor, u_mm="0.3")
    record(actor)
    record(actor, instrument=made.code, reference_mm="1.45")

    assert added(actor, point()) == {"u_mm": "0.0149", "u_origin": "study"}
    assert added(actor, point("wax_caliper")) == {}
    assert added(actor, point(instrument=made.code)) == {
        "u_mm": "0.0559",
        "u_origin": "study",
        "instrument_label": "Caliper 3",
    }
    assert added(actor, point(u_mm="0.2", instrument=made.code)) == {
        "u_origin": "typed",
        "instrument_label": "Caliper 3",
    }


def test_a_study_of_another_instrument_says_nothing(personas: Personas):
    actor = personas.assistant.actor
    made = caliper(actor)
    record(actor, instrument=made.code)

    assert added(actor, point()) == {}


def test_a_certificate_makes_u_larger_never_smaller(personas: Personas):
    actor = personas.assistant.actor
    # Shipped defaults: silicone 0.12, wax 0.18.
    coarse = caliper(actor, u_mm="0.12", resolution_mm="0.3", label="Coarse").code
    fine = caliper(actor, u_mm="0.02", resolution_mm="0.01", label="Fine").code

    # sqrt(0.12^2 + 0.3^2 / 12) = 0.14799..., rounded up.
    assert added(actor, point(instrument=coarse)) == {
        "u_mm": "0.148",
        "u_origin": "instrument",
        "instrument_label": "Coarse",
    }
    assert added(actor, point("wax_caliper", instrument=coarse)) == {
        "instrument_label": "Coarse"
    }
    assert added(actor, point(instrument=fine)) == {"instrument_label": "Fine"}


def test_resolution_alone_is_no_certificate(personas: Personas):
    actor = personas.assistant.actor
    code = caliper(actor, resolution_mm="2").code

    assert added(actor, point(instrument=code)) == {"instrument_label": "Caliper 3"}


def test_wrong_instruments_are_named_by_their_reading(personas: Personas):
    actor = personas.assistant.actor
    strips, gone = save(actor).code, caliper(actor).code
    retire(actor, gone)
    foreign = caliper(personas.clinician_b.actor).code

    with pytest.raises(Invalid) as refused:
        figures(
            actor,
            point(),
            point(instrument=strips),
            point(instrument=gone),
            point(instrument=foreign),
            point(instrument="<b>"),
            reading("buccal_cusps", passes_mm="1.0", instrument=strips),
        )

    assert [(f.pointer, f.text().split(":")[0]) for f in refused.value.fields] == [
        ("/1/instrument", "“Strips, room 2” does not measure this way"),
        ("/2/instrument", "“Caliper 3” was retired"),
        ("/3/instrument", "Choose an instrument from your list."),
        ("/4/instrument", "Choose an instrument from your list."),
    ]


def test_a_mouthful_costs_no_more_queries_than_one_reading(personas: Personas):
    actor = personas.assistant.actor
    strips, one = save(actor).code, caliper(actor).code
    record(actor)
    bodies = [
        point(instrument=one),
        reading("buccal_cusps", passes_mm="1.0", instrument=strips),
    ]

    with acting(actor):
        with CaptureQueriesContext(connection) as few:
            reading_figures(actor=actor, readings=bodies)
        with CaptureQueriesContext(connection) as many:
            reading_figures(actor=actor, readings=bodies * 50)
        with CaptureQueriesContext(connection) as none:
            reading_figures(
                actor=actor, readings=[reading("buccal_cusps", passes_mm="1.0")]
            )

    assert (len(few), len(many), len(none)) == (3, 3, 0)
