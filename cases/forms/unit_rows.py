"""Units with their readings as nested rows: ``units-0-readings-1-passes_mm``.

One editor serves chair check and draft. It holds what was typed, gives the shape
of ``POST /api/v1/check``, and brings what the rule core refuses back to its field.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from django import forms

from cases.errors import Invalid
from cases.forms.connector_rows import PREFIX as CONNECTORS
from cases.forms.connector_rows import connector_rows, connectors_json
from cases.forms.core_words import people_text
from cases.forms.instrument_fields import Instruments
from cases.forms.reading_rows import (
    PRESET,
    READING_FIELDS,
    ReadingForm,
    ReadingRow,
    listed_places,
    reading_json,
    site_choices,
    sorted_rows,
)
from cases.forms.rows import field_name, read_rows, row_numbers
from cases.forms.unit_forms import IMPLANT, WALLS, AntagonistForm, UnitForm
from cases.forms.vocabulary import Choices, term_choices, tooth_name, tooth_number
from cases.tenancy import Actor
from rules.requirements import RuleSet
from rules.terms import Antagonist, Kind, Position

__all__ = ["FACING_PRESET", "UnitRow", "UnitsEditor"]

_TEXTS = (
    "tooth",
    "kind",
    "material",
    "relation",
    "antagonist",
    "shade",
    "finish_line",
    "occlusal_surface",
    "cementation",
    "span",
    "base_width_mm",
    "convergence_deg",
    "dentine_mm",
    "retention",
    "abutment",
)
_PREPARATION = ("base_width_mm", "convergence_deg", "dentine_mm", *WALLS)
_FACING = ("tooth", "kind", "material", "occlusal_surface", "cementation")
FACING_PRESET = ("kind", "occlusal_surface", "cementation")


@dataclass
class UnitRow:
    """A unit on the page: its form, its readings, its prepared antagonists."""

    number: int
    form: UnitForm
    system: str
    readings: list[ReadingRow] = field(default_factory=list)
    antagonists: list[AntagonistForm] = field(default_factory=list)
    stray: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Id of the unit's card."""
        return str(self.form.prefix)

    @property
    def tooth(self) -> str:
        """The tooth's code."""
        return self.form.text("tooth")

    @property
    def shown(self) -> str:
        """The tooth in the clinic's own system."""
        return tooth_number(self.tooth, self.system)

    @property
    def name(self) -> str:
        """The tooth's anatomical name."""
        return tooth_name(self.tooth)

    @property
    def prepared(self) -> bool:
        """Whether the opposing tooth is prepared too."""
        return self.form.text("antagonist") == Antagonist.PREPARED

    @property
    def sites(self) -> Choices:
        """Where another reading may be taken."""
        form = self.form
        return site_choices(self.tooth, form.text("kind"), form.text("relation"))

    @property
    def positions(self) -> Choices:
        """In which jaw position another reading may be taken."""
        return term_choices(Position)

    @property
    def detailed(self) -> bool:
        """Whether something stands among bridge, shade and finish line."""
        return self._says("shade", "span", "finish_line")

    @property
    def partial_so(self) -> bool:
        """Whether a site is said to be left out, or something is wrong with it."""
        return self._says(*self.form.left_out.values())

    @property
    def prepared_so(self) -> bool:
        """Whether something stands among what is known of the preparation."""
        return self._says(*_PREPARATION)

    @property
    def implanted_so(self) -> bool:
        """Whether something stands among what is known of implant and abutment."""
        return self._says(*IMPLANT)

    @property
    def has_preparation(self) -> bool:
        """Whether a tooth was prepared; what was typed of one is never hidden."""
        bare = self.form.text("kind") in (Kind.IMPLANT_CROWN, Kind.PONTIC)
        return not bare or self.prepared_so

    def _says(self, *names: str) -> bool:
        form = self.form
        return any(form.text(n) or form[n].errors for n in names if n in form.fields)


class UnitsEditor:
    """All units of a page, from the texts of its fields."""

    def __init__(
        self,
        data: Mapping[str, Any],
        *,
        rule_set: RuleSet,
        actor: Actor,
        instruments: Instruments = (),
    ) -> None:
        self.data, self.rule_set, self.actor = data, rule_set, actor
        self.system, self.instruments = actor.tooth_system, instruments
        self.units = [self._unit(number) for number in row_numbers(data, "units")]
        spans = [(unit.tooth, unit.form.text("span")) for unit in self.units]
        self.connectors = connector_rows(data, spans, system=self.system)
        self._filled: dict[str, list[int]] = {}
        self.top: list[str] = []

    def _unit(self, number: int) -> UnitRow:
        prefix = f"units-{number}"
        common: dict[str, Any] = {"rule_set": self.rule_set, "system": self.system}
        unit = UnitRow(
            number, UnitForm(self.data, prefix=prefix, **common), self.system
        )
        places = listed_places(
            self.rule_set,
            unit.tooth,
            unit.form.text("kind"),
            unit.form.text("relation"),
        )
        known = {site for site, _words in unit.sites}
        for row in row_numbers(self.data, f"{prefix}-readings"):
            choices = {
                "site": [("", "–"), *unit.sites],
                "position": [("", "–"), *unit.positions],
            }
            form = ReadingForm(
                self.data,
                prefix=f"{prefix}-readings-{row}",
                choices=choices,
                instruments=self.instruments,
            )
            place = (form.text("site"), form.text("position"))
            unit.readings.append(
                ReadingRow(
                    row,
                    form,
                    unit.tooth,
                    placed=place[0] in known,
                    unit=number,
                    listed=place in places,
                )
            )
        unit.readings = sorted_rows(unit.readings)
        if unit.prepared:
            unit.antagonists = [
                AntagonistForm(
                    self.data,
                    prefix=f"{prefix}-antagonists-{row}",
                    opposite=unit.tooth,
                    **common,
                )
                for row in row_numbers(self.data, f"{prefix}-antagonists")
            ]
        return unit

    def json(self) -> list[dict[str, Any]]:
        """Return the units as the check reads them; blank rows are left out."""
        self._filled = {"units": [unit.number for unit in self.units]}
        planned = {
            unit.tooth: {k: unit.form.text(k) for k in _FACING if unit.form.text(k)}
            for unit in self.units
        }
        return [self._unit_json(unit, planned) for unit in self.units]

    def connectors_json(self) -> list[dict[str, Any]]:
        """Return the connectors as the check reads them, after ``json``."""
        found, self._filled[CONNECTORS] = connectors_json(self.data, self.connectors)
        return found

    def _unit_json(
        self, unit: UnitRow, planned: Mapping[str, Mapping[str, str]]
    ) -> dict[str, Any]:
        form = unit.form
        names = [n for n in _TEXTS if n in form.fields]
        body: dict[str, Any] = {n: form.text(n) for n in names if form.text(n)}
        walls = {name.split("-")[1]: form.text(name) for name in WALLS}
        if any(walls.values()):
            body["wall_heights_mm"] = {k: v for k, v in walls.items() if v}
        left_out = [site for site, name in form.left_out.items() if form.text(name)]
        if left_out:
            body["not_applicable"] = left_out
        if unit.prepared:
            body["antagonists"] = self._facing(unit, planned)
            if form.text("planned_plane"):
                body["planned_plane"] = True
        prefix = f"{unit.id}-readings"
        rows = read_rows(self.data, prefix, READING_FIELDS, preset=PRESET)
        self._filled[prefix] = [row.number for row in rows]
        body["readings"] = [reading_json(row.values) for row in rows]
        return body

    def _facing(
        self, unit: UnitRow, planned: Mapping[str, Mapping[str, str]]
    ) -> list[dict[str, str]]:
        prefix = f"{unit.id}-antagonists"
        rows = read_rows(self.data, prefix, _FACING, preset=FACING_PRESET)
        self._filled[prefix] = [row.number for row in rows]
        # A tooth that is a unit of this page is planned there, nowhere else.
        return [dict(planned.get(row.values["tooth"], row.filled())) for row in rows]

    def is_valid(self) -> bool:
        """Whether the forms themselves refuse nothing; the core judges after."""
        return not [f for f in self._forms() if not f.is_valid()]

    def _forms(self) -> Iterator[forms.Form]:
        for unit in self.units:
            yield unit.form
            yield from unit.antagonists
            for row in unit.readings:
                yield row.form
        for connector in self.connectors:
            yield connector.form

    def add(self, error: Invalid) -> list[str]:
        """Put every fault to its field; return the words of those without one."""
        self.is_valid()
        fields = {
            form.add_prefix(name): (form, name)
            for form in self._forms()
            for name in form.fields
        }
        rows: dict[str, UnitRow | ReadingRow] = {u.id: u for u in self.units}
        rows |= {row.id: row for unit in self.units for row in unit.readings}
        homeless: list[str] = []
        for fault in error.fields:
            name = self._named(field_name(fault.pointer, self._filled), rows)
            text = people_text(fault, system=self.system)
            if name in fields:
                form, key = fields[name]
                form.add_error(key, text)
            elif owner := self._owner(name, rows):
                owner.stray.append(text)
            else:
                homeless.append(text)
        self.top += homeless
        return homeless

    @staticmethod
    def _named(name: str, rows: Mapping[str, UnitRow | ReadingRow]) -> str:
        """Return the field that names a reading's instrument by its method."""
        row, _dash, key = name.rpartition("-")
        found = rows.get(row)
        return (
            f"{row}-{found.form.field_of(key)}"
            if isinstance(found, ReadingRow)
            else name
        )

    @staticmethod
    def _owner(
        name: str, rows: Mapping[str, UnitRow | ReadingRow]
    ) -> UnitRow | ReadingRow | None:
        """Return the row nearest above a name that is no field."""
        while name:
            if name in rows:
                return rows[name]
            name = name.rpartition("-")[0]
        return None

    @property
    def problems(self) -> list[dict[str, str]]:
        """Every message with a link to its field, in the order of the page."""
        found = [{"href": "", "text": text} for text in self.top]
        for unit in self.units:
            found += [{"href": f"#{unit.id}", "text": text} for text in unit.stray]
            for form in (unit.form, *unit.antagonists):
                found += [
                    {"href": f"#{bound.auto_id}", "text": str(error)}
                    for bound in form
                    for error in bound.errors
                ]
            for row in unit.readings:
                found += [_row_problem(unit, row, text) for text in row.errors]
        for connector in self.connectors:
            found += [
                {
                    "href": f"#{bound.auto_id}",
                    "text": f"{'–'.join(connector.shown)}, {bound.label}: {error}",
                }
                for bound in connector.form
                for error in bound.errors
            ]
        return found


def _row_problem(unit: UnitRow, row: ReadingRow, text: str) -> dict[str, str]:
    """Return a message that says which reading it is about: far from its row."""
    place = ", ".join(part for part in (unit.shown, row.site, row.position) if part)
    bad = [b for b in row.form if b.errors and b.name not in ("site", "position")]
    target = str(bad[0].auto_id) if bad and not row.stray else row.id
    return {"href": f"#{target}", "text": f"{place}: {text}"}
