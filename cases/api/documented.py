"""What the OpenAPI document says of a view, from what the view itself declares."""

import inspect
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view

from cases.api.fields import Field

if TYPE_CHECKING:
    from rest_framework.views import APIView

__all__ = ["CODE", "Operation", "complete", "document", "pattern_of", "reference"]

# Crockford's base32, as cases.canonical makes the codes.
CODE = "[0-9A-HJKMNP-TV-Z]{10}"
# What stands in an address and is no code: a remake's number within the installation.
_IN_ADDRESSES = {"remake": "[1-9][0-9]{0,17}"}
_JSON = "application/json"
_PROBLEM = "application/problem+json"


def pattern_of(name: str) -> str:
    """Return how a part of an address looks, by its name in the route."""
    return _IN_ADDRESSES.get(name, CODE)


def reference(component: str) -> dict[str, Any]:
    """Return the reference of a component."""
    return {"$ref": f"#/components/schemas/{component}"}


@dataclass(frozen=True, slots=True)
class Operation:
    """One method of a route.

    ``request`` is the JSON Schema of its body (None: no body), ``returns`` the name
    of the answer's component ("" none), ``query`` what may follow the question mark,
    ``as_text`` another media type in which the same is answered ("" none).
    """

    request: dict[str, Any] | None = None
    returns: str = ""
    status: int = 200
    versioned: bool = False
    once: bool = False
    query: Mapping[str, Field] | None = None
    media_type: str = _JSON
    as_text: str = ""
    request_type: str = _JSON


def _header(name: str, description: str, *, required: bool) -> OpenApiParameter:
    return OpenApiParameter(
        name,
        OpenApiTypes.STR,
        OpenApiParameter.HEADER,
        required=required,
        description=description,
    )


def _parameters(operation: Operation) -> list[OpenApiParameter]:
    found = []
    if operation.once:
        found.append(
            _header(
                "Idempotency-Key",
                "1 to 80 printable characters; the same one for a retry. Kept 24 h.",
                required=True,
            )
        )
    if operation.versioned:
        found.append(
            _header(
                "If-Match",
                "The ETag of the case as last seen, one strong tag.",
                required=True,
            )
        )
    for name, field in (operation.query or {}).items():
        found.append(
            OpenApiParameter(
                name,
                field.schema,
                OpenApiParameter.QUERY,
                explode=True if field.schema["type"] == "array" else None,
            )
        )
    return found


def _responses(operation: Operation) -> dict[Any, Any]:
    done: Any = None
    if operation.returns:
        done = reference(operation.returns)
    elif operation.media_type != _JSON:
        done = {"type": "string", "format": "binary"}
    found = {(operation.status, operation.media_type): done}
    if operation.as_text:
        found[operation.status, operation.as_text] = {"type": "string"}
    return {
        **found,
        ("4XX", _PROBLEM): reference("Problem"),
        ("5XX", _PROBLEM): reference("Problem"),
    }


def document(view: "type[APIView]", operations: Mapping[str, Operation]) -> None:
    """Attach the operations to the view class."""
    summary, _, more = inspect.cleandoc(view.__doc__ or "").partition("\n")
    for method, operation in operations.items():
        request = None
        if operation.request is not None:
            request = {operation.request_type: operation.request}
        name = view.__name__ if len(operations) == 1 else f"{view.__name__}_{method}"
        extend_schema_view(
            **{
                method: extend_schema(
                    operation_id=name,
                    summary=summary,
                    description=more.strip(),
                    request=request,
                    responses=_responses(operation),
                    parameters=_parameters(operation),
                )
            }
        )(view)


def complete(result: dict[str, Any], **_context: Any) -> dict[str, Any]:
    """Say what plain schemas cannot: which bodies are needed, how codes look."""
    for path in result["paths"].values():
        for operation in path.values():
            for parameter in operation.get("parameters", []):
                if parameter["in"] == "path":
                    pattern = f"^{pattern_of(parameter['name'])}$"
                    parameter["schema"] = {"type": "string", "pattern": pattern}
            if body := operation.get("requestBody"):
                schema = next(iter(body["content"].values()))["schema"]
                body["required"] = "$ref" in schema or "required" in schema
    return result
