"""The one place that reads the clock; everything below takes ``at``.

Interfaces (views, API, tasks, commands) call :func:`now` once and pass the
value down, so that services, reminders and tests agree about time.
"""

from datetime import UTC, datetime

__all__ = ["now"]


def now() -> datetime:
    """Return the current time, aware, in UTC."""
    return datetime.now(UTC)
