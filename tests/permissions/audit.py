"""The audit: managers of both sides and clinicians; set up by managers alone."""

from cases import clock
from cases.services import audit_set_up
from cases.tenancy import acting
from tests.permissions.shape import Row, Target
from tests.personas import Personas


def of_clinic_b(personas: Personas) -> Target:
    """Ask for the figures of clinic B, which nobody here may know about.

    Laboratory L works with it, but has no case of it yet: for it too it is not there.
    """
    return Target(data={"clinic": personas.clinic_b.code})


def of_nobody(personas: Personas) -> Target:
    """Ask for the figures of a clinic that does not exist: the same answer."""
    return Target(data={"clinic": "ABCDE12345"})


def reversed_period(personas: Personas) -> Target:
    """Ask for a period that ends before it begins."""
    return Target(data={"from": "2026-05", "to": "2026-01"})


def view_fields(personas: Personas) -> Target:
    """Fill the form of a new saved view."""
    return Target(data={"name": "Zirconia", "page": "rates", "query": "kind=crown"})


def view(personas: Personas) -> Target:
    """Name a view the clinician of clinic A keeps."""
    actor = personas.clinician.actor
    with acting(actor):
        kept = audit_set_up.view_save(
            actor=actor, name="Mine", page="overview", query="", at=clock.now()
        )
    return Target(kwargs={"code": kept.code})


def note_fields(personas: Personas) -> Target:
    """Fill the form of a new note."""
    return Target(data={"on": "2026-03-02", "text": "Training held"})


def note(personas: Personas) -> Target:
    """Name a note of laboratory L."""
    actor = personas.lab_manager.actor
    at = clock.now()
    with acting(actor):
        made = audit_set_up.note_add(
            actor=actor, on=at.date(), text="Training held", at=at
        )
    return Target(kwargs={"code": made.code})


def settings(personas: Personas) -> Target:
    """Fill the form of the set-up."""
    return Target(data={"small_number": "5", "least_cases": "10", "currency": "EUR"})


# In the order of PERSONAS:
#         clinic A    | laboratory L | B   M   operator  anonymous
VIEWER = "200 403 200 403 200 200 403 403 302"
STORES = "302 403 302 403 302 302 403 403 302"
NOT_THERE = "404 403 404 403 404 404 403 403 302"
REFUSED = "422 403 422 403 422 422 403 403 302"
MANAGER = "403 403 200 403 200 403 403 403 302"
MANAGES = "403 403 302 403 302 403 403 403 302"

_FIGURES = (
    "audit",
    "audit_rates",
    "audit_clearance",
    "audit_queries",
    "audit_compare",
    "audit_cases",
)

ROWS = (
    *(Row(name, "GET", VIEWER) for name in _FIGURES),
    *(
        # Clinician B asks for the own clinic.
        Row(name, "GET", "404 403 404 403 404 200 403 403 302", of_clinic_b, "clinic B")
        for name in _FIGURES
    ),
    *(Row(name, "GET", NOT_THERE, of_nobody, "nobody's clinic") for name in _FIGURES),
    *(Row(name, "GET", REFUSED, reversed_period, "reversed") for name in _FIGURES),
    Row("audit_clinics", "GET", "403 403 403 403 200 403 403 403 302"),
    Row("audit_views", "GET", VIEWER),
    Row("audit_views", "POST", STORES, view_fields),
    Row("audit_view_remove", "POST", "302 403 404 403 404 404 403 403 302", view),
    Row("audit_notes", "GET", VIEWER),
    Row("audit_notes", "POST", MANAGES, note_fields),
    Row("audit_note_remove", "POST", "404 404 404 403 302 404 404 403 302", note),
    Row("audit_set_up", "GET", MANAGER),
    Row("audit_set_up", "POST", MANAGES, settings),
)
