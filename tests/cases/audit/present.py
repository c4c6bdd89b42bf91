"""What a test expects to be there."""

from typing import Any

__all__ = ["present"]


def present(found: Any) -> Any:
    """Return a result that must not be None."""
    assert found is not None
    return found
