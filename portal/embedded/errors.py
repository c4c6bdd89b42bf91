"""The one error of the embedded services: shown to people as it is."""

__all__ = ["EmbeddedError"]


class EmbeddedError(RuntimeError):
    """A service cannot run; the message says why and what to do, in full."""
