"""New records after an answer: readings of the new round, and what goes out.

A row stands for every place that must be read and every place read before. Where
nothing was cut, the earlier reading may be confirmed instead of typed again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.errors import Invalid, InvalidField
from cases.forms.commands import CommandForm, note_field
from cases.forms.core_words import people_text
from cases.forms.instrument_fields import Instruments, usual_instruments
from cases.forms.reading_rows import (
    PRESET,
    READING_FIELDS,
    ReadingForm,
    ReadingRow,
    listed_places,
    reading_json,
    reading_words,
    site_choices,
)
from cases.forms.rows import field_name, read_rows, row_numbers
from cases.forms.vocabulary import Choices, site_words, term_choices, tooth_number
from cases.forms.words import RECORDS
from rules.requirements import RuleSet
from rules.teeth import quantity_at
from rules.terms import Method, Position, Quantity, Relation, Site

__all__ = ["Earlier", "RecordRow", "RecordRows", "RecordsForm"]

# Tooth, site, position → the reading of the earlier round.
Earlier = Mapping[tuple[str, str, str], Mapping[str, Any]]
_FIELDS = ("tooth", *READING_FIELDS)
_PRESET = ("tooth", *PRESET)


class RecordsForm(CommandForm):
    """What goes out with the parcel or as files."""

    sent = forms.MultipleChoiceField(
        label=_("What goes out"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Tick what leaves with the parcel or as a file."),
    )
    note = note_field(_("Note to the laboratory"))

    def __init__(self, *args: Any, due: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        listed = [
            (r, str(RECORDS.get(r, r)).capitalize()) for r in due if r != "readings"
        ]
        self.fields["sent"].choices = listed  # type: ignore[attr-defined]  # -- a MultipleChoiceField
        if not listed:
            del self.fields["sent"]


@dataclass
class RecordRow(ReadingRow):
    """A row, with whether the earlier reading may be or is confirmed."""

    may_confirm: bool = False
    confirmed: bool = False

    @property
    def confirm_name(self) -> str:
        """Name of the box that confirms the earlier reading."""
        return f"{self.id}-again"


class RecordRows:
    """The rows of the page, grouped by tooth."""

    def __init__(
        self,
        data: Mapping[str, str],
        *,
        units: Sequence[Mapping[str, Any]],
        earlier: Earlier,
        cut: set[tuple[str, str]],
        rule_set: RuleSet,
        system: str,
        instruments: Instruments = (),
    ) -> None:
        self.units, self.earlier, self.cut = units, earlier, cut
        self.system, self.instruments = system, instruments
        self.data = _with_rows(dict(data), units, earlier, rule_set, instruments)
        self.rows = [self._row(n) for n in row_numbers(self.data, "readings")]
        self._sent: list[int] = []
        self._of_unit: dict[int, list[int]] = {}

    def _text(self, number: int, name: str) -> str:
        return self.data.get(f"readings-{number}-{name}", "").strip()

    def _row(self, number: int) -> RecordRow:
        tooth, site = self._text(number, "tooth"), self._text(number, "site")
        unit = next((u for u in self.units if u["tooth"] == tooth), {})
        sites = site_choices(
            tooth, unit.get("kind", ""), unit.get("relation", "normal")
        )
        form = ReadingForm(
            self.data,
            prefix=f"readings-{number}",
            choices={"site": sites, "position": term_choices(Position)},
            instruments=self.instruments,
        )
        before = self.earlier.get((tooth, site, self._text(number, "position")))
        fresh = before is not None and before.get("basis", "mouth") == "mouth"
        return RecordRow(
            number,
            form,
            tooth,
            placed=site in {code for code, _w in sites},
            listed=True,
            earlier=reading_words(before) if before else "",
            may_confirm=fresh and (tooth, site) not in self.cut,
            confirmed=bool(self._text(number, "again")),
        )

    @property
    def groups(self) -> list[dict[str, Any]]:
        """The rows by tooth, in the order of the prescription."""
        return [
            {
                "title": tooth_number(unit["tooth"], self.system),
                "tooth": unit["tooth"],
                "cut": [s for t, s in sorted(self.cut) if t == unit["tooth"]],
                "rows": [row for row in self.rows if row.tooth == unit["tooth"]],
            }
            for unit in self.units
        ]

    @property
    def places(self) -> Choices:
        """Every site of every tooth, for one more reading."""
        return [
            (
                f"{unit['tooth']}|{code}",
                f"{tooth_number(unit['tooth'], self.system)} {words}",
            )
            for unit in self.units
            for code, words in site_choices(
                unit["tooth"], unit["kind"], unit.get("relation", "normal")
            )
        ]

    def json(self) -> list[dict[str, Any]]:
        """Return the readings to send, each with its tooth."""
        typed = {
            row.number: {"tooth": row.values["tooth"], **reading_json(row.values)}
            for row in read_rows(self.data, "readings", _FIELDS, preset=_PRESET)
        }
        for row in self.rows:
            if row.number not in typed and row.confirmed and row.may_confirm:
                place = (row.tooth, row.form.text("site"), row.form.text("position"))
                typed[row.number] = {"tooth": row.tooth, **self.earlier[place]}
        self._sent = sorted(typed)
        return [typed[number] for number in self._sent]

    def judged_units(self) -> list[dict[str, Any]]:
        """Return the units with these readings, for the check."""
        readings = list(zip(self.json(), self._sent, strict=True))
        found = []
        for index, unit in enumerate(self.units):
            own = [(r, n) for r, n in readings if r["tooth"] == unit["tooth"]]
            self._of_unit[index] = [number for _reading, number in own]
            bare = [{k: v for k, v in r.items() if k != "tooth"} for r, _n in own]
            found.append({**unit, "readings": bare})
        return found

    def is_valid(self) -> bool:
        """Whether the forms themselves refuse nothing."""
        return not [row for row in self.rows if not row.form.is_valid()]

    def add(self, error: Invalid) -> Invalid:
        """Put what concerns a row beside it; return the rest."""
        self.is_valid()
        rest: list[InvalidField] = []
        by_id = {row.id: row for row in self.rows}
        for fault in error.fields:
            name = self._name(fault.pointer)
            row_id, _dash, key = name.rpartition("-")
            text = people_text(fault, system=self.system)
            if row_id in by_id:
                key = by_id[row_id].form.field_of(key)
            if row_id in by_id and key in by_id[row_id].form.fields:
                by_id[row_id].form.add_error(key, text)
            elif name in by_id:
                by_id[name].stray.append(text)
            else:
                rest.append(fault)
        return Invalid(*rest)

    def _name(self, pointer: str) -> str:
        """Return the field for a pointer into the readings, or into the units."""
        parts = pointer.strip("/").split("/")
        if parts[0] == "units" and len(parts) > 3 and parts[2] == "readings":
            row = self._of_unit[int(parts[1])][int(parts[3])]
            return "-".join(["readings", str(row), *parts[4:]])
        return field_name(pointer, {"readings": self._sent})

    @property
    def problems(self) -> list[dict[str, str]]:
        """Every message of the rows with a link to its row."""
        return [
            {"href": f"#{row.id}", "text": f"{self._place(row)}: {text}"}
            for row in self.rows
            for text in row.errors
        ]

    def _place(self, row: RecordRow) -> str:
        """Return which reading a row is about, for messages far from it."""
        tooth = tooth_number(row.tooth, self.system)
        return ", ".join(part for part in (tooth, row.site, row.position) if part)


def _with_rows(
    data: dict[str, str],
    units: Sequence[Mapping[str, Any]],
    earlier: Earlier,
    rule_set: RuleSet,
    instruments: Instruments,
) -> dict[str, str]:
    """Return the texts with a row for every place that must be or was read."""
    numbers = row_numbers(data, "readings")
    have = {
        tuple(data.get(f"readings-{n}-{k}", "") for k in ("tooth", "site", "position"))
        for n in numbers
    }
    following = max(numbers, default=-1) + 1
    for unit in units:
        tooth = unit["tooth"]
        wanted = listed_places(
            rule_set, tooth, unit["kind"], unit.get("relation", "normal")
        )
        before = [(s, p) for t, s, p in earlier if t == tooth]
        for site, position in dict.fromkeys([*wanted, *before]):
            if (tooth, site, position) in have:
                continue
            known = earlier.get((tooth, site, position), {}).get("method")
            method = str(known or Method.STRIP.value)
            values = {
                "tooth": tooth,
                "site": site,
                "position": position,
                "method": method,
                **usual_instruments(data, "readings", method, instruments),
            }
            data |= {f"readings-{following}-{k}": v for k, v in values.items()}
            following += 1
    return data


def added_row(
    data: Mapping[str, str], *, place: str, position: str, relation: str
) -> dict[str, str]:
    """Return the texts with one more row; a reduction has no jaw position."""
    tooth, _bar, site = place.partition("|")
    row = max(row_numbers(data, "readings"), default=-1) + 1
    if site in set(Site) and relation in set(Relation):
        how = Relation(relation)
        meant = quantity_at(Site(site), tooth, how, positioned=bool(position))
        position = position if meant is Quantity.CLEARANCE else ""
    values = {
        "tooth": tooth,
        "site": site,
        "position": position,
        "method": Method.STRIP.value,
    }
    return {**data, **{f"readings-{row}-{k}": v for k, v in values.items()}}


def place_words(tooth: str, site: str, system: str) -> str:
    """Return "36 Lingual cusps"."""
    return f"{tooth_number(tooth, system)} {site_words(site, tooth)}"
