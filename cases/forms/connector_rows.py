"""Connectors of a bridge: one row between every two neighbours of a span.

A row is numbered by its two teeth, ``connectors-3435-height_mm``, so that it stays
what it is when teeth are added or taken away.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.forms.fields import length_input
from cases.forms.reading_rows import length_text
from cases.forms.rows import read_rows
from cases.forms.vocabulary import tooth_number
from rules.teeth import PERMANENT_TEETH, arch_order

__all__ = [
    "PREFIX",
    "ConnectorRow",
    "connector_rows",
    "connectors_flat",
    "connectors_json",
]

PREFIX = "connectors"
_FIELDS = ("height_mm", "width_mm")


class ConnectorForm(forms.Form):
    """How high and wide a connector is planned; the rule core judges."""

    height_mm = forms.CharField(
        label=_("Height"), required=False, widget=length_input()
    )
    width_mm = forms.CharField(label=_("Width"), required=False, widget=length_input())


@dataclass
class ConnectorRow:
    """A connector on the page: the two teeth and its form."""

    number: int
    teeth: tuple[str, str]
    form: ConnectorForm
    system: str

    @property
    def shown(self) -> tuple[str, str]:
        """The two teeth in the clinic's own system."""
        first, second = self.teeth
        return tooth_number(first, self.system), tooth_number(second, self.system)


def _pairs(spans: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return every two neighbours of a span, along the arch, from (tooth, span)."""
    by_span: dict[str, list[str]] = {}
    for tooth, span in spans:
        if span and tooth in PERMANENT_TEETH:
            by_span.setdefault(span, []).append(tooth)
    pairs = []
    for teeth in by_span.values():
        ordered = sorted(set(teeth), key=lambda t: (t[0] in "34", arch_order(t)))
        pairs += [
            (a, b)
            for a, b in zip(ordered, ordered[1:], strict=False)
            if (a[0] in "34") == (b[0] in "34") and arch_order(b) - arch_order(a) == 1
        ]
    return pairs


def connector_rows(
    data: Mapping[str, Any], spans: Iterable[tuple[str, str]], *, system: str
) -> list[ConnectorRow]:
    """Return a row for every two neighbours among units given as (tooth, span)."""
    return [
        ConnectorRow(
            int(a + b),
            (a, b),
            ConnectorForm(data, prefix=f"{PREFIX}-{a}{b}"),
            system,
        )
        for a, b in _pairs(spans)
    ]


def connectors_json(
    data: Mapping[str, Any], rows: Sequence[ConnectorRow]
) -> tuple[list[dict[str, Any]], list[int]]:
    """Return the connectors that say something, and the numbers of their rows."""
    known = {row.number: row.teeth for row in rows}
    filled = [r for r in read_rows(data, PREFIX, _FIELDS) if r.number in known]
    found = [{"between": list(known[r.number]), **r.filled()} for r in filled]
    return found, [row.number for row in filled]


def connectors_flat(connectors: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Return stored connectors as the texts of their rows."""
    return {
        f"{PREFIX}-{''.join(one['between'])}-{name}": length_text(one[name])
        for one in connectors
        for name in _FIELDS
        if one.get(name) not in (None, "")
    }
