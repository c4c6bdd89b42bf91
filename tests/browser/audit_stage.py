"""What people add to the audit, for its pages to be looked at; the demo has figures."""

from datetime import timedelta

from cases import clock
from cases.services import audit_set_up
from cases.tenancy import Actor, acting

__all__ = ["write_audit"]


def write_audit(manager: Actor, clinician: Actor) -> None:
    """Write a note of the laboratory, and a saved view of each."""
    now = clock.now()
    with acting(manager):
        audit_set_up.note_add(
            actor=manager,
            on=now.date() - timedelta(days=200),
            text="Training in reading thickness strips",
            at=now,
        )
    for actor in (manager, clinician):
        with acting(actor):
            audit_set_up.view_save(
                actor=actor,
                name="Zirconia, molars",
                page="rates",
                query="material=zirconia_3y&tooth_class=molar",
                at=now,
            )
