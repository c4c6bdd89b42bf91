"""If-Match, If-None-Match and the ETag: which version a client has seen.

The ETag of a case is its version, a strong tag: ``"7"``. A change states exactly
one of them in If-Match. ``*`` is refused (400): it would change whatever is there,
unseen. A weak tag never matches (RFC 9110, section 13.1.1: strong comparison), so it
is stale (412), as is any tag this server never gave.
"""

import re

from django.utils.translation import gettext as _
from rest_framework.exceptions import APIException, ParseError
from rest_framework.request import Request

__all__ = ["PreconditionRequired", "etag", "is_current", "stated_version"]

_OURS = re.compile(r'"([1-9][0-9]{0,8})"', re.ASCII)
# RFC 9110, section 8.8.3: an opaque tag in quotes, perhaps weak.
_TAG = re.compile(r'(W/)?"[\x21\x23-\x7e\x80-\xff]*"')
_NEVER = -1


class PreconditionRequired(APIException):
    """A change without If-Match (RFC 6585)."""

    status_code = 428
    default_code = "precondition_required"


def etag(version: int) -> str:
    """Return the entity tag of a version."""
    return f'"{version}"'


def stated_version(request: Request) -> int:
    """Return the version If-Match names; a number no case has, where it is foreign.

    Raises:
        PreconditionRequired: no If-Match.
        ParseError: not one entity tag.
    """
    stated = request.headers.get("If-Match", "").strip()
    if not stated:
        raise PreconditionRequired(
            _("Send If-Match with the ETag of the case as you last saw it.")
        )
    if ours := _OURS.fullmatch(stated):
        return int(ours[1])
    if _TAG.fullmatch(stated):
        return _NEVER
    raise ParseError(
        _(
            "If-Match takes the one ETag of the case, in quotes; * and lists are refused."
        )
    )


def is_current(request: Request, version: int) -> bool:
    """Return whether If-None-Match names the version (weak comparison) or ``*``."""
    stated = request.headers.get("If-None-Match", "").strip()
    tags = {tag.strip().removeprefix("W/") for tag in stated.split(",")}
    return stated == "*" or etag(version) in tags
