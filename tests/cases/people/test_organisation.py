"""Settings of an organisation, and the operator who creates organisations."""

import io

import pytest
from django.core.management import CommandError, call_command

from cases.errors import Conflict, Invalid, NotAllowed, NotFound
from cases.models import Invitation, Organisation, OutboxRow, User
from cases.services import invitations, operators
from cases.services import people as services
from cases.tenancy import NoTenant, acting, operator, tenant
from tests.factories import AT, PASSWORD
from tests.personas import Personas

GOOD = {
    "name": "Clinic A anew",
    "address": "1 Road",
    "time_zone": "Europe/Lisbon",
    "tooth_system": "palmer",
    "language": "en",
}


def test_a_manager_changes_the_settings(personas: Personas):
    actor = personas.clinic_manager.actor
    with acting(actor):
        services.organisation_update(actor=actor, **GOOD)
        stored = Organisation.objects.get(pk=personas.clinic_a.pk)

    assert {field: getattr(stored, field) for field in GOOD} == GOOD


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", " "),
        ("time_zone", "Middle/Earth"),
        ("time_zone", "../etc/passwd"),
        ("tooth_system", "own"),
        ("language", "xx"),
    ],
)
def test_a_setting_that_does_not_exist(personas: Personas, field: str, value: str):
    actor = personas.clinic_manager.actor
    with acting(actor), pytest.raises(Invalid) as refused:
        services.organisation_update(actor=actor, **{**GOOD, field: value})

    assert [fault.pointer for fault in refused.value.fields] == [f"/{field}"]


@pytest.mark.parametrize("name", ["clinician", "assistant", "technician"])
def test_only_managers_change_settings(personas: Personas, name: str):
    actor = personas.named(name).actor
    with acting(actor), pytest.raises(NotAllowed):
        services.organisation_update(actor=actor, **GOOD)


def test_the_operator_creates_an_organisation_with_its_first_manager(
    personas: Personas,
):
    made, invitation = operators.organisation_create(
        operator_id=personas.operator.pk,
        kind="laboratory",
        name="Laboratory N",
        manager_email="Boss@example.org",
        at=AT,
    )

    assert (made.kind, made.name) == ("laboratory", "Laboratory N")
    assert (invitation.email, invitation.role) == ("boss@example.org", "lab_manager")
    with tenant(made.pk):
        assert [row.kind for row in OutboxRow.objects.all()] == ["invitation"]


@pytest.mark.parametrize("name", ["lab_manager", "clinic_manager", "clinician"])
def test_nobody_else_creates_organisations(personas: Personas, name: str):
    with pytest.raises(NotAllowed):
        operators.organisation_create(
            operator_id=personas.named(name).user.pk,
            kind="clinic",
            name="X",
            manager_email="x@example.org",
            at=AT,
        )
    with pytest.raises(NotAllowed):
        operators.organisation_list(operator_id=personas.named(name).user.pk)


@pytest.mark.parametrize(
    ("kind", "name", "pointer"),
    [("dentist", "X", "/kind"), ("clinic", "  ", "/name")],
)
def test_an_organisation_needs_kind_and_name(
    personas: Personas, kind: str, name: str, pointer: str
):
    with pytest.raises(Invalid) as refused:
        operators.organisation_create(
            operator_id=personas.operator.pk,
            kind=kind,
            name=name,
            manager_email="x@example.org",
            at=AT,
        )
    assert [fault.pointer for fault in refused.value.fields] == [pointer]


def test_a_lost_first_invitation_is_replaced_until_a_manager_has_joined(
    personas: Personas,
):
    made, first = operators.organisation_create(
        operator_id=personas.operator.pk,
        kind="clinic",
        name="Clinic C",
        manager_email="boss@example.org",
        at=AT,
    )
    again = operators.manager_invite(
        operator_id=personas.operator.pk,
        code=made.code,
        email="boss@example.org",
        at=AT,
    )
    with operator():
        first = Invitation.objects.get(pk=first.pk)
    assert first.revoked_at == AT
    secret = invitations.invitation_link(again.code).split("/")[2]
    invitations.invitation_accept_new(
        secret=secret, name="Boss", password=PASSWORD, licence_number="", at=AT
    )

    with pytest.raises(Conflict):
        operators.manager_invite(
            operator_id=personas.operator.pk,
            code=made.code,
            email="operator@example.org",
            at=AT,
        )
    with pytest.raises(NotFound):
        operators.manager_invite(
            operator_id=personas.operator.pk, code="0", email="x@example.org", at=AT
        )


def test_the_operator_lists_organisations_but_reads_no_members(personas: Personas):
    listed = operators.organisation_list(operator_id=personas.operator.pk)

    assert [one.name for one in listed] == [
        "Clinic A",
        "Clinic B",
        "Laboratory L",
        "Laboratory M",
    ]
    assert all(vars(one)["waiting"] == [] for one in listed)
    with pytest.raises(NoTenant):
        Organisation.objects.count()


@pytest.mark.django_db
def test_the_first_run_command_makes_one_operator(monkeypatch):
    monkeypatch.setenv("CHAIRBENCH_OPERATOR_PASSWORD", PASSWORD)
    out = io.StringIO()
    arguments = ("create_operator", "--email", "Op@example.org", "--name", "Op")
    call_command(*arguments, stdout=out)

    made = User.objects.get()
    assert (made.email, made.is_operator) == ("op@example.org", True)
    assert made.check_password(PASSWORD)
    with pytest.raises(CommandError, match="--another"):
        call_command("create_operator", "--email", "b@example.org", "--name", "B")
    call_command("create_operator", "--another", "--email", "b@x.org", "--name", "B")
    assert User.objects.count() == 2


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("password", "email", "message"),
    [
        ("short", "op@example.org", "12 characters"),
        (PASSWORD, "nonsense", "not an e-mail address"),
        ("", "op@example.org", "CHAIRBENCH_OPERATOR_PASSWORD"),
    ],
)
def test_the_first_run_command_says_what_is_wrong(
    monkeypatch, password: str, email: str, message: str
):
    monkeypatch.setenv("CHAIRBENCH_OPERATOR_PASSWORD", password)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))

    with pytest.raises(CommandError, match=message):
        call_command("create_operator", "--email", email, "--name", "Op")
    assert not User.objects.exists()
