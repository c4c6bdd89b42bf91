"""What every page needs to know about the person looking at it."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from cases.enums import Side
from cases.policies import can_manage
from cases.selectors.records import notice_unread
from cases.tenancy import Actor, current

__all__ = ["NAVIGATION", "acting"]

Shown = Callable[[Actor], bool]


def _clinic(actor: Actor) -> bool:
    return actor.side == Side.CLINIC


def _laboratory(actor: Actor) -> bool:
    return actor.side == Side.LABORATORY


def _everyone(actor: Actor) -> bool:
    return True


def _audit(actor: Actor) -> bool:
    return can_manage(actor, "audit")


# URL name, words, and to whom it is shown; a name without a page is left out.
# An entry is current on every address below its own.
NAVIGATION: tuple[tuple[str, Promise, Shown], ...] = (
    ("work", _("Cases"), _clinic),
    ("chair_check", _("Chair check"), _clinic),
    ("bench", _("Bench"), _laboratory),
    ("guide", _("Guide"), _everyone),
    ("audit", _("Audit"), _audit),
    ("rule_sets", _("Rule sets"), _everyone),
    ("people", _("People"), _everyone),
)
# A case and what is done to it belong to the list it was opened from.
_CASE_PAGES = ("/cases/", "/flags/", "/work-orders/")
# These share one entry of the menu and a menu of their own.
_PEOPLE_PAGES = (
    "/people/",
    "/partners/",
    "/delegations/",
    "/tokens/",
    "/instruments/",
    "/studies/",
    "/organisation/",
    "/account/",
)


def _is_current(name: str, url: str, path: str) -> bool:
    if name == "people":
        return path.startswith(_PEOPLE_PAGES)
    if name in ("work", "bench"):
        return path.startswith((url, *_CASE_PAGES))
    return path.startswith(url)


def _navigation(actor: Actor, path: str) -> list[dict[str, Any]]:
    entries = []
    for name, label, shown in NAVIGATION:
        if not shown(actor):
            continue
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        entries.append(
            {"label": label, "url": url, "current": _is_current(name, url, path)}
        )
    return entries


def acting(request: HttpRequest) -> dict[str, Any]:
    """Return actor, memberships, menu and unread notices for the page frame.

    Outside a tenant (a page about a failed transaction) nothing is counted.
    """
    actor = getattr(request, "actor", None)
    return {
        "actor": actor,
        "memberships": getattr(request, "memberships", ()),
        "nav": _navigation(actor, request.path) if actor else [],
        "notices_count": notice_unread(actor=actor) if actor and current() else 0,
    }
