"""Single values as JSON: lengths as numbers, times as text, who signed what."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cases.models import Signature

__all__ = ["iso", "mm", "numbers", "signature_json"]


def iso(value: date | datetime | None) -> str | None:
    """Return a date or an instant (UTC) as ISO 8601 text."""
    return value.isoformat() if value else None


def mm(value: Decimal | float | str | None, places: int = 2) -> float | None:
    """Return a length in millimetres as a JSON number; null stays null."""
    return None if value is None else round(float(value), places) + 0.0


def numbers(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return an object whose ``…_mm`` texts ("1.50") are JSON numbers.

    An object in it is a map of lengths (wall heights).
    """
    found: dict[str, Any] = {}
    for key, value in body.items():
        if isinstance(value, Mapping):
            found[key] = {name: mm(length) for name, length in value.items()}
        elif isinstance(value, list):
            found[key] = [numbers(v) if isinstance(v, Mapping) else v for v in value]
        elif key.endswith(("_mm", "_deg")) and value is not None:
            found[key] = mm(value, 4 if key in ("u_mm", "delta_mm") else 2)
        else:
            found[key] = value
    return found


def signature_json(signature: "Signature | None") -> dict[str, Any] | None:
    """Return a signature with exactly what was signed.

    ``content_sha256`` is the SHA-256 of the RFC 8785 form of ``content``.
    """
    if signature is None:
        return None
    return {
        "name": signature.printed_name,
        "role": signature.role,
        "signed_for": signature.signed_for,
        "purpose": signature.purpose,
        "meaning": signature.meaning,
        "method": signature.method,
        "signed_at": iso(signature.signed_at),
        "content_sha256": signature.content_sha256,
        "content": signature.content,
    }
