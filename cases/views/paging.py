"""One slice of a list, by page number in the address."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar
from urllib.parse import urlencode

from django.db.models import Model, QuerySet
from django.http import HttpRequest

__all__ = ["PAGE", "Slice", "slice_of"]

M = TypeVar("M", bound=Model)

PAGE = 30
# Further back than anybody turns pages; keeps the database from counting on.
_LAST = 500


@dataclass(frozen=True, slots=True)
class Slice(Generic[M]):
    """The rows of one page, and the addresses of the pages before and after."""

    rows: list[M]
    previous_href: str
    next_href: str


def slice_of(
    rows: QuerySet[M], request: HttpRequest, *, keep: Mapping[str, str]
) -> Slice[M]:
    """Return the page the address asks for; ``keep`` stays in the addresses."""
    asked = request.GET.get("page", "")
    number = int(asked) if asked.isdecimal() and len(asked) <= 4 else 1
    number = min(max(number, 1), _LAST)
    start = (number - 1) * PAGE
    found = list(rows[start : start + PAGE + 1])

    def href(page: int) -> str:
        query = urlencode({**keep, **({"page": page} if page > 1 else {})})
        return f"?{query}" if query else request.path

    return Slice(
        found[:PAGE],
        href(number - 1) if number > 1 else "",
        href(number + 1) if len(found) > PAGE else "",
    )
