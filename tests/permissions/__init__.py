"""Who may open what, as data: one row per address, method and object.

How to add a page or an API route (the matrix fails until you do):

1. Put a row into the module of its area (``people.py``, ``account.py``, or one of
   your own; add a new module's ROWS to ``ALL`` below).
2. ``name`` is the URL's name, ``expected`` the statuses in the order of PERSONAS:
   everybody of clinic A and laboratory L, who share one case or object; then a
   clinician of clinic B and a technician of laboratory M, who must never learn that
   it exists (404); the operator, nobody's member, refused before any row is asked
   for (403); and nobody at all (302, API 401).
3. An address with an object takes ``arrange``: a function from Personas to Target
   (URL arguments, form fields, JSON body, headers). ``play_of(personas)`` plays a
   case of clinic A at laboratory L to any state with the real services; the states
   the rows use are in ``states.py``.

Every persona meets the object fresh: what one changes is rolled back.
"""

from tests.permissions import (
    account,
    api,
    api_commands,
    audit,
    audit_export,
    clinic,
    instruments,
    pages,
    people,
    remakes,
    rule_sets,
)
from tests.permissions.shape import PERSONAS, Row, Target, play_of

__all__ = ["ALL", "PERSONAS", "Row", "Target", "play_of"]

ALL: tuple[Row, ...] = (
    *account.ROWS,
    *people.ROWS,
    *instruments.ROWS,
    *remakes.ROWS,
    *rule_sets.ROWS,
    *audit.ROWS,
    *pages.ROWS,
    *clinic.ROWS,
    *api.ROWS,
    *api_commands.ROWS,
    *audit_export.ROWS,
)
