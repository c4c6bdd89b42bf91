"""Repeatability studies: ten values at least, recorded once, withdrawn."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from cases.errors import Conflict, Invalid, NotFound
from cases.models import RepeatabilityStudy
from cases.selectors import instruments as selectors
from cases.services import instruments_studies as services
from cases.tenancy import Actor, acting
from tests.cases.services.test_instruments import caliper, retire, save
from tests.factories import AT
from tests.personas import Personas

VALUES = ["1.50", "1,52", "1.49", "1.51", "1.50", "1.53", "1.48", "1.50", "1.51", "1.5"]


def record(actor: Actor, **changes: Any) -> RepeatabilityStudy:
    """Record ten values of a gauge block by silicone and caliper."""
    fields: dict[str, Any] = {
        "method": "silicone_caliper",
        "instrument": "",
        "object_note": "Gauge block 1.50",
        "reference_mm": "1.5",
        "values": VALUES,
        "at": AT,
        **changes,
    }
    with acting(actor):
        return services.study_record(actor=actor, **fields)


def test_a_study_keeps_its_values_and_what_follows(personas: Personas):
    actor = personas.assistant.actor
    made = record(actor)

    # By hand: mean 1.504, squares of deviations sum to 0.00184, s = sqrt(0.00184 / 9).
    assert (made.count, made.repeatability_mm, made.bias_mm) == (
        10,
        Decimal("0.0143"),
        Decimal("0.0040"),
    )
    # sqrt(0.00184 / 9 + 0.004^2) = 0.01485..., rounded up.
    assert made.u_mm == Decimal("0.0149")
    assert made.values[:2] == ["1.50", "1.52"]
    assert (made.done_by_name, made.done_at) == (actor.name, AT)


def test_the_instruments_resolution_counts(personas: Personas):
    actor = personas.technician.actor
    code = caliper(actor, resolution_mm="0.1").code

    made = record(actor, instrument=code, method="cast_caliper", values=["1.5"] * 10)

    # 0.1 / sqrt(12) = 0.02887, rounded up.
    assert (made.repeatability_mm, made.u_mm) == (Decimal(0), Decimal("0.0289"))


@pytest.mark.parametrize(
    ("changes", "pointers"),
    [
        ({"values": VALUES[:9]}, ["/values"]),
        ({"values": []}, ["/values"]),
        ({"values": VALUES * 7}, ["/values"]),
        ({"values": [*VALUES[:9], "1_5"]}, ["/values/9"]),
        ({"values": ["-1", *VALUES, "21"]}, ["/values/0", "/values/11"]),
        ({"method": "strip"}, ["/method"]),
        ({"method": "guess"}, ["/method"]),
        ({"object_note": " "}, ["/object_note"]),
        ({"object_note": "x" * 121, "reference_mm": "1,500"},
         ["/object_note", "/reference_mm"]),
        ({"instrument": "0000000000"}, ["/instrument"]),
    ],
)  # fmt: skip
def test_every_fault_is_named_and_nothing_stored(
    personas: Personas, changes: dict[str, Any], pointers: list[str]
):
    actor = personas.assistant.actor
    with pytest.raises(Invalid) as refused:
        record(actor, **changes)

    assert [fault.pointer for fault in refused.value.fields] == pointers
    with acting(actor):
        assert not RepeatabilityStudy.objects.exists()


def test_fewer_than_ten_are_refused_with_the_reason(personas: Personas):
    with pytest.raises(Invalid, match="at least 10 values; there are 9"):
        record(personas.assistant.actor, values=VALUES[:9])


@pytest.mark.parametrize("reference", ["", "1.5"])
def test_identical_values_need_a_resolution(personas: Personas, reference: str):
    actor = personas.assistant.actor
    with pytest.raises(Invalid, match="state the resolution") as refused:
        record(actor, values=["1.5"] * 10, reference_mm=reference)
    assert [f.pointer for f in refused.value.fields] == ["/instrument"]

    fine = caliper(actor, resolution_mm="0.001").code
    with pytest.raises(Invalid, match="finer than anything"):
        record(actor, values=["1.5"] * 10, instrument=fine, reference_mm=reference)


def test_a_slip_of_the_pen_is_no_uncertainty(personas: Personas):
    with pytest.raises(Invalid, match="typed wrong"):
        record(personas.assistant.actor, values=["1.5", "15"] * 5)


def test_an_instrument_that_does_not_measure_so_is_refused(personas: Personas):
    actor = personas.assistant.actor
    strips, gone = save(actor).code, caliper(actor).code
    retire(actor, gone)

    for code in (strips, gone):
        with pytest.raises(Invalid) as refused:
            record(actor, instrument=code)
        assert [f.pointer for f in refused.value.fields] == ["/instrument"]


def test_the_same_study_counts_once(personas: Personas):
    actor = personas.assistant.actor
    record(actor)
    with pytest.raises(Invalid, match="recorded already"):
        record(actor)
    record(actor, method="wax_caliper")


def in_force(actor: Actor, method: str, instrument_id: int | None) -> str | None:
    with acting(actor):
        found = selectors.study_in_force(
            organisation_id=actor.organisation_id,
            method=method,
            instrument_id=instrument_id,
        )
    return found.code if found else None


def test_the_last_study_counts_until_it_is_withdrawn(personas: Personas):
    actor = personas.assistant.actor
    first = record(actor)
    second = record(actor, reference_mm="", at=AT + timedelta(days=1), values=VALUES[1:]
                    + ["1.6"])  # fmt: skip
    made = caliper(actor)
    own = record(actor, instrument=made.code, values=[*VALUES, "1.55"])

    assert in_force(actor, "silicone_caliper", None) == second.code
    assert in_force(actor, "silicone_caliper", made.pk) == own.code
    assert in_force(actor, "wax_caliper", None) is None
    withdraw(actor, own.code)
    assert in_force(actor, "silicone_caliper", made.pk) == second.code
    withdraw(actor, second.code)
    assert in_force(actor, "silicone_caliper", None) == first.code


def withdraw(actor: Actor, code: str) -> None:
    with acting(actor):
        services.study_withdraw(actor=actor, code=code, at=AT)


def test_a_study_is_withdrawn_once_and_by_its_own(personas: Personas):
    actor = personas.assistant.actor
    code = record(actor).code

    for name in ("clinician_b", "technician"):
        with pytest.raises(NotFound):
            withdraw(personas.named(name).actor, code)
        assert in_force(personas.named(name).actor, "silicone_caliper", None) is None
    withdraw(actor, code)
    with pytest.raises(Conflict):
        withdraw(actor, code)
