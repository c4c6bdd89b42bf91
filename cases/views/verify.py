"""Whether a work order on paper is genuine and current; nothing else is told.

Public: whoever holds the paper scans its code. Code and digest together are 50
and 256 random-looking bits, so the count below only keeps a script from hammering
the database.
"""

import re

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cases.canonical import sha256_hex
from cases.errors import TooMany
from cases.selectors.records import work_order_status

__all__ = ["verify"]

_CODE = re.compile(r"[0-9A-Z]{10}", re.ASCII)
_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)
# A person with a stack of orders stays far below this.
PER_MINUTE = 60


def _address(request: HttpRequest) -> str:
    """Return the caller's address: the proxy's word only where one is trusted."""
    forwarded = request.headers.get("X-Forwarded-For", "")
    if forwarded and getattr(settings, "SECURE_PROXY_SSL_HEADER", None):
        return forwarded.rsplit(",", 1)[-1].strip()
    return str(request.META.get("REMOTE_ADDR", ""))


def _count(request: HttpRequest) -> None:
    """Raise TooMany after sixty questions a minute from one address."""
    key = f"verify:{sha256_hex(_address(request).encode())[:32]}"
    asked = int(cache.get(key) or 0)
    if asked >= PER_MINUTE:
        raise TooMany("Too many questions in a short time. Wait a minute.")
    cache.set(key, asked + 1, 60)


@require_safe
def verify(request: HttpRequest, code: str, digest: str) -> HttpResponse:
    """Say whether number and digest are genuine and current."""
    _count(request)
    status = ""
    if _CODE.fullmatch(code) and _DIGEST.fullmatch(digest):
        status = work_order_status(code=code, digest=digest)
    context = {"status": status, "code": code[:10], "digest": digest[:64]}
    return render(request, "verify.html", context)
