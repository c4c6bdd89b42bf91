"""The API's questions: the check, cases, their files and thread, work orders.

Whoever has no membership (the operator) is refused before any row is asked for (403);
nobody at all is asked to sign in (401).
"""

from collections.abc import Callable
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

from cases.models import Case
from tests.permissions.pages import PDF, Arrange, file_of_a_case, order_of_a_case
from tests.permissions.shape import Row, Target, play_of
from tests.permissions.states import at_check, draft, incomplete
from tests.personas import Personas
from tests.play import Play, unit

KEY = {"Idempotency-Key": "a-new-one"}


class _Reread(SimpleUploadedFile):
    """A file that is sent whole by one persona after the other."""

    def read(self, *args: Any) -> bytes:
        """Return the content from its beginning."""
        self.seek(0)
        content: bytes = super().read(*args)
        return content


def body(**fields: object) -> Arrange:
    """Return what sends a JSON body to an address without an object."""

    def arrange(personas: Personas) -> Target:
        return Target(json=fields)

    return arrange


def case_of_a(personas: Personas) -> Target:
    """Name a case that both sides share."""
    return Target(kwargs={"code": at_check(play_of(personas)).code})


def draft_of_a(personas: Personas) -> Target:
    """Name a draft of clinic A."""
    return Target(kwargs={"code": draft(play_of(personas)).code})


def new_case(personas: Personas) -> Target:
    """Begin a draft with clinic A's clinician as prescriber."""
    fields = {
        "laboratory": personas.laboratory.code,
        "patient": {"reference": "P-1"},
        "prescriber": personas.clinician.user.email,
        "units": [unit()],
    }
    return Target(json=fields, headers=KEY)


def shade(played: Callable[[Play], Case]) -> Arrange:
    """Return what changes the shade of a draft or of a correction."""

    def arrange(personas: Personas) -> Target:
        case = played(play_of(personas))
        return Target(
            kwargs={"code": case.code},
            json={"prescription": {"shade": "A2"}},
            headers={"If-Match": f'"{case.version}"'},
        )

    return arrange


def message(personas: Personas) -> Target:
    """Write to the other side."""
    kwargs = case_of_a(personas).kwargs
    return Target(kwargs=kwargs, json={"body": "Hello."}, headers=KEY)


def upload(personas: Personas) -> Target:
    """Add a document."""
    file = _Reread("letter.pdf", PDF, content_type="application/pdf")
    return Target(kwargs=case_of_a(personas).kwargs, data={"file": file}, headers=KEY)


AUDIT = (
    "api_audit_summary",
    "api_audit_rates",
    "api_audit_causes",
    "api_audit_control_chart",
    "api_audit_funnel",
    "api_audit_clearance",
    "api_audit_queries",
    "api_audit_cases",
)


def of_clinic_b(personas: Personas) -> Target:
    """Ask for the figures of clinic B, of which laboratory L has no case yet."""
    return Target(data={"clinic": personas.clinic_b.code})


EVERYBODY = "200 200 200 200 200 200 200 403 401"
SHARED = "200 200 200 200 200 404 404 403 401"
WRITTEN = "201 201 201 201 201 404 404 403 401"
DRAFT = "200 200 200 404 404 404 404 403 401"
TEETH = {"from": "universal", "teeth": ["19"]}

# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("api_schema", "GET", EVERYBODY),
    Row("api_check", "POST", EVERYBODY, body(units=[unit()])),
    Row("api_teeth", "POST", EVERYBODY, body(**TEETH)),
    Row("api_materials", "GET", EVERYBODY),
    Row("api_rule_set", "GET", EVERYBODY),
    Row("api_cases", "GET", EVERYBODY),
    # Clinic B may begin drafts, but not with a clinician of clinic A.
    Row("api_cases", "POST", "201 201 403 403 403 422 403 403 401", new_case),
    Row("api_case", "GET", SHARED, case_of_a),
    Row("api_case", "GET", DRAFT, draft_of_a, "draft"),
    Row("api_case", "PATCH", "200 200 403 404 404 404 404 403 401", shade(draft)),
    Row(
        "api_case",
        "PATCH",
        "200 200 403 403 403 404 404 403 401",
        shade(incomplete),
        "correction",
    ),
    Row("api_case_check", "GET", SHARED, case_of_a),
    Row("api_case_check", "GET", DRAFT, draft_of_a, "draft"),
    Row("api_timeline", "GET", SHARED, case_of_a),
    Row("api_messages", "GET", SHARED, case_of_a),
    Row("api_messages", "POST", WRITTEN, message),
    Row("api_attachments", "GET", SHARED, case_of_a),
    Row("api_attachments", "POST", WRITTEN, upload),
    Row("api_attachment", "GET", SHARED, file_of_a_case),
    Row("api_work_order", "GET", SHARED, order_of_a_case),
    # Nobody has made the document yet; whose it is not learns not even that.
    Row(
        "api_work_order_pdf",
        "GET",
        "503 503 503 503 503 404 404 403 401",
        order_of_a_case,
    ),
    *(Row(name, "GET", "200 403 200 403 200 200 403 403 401") for name in AUDIT),
    *(
        Row(name, "GET", "404 403 404 403 404 200 403 403 401", of_clinic_b, "clinic B")
        for name in AUDIT
    ),
)
