"""Rows as COPY text, canonical JSON with gaps, times as ISO text."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from cases.canonical import canonical_json

__all__ = ["NULL", "Form", "copied", "escaped", "iso", "quoted", "raw", "told"]

NULL = "\\N"
_GAP = re.compile(r'"<<([a-z_]+)>>"')


def raw(name: str) -> str:
    """Return what marks a gap of a form; what goes there is a JSON text."""
    return f"<<{name}>>"


def told(value: Any) -> str:
    """Return the canonical JSON text of a value (RFC 8785)."""
    return canonical_json(value).decode()


@lru_cache(maxsize=20_000)
def quoted(text: str) -> str:
    """Return a text that comes again and again, as canonical JSON."""
    return told(text)


class Form:
    """A canonical JSON text with gaps: written once, filled for every case.

    Filling the gaps with canonical JSON texts gives a canonical text, because the
    order of the keys does not depend on what stands in the gaps.
    """

    def __init__(self, body: Mapping[str, Any]) -> None:
        pieces = _GAP.split(told(body))
        self._pieces = pieces
        self._gaps = pieces[1::2]

    def filled(self, gaps: Mapping[str, str]) -> str:
        """Return the text with JSON texts in its gaps."""
        pieces = self._pieces.copy()
        pieces[1::2] = [gaps[name] for name in self._gaps]
        return "".join(pieces)


def escaped(text: str) -> str:
    """Return a text as COPY reads it."""
    if "\\" in text:
        text = text.replace("\\", "\\\\")
    if "\n" in text or "\t" in text:
        text = text.replace("\n", "\\n").replace("\t", "\\t")
    return text


def copied(value: Any) -> str:
    """Return a column's value as COPY reads it; lists and mappings are JSON."""
    if value is None:
        return NULL
    if value is True or value is False:
        return "t" if value else "f"
    if isinstance(value, (list, dict)):
        return escaped(told(value))
    return escaped(str(value))


@lru_cache(maxsize=200_000)
def iso(minute: int) -> str:
    """Return a moment, counted in minutes of 1970 (UTC), as ``isoformat`` does."""
    return datetime.fromtimestamp(minute * 60, UTC).isoformat()
