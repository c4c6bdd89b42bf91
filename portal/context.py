"""What every page needs to know about the person looking at it."""

from typing import Any

from django.http import HttpRequest

__all__ = ["acting"]


def acting(request: HttpRequest) -> dict[str, Any]:
    """Return actor and memberships for the page frame."""
    return {
        "actor": getattr(request, "actor", None),
        "memberships": getattr(request, "memberships", ()),
    }
