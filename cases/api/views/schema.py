"""The OpenAPI 3.1 document, for whoever may call the API."""

from drf_spectacular.views import SpectacularAPIView

from cases.api import security
from cases.api.authentication import IsActing
from cases.api.schemas import COMPONENTS

__all__ = ["Schema"]


class Schema(SpectacularAPIView):
    """The OpenAPI document of this API, as YAML or JSON by Accept."""

    permission_classes = (IsActing,)
    custom_settings = {
        "APPEND_COMPONENTS": {"schemas": COMPONENTS},
        "POSTPROCESSING_HOOKS": ["cases.api.documented.complete"],
    }
    # Importing the module is what registers the names of the two schemes.
    security_scheme = security.ActingScheme
