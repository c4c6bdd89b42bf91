"""Days and times as a document prints them: unambiguous, with the zone."""

from datetime import date, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.utils.formats import date_format

__all__ = ["day", "moment", "parsed"]


def parsed(iso: str) -> datetime:
    """Return the time of an ISO 8601 text with offset."""
    return datetime.fromisoformat(iso)


def day(iso: str | None) -> str:
    """Return a date with its weekday, the month as a word; nothing for none."""
    return date_format(date.fromisoformat(iso), "D j M Y") if iso else ""


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def moment(iso: str | None, zone: str) -> str:
    """Return a time on the clinic's clock with its offset; nothing for none."""
    if not iso:
        return ""
    local = parsed(iso).astimezone(_zone(zone))
    offset = local.strftime("%z")
    return f"{date_format(local, 'j M Y, H:i')} (UTC{offset[:3]}:{offset[3:]})"
