"""The components of the OpenAPI document; the tests hold every answer to them."""

from cases.api.schemas import audit, case, check, flag, records

__all__ = ["COMPONENTS"]

COMPONENTS = {
    **check.COMPONENTS,
    **flag.COMPONENTS,
    **case.COMPONENTS,
    **records.COMPONENTS,
    **audit.COMPONENTS,
}
