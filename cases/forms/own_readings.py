"""The laboratory's own readings: one row a site, on the mounting at the bench."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.errors import Invalid
from cases.forms.commands import CommandForm
from cases.forms.core_words import people_text
from cases.forms.fields import OpenChoice
from cases.forms.instrument_fields import Instruments, usual_instruments
from cases.forms.reading_rows import (
    PRESET,
    READING_FIELDS,
    ReadingForm,
    ReadingRow,
    listed_places,
    reading_json,
)
from cases.forms.rows import field_name, read_rows, row_numbers
from cases.forms.vocabulary import Choices, site_words, term_choices, tooth_words
from rules.terms import Method, Position, Site

if TYPE_CHECKING:
    from cases.models import Unit
    from rules.requirements import RuleSet

__all__ = ["OwnReadingsForm", "bench_rows"]

PREFIX = "readings"
_PRESET = ("tooth", *PRESET, "mounting_number")


class BenchReadingForm(ReadingForm):
    """A reading taken at the bench, on a numbered mounting."""

    tooth = OpenChoice(label=_("Tooth"), required=False)
    mounting_number = forms.CharField(
        label=_("Mounting number"),
        required=False,
        max_length=2,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


@dataclass(frozen=True, slots=True)
class _Bench:
    """What the rows are offered for."""

    units: Sequence["Unit"]
    mounting: int
    system: str

    def choices(self) -> dict[str, Choices]:
        teeth = [(u.tooth, tooth_words(u.tooth, self.system)) for u in self.units]
        upper = any(u.tooth[0] in "12" for u in self.units)
        shown = "16" if upper else "36"
        return {
            "tooth": [("", "–"), *teeth],
            "site": [("", "–"), *((s.value, site_words(s.value, shown)) for s in Site)],
            "position": [("", "–"), *term_choices(Position)],
        }


def _preset(
    units: Sequence["Unit"],
    rule_set: "RuleSet",
    mounting: int,
    instruments: Instruments,
) -> dict[str, str]:
    """Return a body with one row for every place that must be read."""
    data: dict[str, str] = {}
    number = 0
    for unit in units:
        for site, position in listed_places(
            rule_set, unit.tooth, unit.kind, unit.relation
        ):
            data |= _blank(number, mounting, data, instruments)
            data |= {
                f"{PREFIX}-{number}-tooth": unit.tooth,
                f"{PREFIX}-{number}-site": site,
                f"{PREFIX}-{number}-position": position,
            }
            number += 1
    return data


def _blank(
    number: int, mounting: int, data: Mapping[str, str], instruments: Instruments
) -> dict[str, str]:
    method = Method.CAST_CALIPER.value
    values = {
        "method": method,
        "mounting_number": str(mounting),
        **usual_instruments(data, PREFIX, method, instruments),
    }
    return {f"{PREFIX}-{number}-{name}": value for name, value in values.items()}


def bench_rows(
    data: Mapping[str, Any] | None,
    *,
    units: Sequence["Unit"],
    rule_set: "RuleSet",
    mounting: int,
    system: str,
    more: int,
    instruments: Instruments = (),
) -> list[ReadingRow]:
    """Return the rows of the page: as sent, else preset; ``more`` blank ones last."""
    body = _preset(units, rule_set, mounting, instruments)
    listed = len(row_numbers(body, PREFIX))
    if data is not None:
        body = {k: str(v) for k, v in data.items() if k.startswith(f"{PREFIX}-")}
    numbers = row_numbers(body, PREFIX)
    following = numbers[-1] + 1 if numbers else 0
    for number in range(following, following + more):
        body |= _blank(number, mounting, body, instruments)
    choices = _Bench(units, mounting, system).choices()
    rows = []
    for number in row_numbers(body, PREFIX):
        form = BenchReadingForm(
            body,
            prefix=f"{PREFIX}-{number}",
            choices=choices,
            instruments=instruments,
        )
        placed = number < listed and bool(form.text("tooth") and form.text("site"))
        rows.append(ReadingRow(number, form, form.text("tooth"), placed))
    return rows


class OwnReadingsForm(CommandForm):
    """All rows together; the service says what cannot be."""

    def __init__(
        self, *args: Any, rows: Sequence[ReadingRow], system: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        self.system = system

    def _read(self) -> list[Any]:
        fields = ("tooth", *READING_FIELDS, "mounting_number")
        return read_rows(self.data, PREFIX, fields, preset=_PRESET)

    def readings(self) -> list[dict[str, Any]]:
        """Return the filled rows as the service takes them."""
        return [_reading(row.values) for row in self._read()]

    def place(self, error: Invalid, names: Mapping[str, str]) -> None:
        """Put every fault into its row, in the words of the page."""
        places = {PREFIX: [row.number for row in self._read()]}
        by_number = {row.number: row for row in self.rows}
        for fault in error.fields:
            _prefix, number, *rest = field_name(fault.pointer, places).split("-") + [""]
            row = by_number.get(int(number)) if number.isdecimal() else None
            text = people_text(fault, system=self.system)
            if row is None:
                self.add_error(None, text)
            elif (key := row.form.field_of(rest[0])) in row.form.fields:
                row.form.add_error(key, text)
            else:
                row.stray.append(text)

    @property
    def problems(self) -> list[dict[str, str]]:
        """Every fault with the row it stands in."""
        return [
            {"href": f"#{row.id}", "text": f"{row.site or row.number}: {text}"}
            for row in self.rows
            for text in row.errors
        ]


def _reading(values: Mapping[str, str]) -> dict[str, Any]:
    body = {"tooth": values["tooth"], **reading_json(values)}
    if number := values["mounting_number"]:
        whole = number.isascii() and number.isdecimal()
        body["mounting_number"] = int(number) if whole else number
    return body
