"""How the OpenAPI document names the ways to authenticate."""

from django.conf import settings
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema

__all__ = ["ActingScheme"]


class ActingScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]  # -- its registering hook is untyped
    """A bearer token, or the session of the pages."""

    target_class = "cases.api.authentication.ActingAuthentication"
    name = ["bearerToken", "sessionCookie"]

    def get_security_requirement(
        self, auto_schema: AutoSchema
    ) -> list[dict[str, list[str]]]:
        """Return the two as alternatives: either of them is enough."""
        return [{"bearerToken": []}, {"sessionCookie": []}]

    def get_security_definition(self, auto_schema: AutoSchema) -> list[dict[str, str]]:
        """Return the two schemes in the order of their names."""
        return [
            {"type": "http", "scheme": "bearer"},
            {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME},
        ]
