"""The people of the tests: owner, colleague, outsider on both sides.

Clinic A: clinician, colleague (a second clinician), assistant, clinic_manager.
Clinic B: clinician_b. Laboratory L (partner of A and B): technician, responsible
(may countersign), lab_manager. Laboratory M, a stranger to all: technician_m.
Nobody's member: operator.
"""

from dataclasses import dataclass

import pytest
from django.test import Client

from cases.enums import OrganisationKind, Role
from cases.models import Membership, Organisation, Partnership, User
from cases.tenancy import Actor
from tests import factories

__all__ = ["Persona", "Personas", "client_of", "make_personas", "personas"]


@dataclass(frozen=True, slots=True)
class Persona:
    """One person with one membership."""

    user: User
    membership: Membership
    actor: Actor


@dataclass(frozen=True, slots=True)
class Personas:
    """Everybody, by the names of the module docstring."""

    clinic_a: Organisation
    clinic_b: Organisation
    laboratory: Organisation
    laboratory_m: Organisation
    partnership: Partnership
    clinician: Persona
    colleague: Persona
    assistant: Persona
    clinic_manager: Persona
    clinician_b: Persona
    technician: Persona
    responsible: Persona
    lab_manager: Persona
    technician_m: Persona
    operator: User

    def named(self, name: str) -> Persona:
        """Return a persona by name."""
        found = getattr(self, name)
        assert isinstance(found, Persona)
        return found


def _persona(
    organisation: Organisation, name: str, role: Role, **fields: object
) -> Persona:
    licence = f"LIC-{name}" if role is Role.CLINICIAN else ""
    user = factories.make_user(
        f"{name}@example.org",
        f"{name.replace('_', ' ').title()} Test",
        licence_number=licence,
    )
    membership = factories.make_membership(organisation, user, role, **fields)
    return Persona(user, membership, factories.actor_of(membership))


def make_personas() -> Personas:
    """Store everybody."""
    clinic, laboratory = OrganisationKind.CLINIC, OrganisationKind.LABORATORY
    clinic_a = factories.make_organisation(clinic, "Clinic A")
    clinic_b = factories.make_organisation(clinic, "Clinic B")
    lab_l = factories.make_organisation(laboratory, "Laboratory L")
    lab_m = factories.make_organisation(laboratory, "Laboratory M")
    partnership = factories.make_partnership(clinic_a, lab_l)
    factories.make_partnership(clinic_b, lab_l)
    return Personas(
        clinic_a=clinic_a,
        clinic_b=clinic_b,
        laboratory=lab_l,
        laboratory_m=lab_m,
        partnership=partnership,
        clinician=_persona(clinic_a, "clinician", Role.CLINICIAN),
        colleague=_persona(clinic_a, "colleague", Role.CLINICIAN),
        assistant=_persona(clinic_a, "assistant", Role.ASSISTANT),
        clinic_manager=_persona(clinic_a, "clinic_manager", Role.CLINIC_MANAGER),
        clinician_b=_persona(clinic_b, "clinician_b", Role.CLINICIAN),
        technician=_persona(lab_l, "technician", Role.TECHNICIAN),
        responsible=_persona(
            lab_l, "responsible", Role.TECHNICIAN, responsible_technician=True
        ),
        lab_manager=_persona(lab_l, "lab_manager", Role.LAB_MANAGER),
        technician_m=_persona(lab_m, "technician_m", Role.TECHNICIAN),
        operator=factories.make_user(
            "operator@example.org", "Operator Test", is_operator=True
        ),
    )


@pytest.fixture
def personas(db: None) -> Personas:
    """Everybody, stored."""
    return make_personas()


def client_of(user: User | Persona) -> Client:
    """Return a browser in which a person is signed in."""
    client = Client()
    client.force_login(user.user if isinstance(user, Persona) else user)
    return client
