"""A clinician lets a colleague sign for them, dated and in writing."""

from datetime import date, timedelta
from typing import Any

import pytest

from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import Delegation, OutboxRow
from cases.services import delegations as services
from cases.tenancy import Actor, acting, tenant
from tests.factories import AT
from tests.personas import Personas

TODAY = AT.date()


def delegate(personas: Personas, actor: Actor, **fields: Any) -> Delegation:
    values: dict[str, Any] = {
        "delegate_membership_id": personas.colleague.membership.pk,
        "starts_on": TODAY,
        "ends_on": TODAY + timedelta(days=14),
        "note": "On leave; answers to queries.",
        "at": AT,
        **fields,
    }
    with acting(actor):
        return services.delegation_create(actor=actor, **values)


def test_a_clinician_delegates_and_the_colleague_is_told(personas: Personas):
    made = delegate(personas, personas.clinician.actor)

    assert (made.prescriber_id, made.delegate_id, made.starts_on, made.note) == (
        personas.clinician.user.pk,
        personas.colleague.user.pk,
        TODAY,
        "On leave; answers to queries.",
    )
    with tenant(personas.clinic_a.pk):
        assert list(OutboxRow.objects.values_list("kind", "payload")) == [
            (
                "delegation_created",
                {"delegation": made.pk, "user": personas.colleague.user.pk},
            )
        ]


@pytest.mark.parametrize("name", ["assistant", "clinic_manager", "technician"])
def test_only_clinicians_delegate(personas: Personas, name: str):
    with pytest.raises(NotAllowed):
        delegate(personas, personas.named(name).actor)


@pytest.mark.parametrize(
    ("fields", "pointers"),
    [
        ({"ends_on": TODAY - timedelta(days=1)}, ["/ends_on"]),
        (
            {"starts_on": date(2031, 1, 1), "ends_on": TODAY - timedelta(days=1)},
            ["/ends_on"],
        ),
        ({"ends_on": TODAY + timedelta(days=367)}, ["/ends_on"]),
        ({"note": "  "}, ["/note"]),
        (
            {"delegate_membership_id": 0, "note": "", "ends_on": date(2000, 1, 1)},
            ["/delegate", "/ends_on", "/note"],
        ),
    ],
)
def test_every_fault_is_named(
    personas: Personas, fields: dict[str, object], pointers: list[str]
):
    with pytest.raises(Invalid) as refused:
        delegate(personas, personas.clinician.actor, **fields)

    assert [field.pointer for field in refused.value.fields] == pointers
    with tenant(personas.clinic_a.pk):
        assert not Delegation.objects.exists()


@pytest.mark.parametrize("name", ["clinician", "assistant", "clinician_b"])
def test_who_cannot_be_the_delegate(personas: Personas, name: str):
    with pytest.raises(Invalid):
        delegate(
            personas,
            personas.clinician.actor,
            delegate_membership_id=personas.named(name).membership.pk,
        )


def test_the_prescriber_takes_it_back_once(personas: Personas):
    made = delegate(personas, personas.clinician.actor)
    for name, error in (
        ("colleague", NotAllowed),
        ("clinic_manager", NotAllowed),
        ("clinician_b", NotFound),
        ("technician", NotFound),
    ):
        actor = personas.named(name).actor
        with acting(actor), pytest.raises(error):
            services.delegation_end(actor=actor, delegation_id=made.pk, at=AT)
    actor = personas.clinician.actor
    with acting(actor):
        ended = services.delegation_end(actor=actor, delegation_id=made.pk, at=AT)
        assert ended.ended_at == AT
        with pytest.raises(Conflict):
            services.delegation_end(actor=actor, delegation_id=made.pk, at=AT)
