"""What only the demo has: people to sign in as, shown on the sign-in page.

A real installation has no DEMO_PEOPLE_FILE, so nothing here says anything there.
"""

import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.http import HttpRequest

from cases.enums import Role

__all__ = ["demo_settings", "people"]

PEOPLE_FILE = "people.json"


def demo_settings(data: Path) -> dict[str, str]:
    """Return the options that make a portal on a data folder the demo.

    The second factor is not asked for, so that somebody new can play both sides
    at once; the sign-in page says so, and one of the people has one to try.
    """
    return {
        "DEMO_PEOPLE_FILE": str(data.resolve() / PEOPLE_FILE),
        "REQUIRE_SECOND_FACTOR": "false",
    }


def people(request: HttpRequest) -> dict[str, Any]:
    """Return the demo's people for the sign-in page; nothing on other pages."""
    match = request.resolver_match
    if not settings.DEMO_PEOPLE_FILE or not match:
        return {}
    if match.url_name != settings.LOGIN_URL:
        return {}
    try:
        text = Path(settings.DEMO_PEOPLE_FILE).read_text(encoding="utf-8")
        found = [
            {**person, "title": Role(person["role"]).label}
            for person in json.loads(text)["people"]
        ]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return {
        "demo_people": found,
        "demo_second_factor": settings.REQUIRE_SECOND_FACTOR,
    }
