"""Bridges as a whole on the work order: order of teeth, connectors, limits."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext

from cases.documents import words
from cases.documents.figures import mm

__all__ = ["BridgeSheet", "bridges"]

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class BridgeSheet:
    """One bridge: its teeth in arch order, then what is planned and what to know."""

    heading: str
    lines: tuple[str, ...]


def bridges(content: Json, result: Json, *, system: str) -> tuple[BridgeSheet, ...]:
    """Return the bridges of the check, with the connectors that were signed."""
    return tuple(
        BridgeSheet(
            heading=gettext("Bridge %(teeth)s.")
            % {"teeth": "-".join(words.tooth(t, system) for t in span["teeth"])},
            lines=tuple(_lines(span, content, system)),
        )
        for span in result.get("spans", ())
    )


def _lines(span: Json, content: Json, system: str) -> Iterator[str]:
    for connector in content.get("connectors") or ():
        if set(connector["between"]) <= set(span["teeth"]):
            before, after = (words.tooth(t, system) for t in connector["between"])
            yield (
                gettext("Connector %(before)s-%(after)s: %(high)s × %(wide)s mm.")
                % {
                    "before": before,
                    "after": after,
                    "high": mm(connector["height_mm"]),
                    "wide": mm(connector["width_mm"]),
                }
            )
    yield from span["faults"]
    yield from span["notes"]
