"""A clinic and a laboratory agree to work together, and part."""

import pytest

from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import Membership, Organisation, OutboxRow, Partnership
from cases.services import partnerships as services
from cases.tenancy import Actor, acting, tenant
from tests.factories import AT, actor_of, make_membership, make_user
from tests.personas import Personas


@pytest.fixture
def manager_m(personas: Personas) -> Actor:
    """The manager of laboratory M, which works with nobody yet."""
    user = make_user("manager_m@example.org")
    return actor_of(make_membership(personas.laboratory_m, user, "lab_manager"))


def ask(actor: Actor, code: str) -> Partnership:
    with acting(actor):
        return services.partnership_ask(actor=actor, code=code, at=AT)


def told(organisation: Organisation) -> list[str]:
    with tenant(organisation.pk):
        return list(OutboxRow.objects.order_by("kind").values_list("kind", flat=True))


def test_one_asks_and_the_other_accepts(personas: Personas, manager_m: Actor):
    manager = personas.clinic_manager.actor
    asked = ask(manager, personas.laboratory_m.code)

    assert (asked.clinic_id, asked.laboratory_id) == (
        personas.clinic_a.pk,
        personas.laboratory_m.pk,
    )
    assert asked.accepted_at is None
    assert told(personas.laboratory_m) == ["partnership_asked"]
    with acting(manager_m):
        accepted = services.partnership_accept(
            actor=manager_m, partnership_id=asked.pk, at=AT
        )
    assert accepted.accepted_at == AT
    assert told(personas.clinic_a) == ["partnership_accepted"]


def test_a_laboratory_may_ask_too(personas: Personas, manager_m: Actor):
    asked = ask(manager_m, personas.clinic_b.code)

    assert (asked.clinic_id, asked.asked_by_id) == (
        personas.clinic_b.pk,
        personas.laboratory_m.pk,
    )


def test_a_code_is_read_as_people_type_it(personas: Personas):
    code = personas.laboratory_m.code
    typed = f" {code[:5].lower()}-{code[5:].lower()} "

    asked = ask(personas.clinic_manager.actor, typed)

    assert asked.laboratory_id == personas.laboratory_m.pk
    assert services.read_code("oil-0 1") == "01101"


@pytest.mark.parametrize("which", ["unknown", "own", "clinic_b", "partner"])
def test_a_code_that_leads_nowhere(personas: Personas, which: str):
    code = {
        "unknown": "0000000000",
        "own": personas.clinic_a.code,
        "clinic_b": personas.clinic_b.code,
        "partner": personas.laboratory.code,
    }[which]

    with pytest.raises(Invalid) as refused:
        ask(personas.clinic_manager.actor, code)

    assert [field.pointer for field in refused.value.fields] == ["/code"]
    with tenant(personas.clinic_a.pk):
        assert Partnership.objects.count() == 1


def test_the_answer_for_a_clinics_code_is_that_for_an_unknown_one(personas: Personas):
    messages = []
    for code in ("0000000000", personas.clinic_b.code):
        with pytest.raises(Invalid) as refused:
            ask(personas.clinic_manager.actor, code)
        messages.append(refused.value.text())

    assert messages[0] == messages[1]


def test_only_managers_ask(personas: Personas):
    for name in ("clinician", "assistant", "technician"):
        with pytest.raises(NotAllowed):
            ask(personas.named(name).actor, personas.laboratory_m.code)


def test_who_asked_cannot_accept(personas: Personas, manager_m: Actor):
    manager = personas.clinic_manager.actor
    asked = ask(manager, personas.laboratory_m.code)

    with acting(manager), pytest.raises(NotAllowed):
        services.partnership_accept(actor=manager, partnership_id=asked.pk, at=AT)
    with acting(personas.technician_m.actor), pytest.raises(NotAllowed):
        services.partnership_accept(
            actor=personas.technician_m.actor, partnership_id=asked.pk, at=AT
        )
    with acting(personas.lab_manager.actor), pytest.raises(NotFound):
        services.partnership_accept(
            actor=personas.lab_manager.actor, partnership_id=asked.pk, at=AT
        )
    with acting(manager_m):
        services.partnership_accept(actor=manager_m, partnership_id=asked.pk, at=AT)
        with pytest.raises(Conflict):
            services.partnership_accept(actor=manager_m, partnership_id=asked.pk, at=AT)


@pytest.mark.parametrize("name", ["clinic_manager", "lab_manager"])
def test_either_side_ends_it_and_may_begin_anew(personas: Personas, name: str):
    actor = personas.named(name).actor
    with acting(actor):
        ended = services.partnership_end(
            actor=actor, partnership_id=personas.partnership.pk, at=AT
        )
        with pytest.raises(Conflict):
            services.partnership_end(
                actor=actor, partnership_id=personas.partnership.pk, at=AT
            )
    assert ended.ended_at == AT
    other = personas.laboratory if name == "clinic_manager" else personas.clinic_a
    assert told(other) == ["partnership_ended"]

    again = ask(actor, other.code)
    assert again.pk != personas.partnership.pk


@pytest.mark.parametrize(
    ("name", "error"),
    [
        ("clinician", NotAllowed),
        ("technician", NotAllowed),
        ("clinician_b", NotFound),
        ("technician_m", NotFound),
    ],
)
def test_who_cannot_end_it(personas: Personas, name: str, error: type[Exception]):
    actor = personas.named(name).actor
    with acting(actor), pytest.raises(error):
        services.partnership_end(
            actor=actor, partnership_id=personas.partnership.pk, at=AT
        )
    with tenant(personas.clinic_a.pk):
        assert Partnership.objects.get().ended_at is None


def test_partners_do_not_see_each_others_people(personas: Personas):
    with acting(personas.lab_manager.actor):
        assert not Membership.objects.filter(
            organisation_id=personas.clinic_a.pk
        ).exists()
        assert Organisation.objects.filter(pk=personas.clinic_a.pk).exists()
