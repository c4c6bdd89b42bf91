"""People, partners, delegation, tokens, settings, invitations, the operator."""

from datetime import timedelta

from cases import clock
from cases.services import delegations, invitations, operators, tokens
from cases.tenancy import acting
from tests.factories import AT, make_organisation, make_partnership
from tests.permissions.shape import Row, Target
from tests.personas import Personas


def assistant_of_a(personas: Personas) -> Target:
    """Name the membership of clinic A's assistant."""
    return Target(kwargs={"pk": personas.assistant.membership.pk})


def technician_of_l(personas: Personas) -> Target:
    """Name the membership of laboratory L's technician."""
    return Target(
        kwargs={"pk": personas.technician.membership.pk},
        data={"responsible_technician": "on"},
    )


def invitation_fields(personas: Personas) -> Target:
    """Fill the form with a clinic's role, which a laboratory does not have."""
    return Target(data={"email": "new@example.org", "role": "assistant"})


def invitation_of_a(personas: Personas) -> Target:
    """Name an open invitation of clinic A."""
    return Target(kwargs={"code": _invite(personas)})


def link_of_a(personas: Personas) -> Target:
    """Take the link of an invitation of clinic A to somebody without account."""
    path = invitations.invitation_link(_invite(personas))
    return Target(
        kwargs={"secret": path.split("/")[2]},
        data={"name": "New", "password": "a sentence nobody guesses"},
    )


def _invite(personas: Personas) -> str:
    actor = personas.clinic_manager.actor
    with acting(actor):
        return invitations.invitation_create(
            actor=actor, email="new@example.org", role="assistant", at=clock.now()
        ).code


def partnership_of_a(personas: Personas) -> Target:
    """Name the partnership of clinic A with laboratory L."""
    return Target(kwargs={"pk": personas.partnership.pk})


def asked_by_a(personas: Personas) -> Target:
    """Name what clinic A asked of laboratory L (their first has ended)."""
    asked = _asked(personas)
    return Target(kwargs={"pk": asked})


def _asked(personas: Personas) -> int:
    with acting(personas.clinic_manager.actor):
        personas.partnership.ended_at = AT
        personas.partnership.save(update_fields=["ended_at"])
    return make_partnership(personas.clinic_a, personas.laboratory, accepted_at=None).pk


def code_of_somebody(personas: Personas) -> Target:
    """Fill in the code of a laboratory nobody works with yet."""
    other = make_organisation("laboratory", "Laboratory N")
    return Target(data={"code": other.code})


def delegation_fields(personas: Personas) -> Target:
    """Fill the form of the clinician of clinic A."""
    today = clock.now().date()
    return Target(
        data={
            "delegate": str(personas.colleague.membership.pk),
            "starts_on": today.isoformat(),
            "ends_on": (today + timedelta(days=3)).isoformat(),
            "note": "On leave.",
        }
    )


def delegation_of_a(personas: Personas) -> Target:
    """Name a delegation of the clinician of clinic A."""
    actor = personas.clinician.actor
    with acting(actor):
        made = delegations.delegation_create(
            actor=actor,
            delegate_membership_id=personas.colleague.membership.pk,
            starts_on=AT.date(),
            ends_on=AT.date(),
            note="On leave.",
            at=AT,
        )
    return Target(kwargs={"pk": made.pk})


def token_of_clinician(personas: Personas) -> Target:
    """Name a token of the clinician of clinic A."""
    actor = personas.clinician.actor
    with acting(actor):
        token, _secret = tokens.api_token_create(actor=actor, name="x", days=3, at=AT)
    return Target(kwargs={"pk": token.pk})


def token_fields(personas: Personas) -> Target:
    """Fill the token form."""
    return Target(data={"name": "x", "days": "30"})


def settings_fields(personas: Personas) -> Target:
    """Fill the settings form."""
    return Target(
        data={
            "name": "Anew",
            "time_zone": "UTC",
            "tooth_system": "iso3950",
            "language": "en",
        }
    )


def membership_of_clinician(personas: Personas) -> Target:
    """Choose the membership of the clinician of clinic A."""
    return Target(data={"membership": str(personas.clinician.membership.pk)})


def new_organisation(personas: Personas) -> Target:
    """Fill the operator's form."""
    return Target(data={"kind": "clinic", "name": "C", "email": "c@example.org"})


def organisation_without_manager(personas: Personas) -> Target:
    """Name an organisation whose first manager has not joined."""
    made, _invitation = operators.organisation_create(
        operator_id=personas.operator.pk,
        kind="clinic",
        name="C",
        manager_email="c@example.org",
        at=AT,
    )
    return Target(kwargs={"code": made.code}, data={"email": "c@example.org"})


# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("people", "GET", "200 200 200 200 200 200 200 403 302"),
    Row(
        "invitation_create",
        "POST",
        "403 403 302 403 422 403 403 403 302",
        invitation_fields,
    ),
    Row(
        "invitation_revoke",
        "POST",
        "403 403 302 404 404 404 404 403 302",
        invitation_of_a,
    ),
    Row(
        "membership_end", "POST", "403 403 302 404 404 404 404 403 302", assistant_of_a
    ),
    Row(
        "membership_update",
        "POST",
        "404 404 404 403 302 404 404 403 302",
        technician_of_l,
    ),
    Row("partners", "GET", "200 200 200 200 200 200 200 403 302"),
    Row(
        "partnership_ask",
        "POST",
        "403 403 302 403 422 403 403 403 302",
        code_of_somebody,
    ),
    Row(
        "partnership_accept", "POST", "403 403 403 403 302 404 404 403 302", asked_by_a
    ),
    Row(
        "partnership_end",
        "POST",
        "403 403 302 403 302 404 404 403 302",
        partnership_of_a,
    ),
    Row("delegations", "GET", "200 200 200 403 403 200 403 403 302"),
    Row(
        "delegations",
        "POST",
        "302 403 403 403 403 422 403 403 302",
        delegation_fields,
    ),
    Row(
        "delegation_end",
        "POST",
        "302 403 403 404 404 404 404 403 302",
        delegation_of_a,
    ),
    Row("tokens", "GET", "200 200 200 200 200 200 200 403 302"),
    Row("tokens", "POST", "201 201 201 201 201 201 201 403 302", token_fields),
    Row(
        "token_revoke",
        "POST",
        "302 404 404 404 404 404 404 403 302",
        token_of_clinician,
    ),
    Row("organisation", "GET", "200 200 200 200 200 200 200 403 302"),
    Row(
        "organisation",
        "POST",
        "403 403 302 403 302 403 403 403 302",
        settings_fields,
    ),
    Row("switch_membership", "GET", "200 200 200 200 200 200 200 403 302"),
    Row(
        "switch_membership",
        "POST",
        "302 404 404 404 404 404 404 403 302",
        membership_of_clinician,
    ),
    Row("operator", "GET", "403 403 403 403 403 403 403 200 302"),
    Row("operator", "POST", "403 403 403 403 403 403 403 302 302", new_organisation),
    Row(
        "operator_invite",
        "POST",
        "403 403 403 403 403 403 403 302 302",
        organisation_without_manager,
    ),
    # Sent to somebody without account: a form for nobody, a refusal for others.
    Row("invitation", "GET", "409 409 409 409 409 409 409 409 200", link_of_a),
    Row("invitation", "POST", "409 409 409 409 409 409 409 409 302", link_of_a),
)
