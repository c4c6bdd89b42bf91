"""JSON as the API reads it: strict, exact decimals, never a fault of ours."""

import codecs
import json
from collections.abc import Mapping
from decimal import Decimal
from typing import IO, Any, NoReturn

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser

__all__ = ["StrictJSONParser"]


def _refuse_constant(name: str) -> NoReturn:
    raise ParseError(f"{name} is not a JSON value.")


class StrictJSONParser(JSONParser):
    """Read UTF-8 JSON; NaN, Infinity and over-nested bodies are malformed."""

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> dict[str, Any]:
        """Return the body with every number as int or Decimal."""
        try:
            text = codecs.getreader("utf-8")(stream).read()
            body: dict[str, Any] = json.loads(
                text, parse_float=Decimal, parse_constant=_refuse_constant
            )
        except (ValueError, RecursionError) as error:
            raise ParseError("The body is not JSON that can be read.") from error
        return body
