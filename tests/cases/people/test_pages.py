"""The pages about people: every state, refusals beside the field, outsiders."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from cases import clock
from cases.models import ApiToken, Invitation, Membership, Partnership, User
from cases.services import invitations
from cases.tenancy import acting, tenant
from tests.factories import (
    PASSWORD,
    make_membership,
    make_organisation,
    make_partnership,
    make_token,
    make_user,
)
from tests.personas import Personas, client_of


def text(response) -> str:
    return response.content.decode()


def invite_now(personas: Personas, email: str, role: str) -> str:
    actor = personas.clinic_manager.actor
    with acting(actor):
        made = invitations.invitation_create(
            actor=actor, email=email, role=role, at=clock.now()
        )
    return invitations.invitation_link(made.code)


def test_a_member_sees_colleagues_but_no_addresses_and_no_forms(personas: Personas):
    shown = text(client_of(personas.assistant).get("/people/"))

    assert "Colleague Test" in shown
    assert "colleague@example.org" not in shown
    assert "Invite somebody" not in shown
    assert "Technician Test" not in shown


def test_a_manager_sees_addresses_and_invites(personas: Personas):
    client = client_of(personas.clinic_manager)
    assert "Nobody is invited" in text(client.get("/people/"))

    sent = client.post(
        "/people/invite/", {"email": "new@example.org", "role": "assistant"}
    )

    assert (sent.status_code, sent.headers["Location"]) == (302, "/people/")
    shown = text(client.get("/people/"))
    assert "new@example.org" in shown
    assert "colleague@example.org" in shown


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"email": "", "role": "assistant"}, "Enter the e-mail address"),
        ({"email": "nonsense", "role": "assistant"}, "Enter an e-mail address"),
        ({"email": "a\x00@example.org", "role": "assistant"}, "Null characters"),
        ({"email": "new@example.org", "role": ""}, "Choose what the person does"),
        ({"email": "new@example.org", "role": "technician"}, "technician"),
        ({"email": "colleague@example.org", "role": "clinician"}, "holds this role"),
    ],
)
def test_a_refused_invitation_says_why_and_keeps_what_was_typed(
    personas: Personas, fields: dict[str, str], message: str
):
    response = client_of(personas.clinic_manager).post("/people/invite/", fields)

    assert response.status_code == 422
    shown = text(response)
    assert "There is a problem" in shown
    assert message in shown
    assert "<title>Error:" in shown
    if "@" in fields["email"] and "\x00" not in fields["email"]:
        assert f'value="{fields["email"]}"' in shown
    with tenant(personas.clinic_a.pk):
        assert not Invitation.objects.exists()


def test_a_name_with_markup_stays_text(personas: Personas):
    user = make_user("x@example.org", "<script>alert(1)</script>")
    make_membership(personas.clinic_a, user, "assistant")

    shown = text(client_of(personas.clinic_manager).get("/people/"))

    assert "<script>alert" not in shown
    assert "&lt;script&gt;alert" in shown


def test_a_link_read_by_a_mail_scanner_is_not_used(personas: Personas, client: Client):
    path = invite_now(personas, "new@example.org", "clinician")

    for _visit in range(3):
        response = client.get(path)
        assert response.status_code == 200
        client.head(path)
    shown = text(response)
    assert "Clinic A invites you" in shown
    assert "new@example.org" in shown
    assert "Licence number" in shown
    assert not User.objects.filter(email="new@example.org").exists()


def test_a_new_person_joins_signs_in_and_sets_up_the_second_factor(
    personas: Personas, client: Client
):
    path = invite_now(personas, "new@example.org", "clinician")
    weak = {"name": "New", "licence_number": "L-1", "password": "password1234"}
    refused = client.post(path, weak)
    assert refused.status_code == 422
    assert "too common" in text(refused)
    assert "password1234" not in text(refused)

    made = client.post(path, {**weak, "password": PASSWORD})
    assert made.headers["Location"] == "/account/login/"
    client.post("/account/login/", {"login": "new@example.org", "password": PASSWORD})

    assert client.get("/people/").headers["Location"].endswith("/set-up/")
    gone = client.get(path)
    assert gone.status_code == 404
    assert "not valid" in text(gone)


def test_an_existing_person_signs_in_to_join_and_acts_there(
    personas: Personas, client: Client
):
    path = invite_now(personas, "technician_m@example.org", "assistant")
    shown = text(client.get(path))
    assert "Sign in and join" in shown
    assert f"/account/login/?next={path}" in shown
    assert client.post(path).headers["Location"].startswith("/account/login/")

    own = client_of(personas.technician_m)
    assert "Join" in text(own.get(path))
    joined = own.post(path)

    assert joined.headers["Location"] == "/"
    assert own.get("/people/").context["actor"].organisation_id == personas.clinic_a.pk


def test_a_link_opened_as_somebody_else_names_nobody(personas: Personas):
    path = invite_now(personas, "new@example.org", "assistant")

    response = client_of(personas.clinician_b).get(path)

    assert response.status_code == 409
    assert "new@example.org" not in text(response)


def test_partners_show_the_code_and_hide_a_strangers_address(personas: Personas):
    client = client_of(personas.clinic_manager)
    shown = text(client.get("/partners/"))
    assert personas.clinic_a.code in shown
    assert "Laboratory L" in shown
    assert "Laboratory M" not in shown

    asked = client.post("/partners/ask/", {"code": personas.laboratory_m.code.lower()})
    assert asked.status_code == 302
    assert "Laboratory M" in text(client.get("/partners/"))


def test_a_wrong_code_is_said_beside_the_field(personas: Personas):
    client = client_of(personas.clinic_manager)

    response = client.post("/partners/ask/", {"code": "0000000000"})

    assert response.status_code == 422
    assert "No laboratory has this code" in text(response)
    assert 'value="0000000000"' in text(response)
    with tenant(personas.clinic_a.pk):
        assert Partnership.objects.count() == 1


def test_a_clinician_delegates_and_takes_back(personas: Personas):
    client = client_of(personas.clinician)
    assert "Nobody signs for anybody" in text(client.get("/delegations/"))
    fields = {
        "delegate": str(personas.colleague.membership.pk),
        "starts_on": "2999-01-01",
        "ends_on": "2999-01-05",
        "note": "On leave.",
    }
    assert client.post("/delegations/", fields).status_code == 302
    page = client.get("/delegations/")
    assert "On leave." in text(page)
    assert "Take back" in text(page)
    other = text(client_of(personas.assistant).get("/delegations/"))
    assert "On leave." in other
    assert "Take back" not in other

    wrong = client.post("/delegations/", {**fields, "ends_on": "2998-01-01"})
    assert wrong.status_code == 422
    assert "cannot be before the first" in text(wrong)
    made = page.context["delegations"][0]
    assert client.post(f"/delegations/{made.pk}/end/").status_code == 302
    assert "Nobody signs for anybody" in text(client.get("/delegations/"))


def test_a_token_is_shown_once_and_works(personas: Personas):
    client = client_of(personas.technician)
    made = client.post("/tokens/", {"name": "bench", "days": "30"})

    secret = made.context["secret"]
    assert made.status_code == 201
    assert text(made).count(secret) == 1
    assert secret not in text(client.get("/tokens/"))
    again = client.post("/tokens/", {"name": "bench", "days": "30"})
    assert again.status_code == 422
    with tenant(personas.laboratory.pk):
        assert ApiToken.objects.count() == 1


def test_one_sees_ones_own_tokens_only(personas: Personas):
    make_token(personas.technician.actor, name="the technician's")

    shown = text(client_of(personas.responsible).get("/tokens/"))

    assert "You have no token" in shown


def test_settings_are_changed_by_a_manager_and_used_at_once(personas: Personas):
    client = client_of(personas.clinic_manager)
    fields = {
        "name": "Clinic Anew",
        "address": "1 Road",
        "time_zone": "Pacific/Auckland",
        "tooth_system": "universal",
        "language": "en",
    }
    assert client.post("/organisation/", fields).status_code == 302

    actor = client.get("/organisation/").context["actor"]
    assert (actor.organisation_name, actor.time_zone, actor.tooth_system) == (
        "Clinic Anew",
        "Pacific/Auckland",
        "universal",
    )
    wrong = client.post("/organisation/", {**fields, "time_zone": "Moon/Sea"})
    assert wrong.status_code == 422
    reader = text(client_of(personas.assistant).get("/organisation/"))
    assert "A manager changes these" in reader
    assert "<form class" not in reader


def test_ending_ones_own_membership_leads_out(personas: Personas):
    second = make_user("m2@example.org")
    make_membership(personas.clinic_a, second, "clinic_manager")
    client = client_of(personas.clinic_manager)
    pk = personas.clinic_manager.membership.pk

    assert client.post(f"/people/{pk}/end/").headers["Location"] == "/"
    assert client.get("/").status_code == 403
    with tenant(personas.clinic_a.pk):
        assert Membership.objects.get(pk=pk).ended_at is not None


def test_the_last_manager_is_told_why_not(personas: Personas):
    client = client_of(personas.clinic_manager)

    response = client.post(f"/people/{personas.clinic_manager.membership.pk}/end/")

    assert response.status_code == 409
    assert "last manager" in text(response)


def test_the_operator_creates_and_invites_again(personas: Personas):
    client = client_of(personas.operator)
    assert client.get("/").headers["Location"] == "/operator/"
    fields = {"kind": "clinic", "name": "Clinic C", "email": "c@example.org"}
    assert client.post("/operator/", fields).status_code == 302
    page = client.get("/operator/")
    assert "Clinic C" in text(page)
    assert "c@example.org" in text(page)
    made = next(o for o in page.context["organisations"] if o.name == "Clinic C")

    again = client.post(f"/operator/{made.code}/invite/", {"email": "c@example.org"})
    wrong = client.post(f"/operator/{made.code}/invite/", {"email": "x"})

    assert (again.status_code, wrong.status_code) == (302, 422)
    assert "Enter an e-mail address" in text(wrong)


def test_someone_of_two_organisations_is_offered_both(personas: Personas):
    make_membership(personas.clinic_b, personas.clinician.user, "clinician")

    shown = text(client_of(personas.clinician).get("/acting/"))

    assert "Clinic A" in shown
    assert "Clinic B" in shown


@pytest.mark.parametrize("path", ["/people/", "/partners/", "/tokens/"])
def test_a_longer_list_costs_no_more_queries(
    personas: Personas, path: str, django_assert_num_queries
):
    client = client_of(personas.clinic_manager)
    client.get(path)
    with CaptureQueriesContext(connection) as before:
        client.get(path)
    for number in range(3):
        user = make_user(f"more{number}@example.org")
        make_membership(personas.clinic_a, user, "assistant")
        other = make_organisation("laboratory", f"Laboratory {number}")
        make_partnership(personas.clinic_a, other)
        make_token(personas.clinic_manager.actor, name=f"t{number}")

    with django_assert_num_queries(len(before)):
        client.get(path)
