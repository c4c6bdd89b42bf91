"""The audit taken along: as the pages; and the mail's choice, by a signed key alone."""

from cases.services.audit_digest import digest_mail_key
from tests.permissions.audit import NOT_THERE, VIEWER, of_nobody
from tests.permissions.shape import Row, Target
from tests.personas import Personas


def table(name: str, **fields: str):
    """Return what names a table."""

    def arrange(personas: Personas) -> Target:
        return Target(kwargs={"table": name}, data=fields)

    return arrange


def of_clinic_b(personas: Personas) -> Target:
    """Ask for the rates of clinic B."""
    return Target(kwargs={"table": "rates"}, data={"clinic": personas.clinic_b.code})


def quarter(personas: Personas) -> Target:
    """Ask for a quarter."""
    return Target(data={"quarter": "2026-Q1"})


def quarter_of_nobody(personas: Personas) -> Target:
    """Ask for a quarter of a clinic that does not exist."""
    return Target(data={"quarter": "2026-Q1", **of_nobody(personas).data})


def no_quarter(personas: Personas) -> Target:
    """Ask for a quarter that is none."""
    return Target(data={"quarter": "2026-Q5"})


def choice(personas: Personas) -> Target:
    """Name the laboratory manager's choice of mail; whoever holds the key may."""
    membership = personas.lab_manager.membership
    key = digest_mail_key(
        organisation_id=membership.organisation_id, membership_id=membership.pk
    )
    return Target(kwargs={"key": key})


def forged(personas: Personas) -> Target:
    """Name a choice of mail nobody signed."""
    return Target(kwargs={"key": "1-1.forged"})


# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("audit_export", "GET", VIEWER, table("rates"), "rates"),
    Row("audit_export", "GET", VIEWER, table("cases"), "cases"),
    Row("audit_export", "GET", NOT_THERE, table("secrets"), "no table"),
    Row(
        "audit_export",
        "GET",
        "404 403 404 403 404 200 403 403 302",
        of_clinic_b,
        "clinic B",
    ),
    Row(
        "audit_export",
        "GET",
        NOT_THERE,
        table("cases", clinic="ABCDE12345"),
        "nobody's clinic",
    ),
    Row("audit_report_pdf", "GET", VIEWER, quarter),
    Row("audit_report_pdf", "GET", NOT_THERE, quarter_of_nobody, "nobody's clinic"),
    Row(
        "audit_report_pdf",
        "GET",
        "422 403 422 403 422 422 403 403 302",
        no_quarter,
        "no quarter",
    ),
    Row("audit_digest_mail", "GET", "200 200 200 200 200 200 200 200 200", choice),
    Row("audit_digest_mail", "POST", "302 302 302 302 302 302 302 302 302", choice),
    Row(
        "audit_digest_mail",
        "POST",
        "404 404 404 404 404 404 404 404 404",
        forged,
        "forged",
    ),
)
