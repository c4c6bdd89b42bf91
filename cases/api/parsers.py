"""JSON as the API reads it: strict, exact decimals, never a fault of ours.

Malformed bodies (not UTF-8, a key that stands twice, nesting without end) are 400.
What is well formed but cannot be stored or computed with (NaN, a NUL character,
half of a surrogate pair) is a bad value with its pointer: 422.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import IO, Any

from django.conf import settings
from django.http import HttpRequest
from django.utils.http import parse_header_parameters
from django.utils.translation import gettext
from rest_framework.exceptions import APIException, ParseError, UnsupportedMediaType
from rest_framework.parsers import BaseParser

from cases.errors import Invalid, InvalidField
from rules.reader import at

__all__ = ["StrictJSONParser", "TooLarge", "declared_length", "read_json"]

# The deepest body of the API (a reading inside a unit) has five levels.
_MAX_DEPTH = 24
# The first faults are enough to find the mistake.
_MAX_FAULTS = 20


class TooLarge(APIException):
    """A body above the limit; it is not read."""

    status_code = 413
    default_code = "too_large"


@dataclass(frozen=True, slots=True)
class _NoNumber:
    """What Python's JSON reads and JSON does not know: NaN, Infinity."""

    name: str


class _Malformed(ValueError):
    """A key stands twice in one object."""


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _Malformed("a key stands twice in one object")
    return found


def read_json(content: bytes) -> Any:
    """Return the JSON value of the bytes, its numbers as int or Decimal.

    Raises:
        ParseError: not JSON, or nested too deeply.
        Invalid: values no field can hold, each with its pointer.
    """
    try:
        value = json.loads(
            content.decode("utf-8"),
            parse_float=Decimal,
            parse_constant=_NoNumber,
            object_pairs_hook=_object,
        )
    except RecursionError as error:
        raise ParseError(gettext("The body is nested too deeply.")) from error
    except (ValueError, ArithmeticError) as error:
        raise ParseError(gettext("The body is not JSON that can be read.")) from error
    if faults := _unusable(value):
        raise Invalid(*faults)
    return value


def _unusable(value: Any) -> list[InvalidField]:
    """Return what no field can hold, walking level by level (no recursion)."""
    faults: list[InvalidField] = []
    level: list[tuple[str, Any]] = [("", value)]
    for _depth in range(_MAX_DEPTH):
        below: list[tuple[str, Any]] = []
        for pointer, item in level:
            if isinstance(item, dict):
                for key, inner in item.items():
                    if _storable(key):
                        below.append((at(pointer, key), inner))
                    else:
                        faults.append(InvalidField(pointer, _CHARACTER))
            elif isinstance(item, list):
                below += ((f"{pointer}/{i}", inner) for i, inner in enumerate(item))
            elif isinstance(item, _NoNumber):
                message = "{name} is no number in JSON: write digits."
                faults.append(InvalidField(pointer, message, (("name", item.name),)))
            elif isinstance(item, str) and not _storable(item):
                faults.append(InvalidField(pointer, _CHARACTER))
        if not below or len(faults) >= _MAX_FAULTS:
            return faults[:_MAX_FAULTS]
        level = below
    raise ParseError(gettext("The body is nested too deeply."))


_CHARACTER = "Leave out the characters that cannot be stored (NUL, half surrogates)."


def _storable(text: str) -> bool:
    if text.isascii():
        return "\x00" not in text
    return "\x00" not in text and not any("\ud800" <= c <= "\udfff" for c in text)


def declared_length(http: HttpRequest) -> int:
    """Return the length the request states, 0 where it states none."""
    stated = http.META.get("CONTENT_LENGTH") or "0"
    return int(stated) if str(stated).isdecimal() else 0


class StrictJSONParser(BaseParser):
    """Read a UTF-8 JSON body of at most ``MAX_API_BYTES``."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the body's value; see ``read_json`` for what it refuses."""
        http: HttpRequest = (parser_context or {})["request"]._request
        _type, parameters = parse_header_parameters(media_type or "")
        if parameters.get("charset", "utf-8").lower() not in {"utf-8", "utf8"}:
            raise UnsupportedMediaType(media_type or "")
        if declared_length(http) > settings.MAX_API_BYTES:
            raise TooLarge(
                gettext("The body is larger than {limit} MB.").format(
                    limit=settings.MAX_API_BYTES // 2**20
                )
            )
        return read_json(http.body)
