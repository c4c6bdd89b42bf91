"""One row of a reading as a form: site and position fixed, values typed.

The form holds shape only; what a value may be is the rule core's to say.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.enums import Basis
from cases.forms.fields import OpenChoice, length_input, with_current
from cases.forms.instrument_fields import (
    FIELDS,
    SET,
    Instruments,
    instrument_choices_of,
    instrument_key,
)
from cases.forms.vocabulary import (
    Choices,
    position_words,
    site_words,
    term_choices,
)
from rules.readings import plain
from rules.requirements import RuleSet
from rules.teeth import PERMANENT_TEETH, quantity_at, sites_for
from rules.terms import Kind, Method, Position, Quantity, Relation, Site

__all__ = [
    "LENGTHS",
    "PRESET",
    "READING_FIELDS",
    "Place",
    "ReadingForm",
    "ReadingRow",
    "length_text",
    "listed_places",
    "reading_flat",
    "reading_json",
    "reading_words",
    "site_choices",
    "sorted_rows",
]

Place = tuple[str, str]

STRIPS = ("passes_mm", "drags_mm", "held_mm")
POINTS = ("value_mm", "u_mm")
LENGTHS = (*STRIPS, *POINTS)
READING_FIELDS = ("site", "position", "method", *LENGTHS, "basis", "note", *FIELDS)
# Filled in by the page; a row with only these says nothing.
PRESET = ("site", "position", "method", "basis", *FIELDS)
_BASIS_OF = {Method.SCAN: Basis.SCAN, Method.CAST_CALIPER: Basis.MODEL}


class ReadingForm(forms.Form):
    """What was measured at one site in one jaw position."""

    site = OpenChoice(label=gettext_lazy("Site"), required=False)
    position = OpenChoice(label=gettext_lazy("Jaw position"), required=False)
    method = OpenChoice(label=gettext_lazy("Method"), required=False)
    passes_mm = forms.CharField(
        label=gettext_lazy("Slides freely"), required=False, widget=length_input()
    )
    drags_mm = forms.CharField(
        label=gettext_lazy("Drags"), required=False, widget=length_input()
    )
    held_mm = forms.CharField(
        label=gettext_lazy("Is held"), required=False, widget=length_input()
    )
    value_mm = forms.CharField(
        label=gettext_lazy("Value"), required=False, widget=length_input()
    )
    u_mm = forms.CharField(
        label=gettext_lazy("Standard uncertainty, if known"),
        required=False,
        widget=length_input(),
    )
    basis = OpenChoice(label=gettext_lazy("Taken on"), required=False)
    note = forms.CharField(label=gettext_lazy("Note"), required=False, max_length=200)
    strip_set = OpenChoice(label=gettext_lazy("Set of strips"), required=False)
    instrument = OpenChoice(label=gettext_lazy("Instrument"), required=False)

    def __init__(
        self,
        data: Mapping[str, Any],
        *,
        prefix: str,
        choices: Mapping[str, Choices] | None = None,
        instruments: Instruments = (),
    ) -> None:
        super().__init__(data, prefix=prefix)
        offered: dict[str, Choices] = {
            "method": term_choices(Method),
            "basis": [
                ("", _("as the method says")),
                *((b.value, str(b.label)) for b in Basis),
            ],
            **(choices or {}),
            **instrument_choices_of(instruments),
        }
        # A house without such instruments is not asked; what was sent is shown.
        for name in FIELDS:
            if name not in offered and not self.text(name):
                del self.fields[name]
            else:
                offered.setdefault(name, [("", "–")])
        for name, listed in offered.items():
            self._offer(name, listed)

    def _offer(self, name: str, listed: Choices) -> None:
        offered = self.fields[name]
        assert isinstance(offered, OpenChoice)  # noqa: S101 -- declared so above
        offered.choices = with_current(listed, self.text(name))

    def text(self, name: str) -> str:
        """Return what stands in a field."""
        return str(self.data.get(self.add_prefix(name)) or "")

    def field_of(self, key: str) -> str:
        """Return the field of a reading's key; the instrument's goes by the method."""
        return instrument_key(self.text("method")) if key == "instrument" else key


@dataclass
class ReadingRow:
    """A row on the page: its form and what the page says around it.

    ``placed``: site and position are fixed and stand in the heading; otherwise
    they are chosen in the row. ``earlier`` is what an earlier round said here.
    """

    number: int
    form: ReadingForm
    tooth: str
    placed: bool
    unit: int = 0
    listed: bool = False
    earlier: str = ""
    stray: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Id of the row's fieldset."""
        return str(self.form.prefix)

    @property
    def site(self) -> str:
        """The site's name on this tooth."""
        return site_words(self.form.text("site"), self.tooth)

    @property
    def position(self) -> str:
        """The jaw position's name; empty for reductions and widths."""
        return position_words(self.form.text("position"))

    @property
    def strips(self) -> list[BoundField]:
        """The three fields of a strip."""
        return [self.form[name] for name in STRIPS]

    @property
    def strip_set(self) -> BoundField | None:
        """The list of strip sets, where the house has any."""
        return self.form[SET] if SET in self.form.fields else None

    @property
    def instrument(self) -> BoundField | None:
        """The list of other instruments, where the house has any."""
        return self.form["instrument"] if "instrument" in self.form.fields else None

    @property
    def bad(self) -> str:
        """Ids of the fields a message speaks of, for the script that marks them."""
        return " ".join(str(bound.auto_id) for bound in self.form if bound.errors)

    @property
    def errors(self) -> list[str]:
        """Every message of the row, in the order of its fields."""
        said = [str(e) for bound in self.form for e in bound.errors]
        return list(dict.fromkeys([*self.stray, *said]))


def reading_json(values: Mapping[str, str]) -> dict[str, Any]:
    """Return a row as the check reads it: what its method states, no more."""
    method = values.get("method") or ""
    lengths = STRIPS if method == Method.STRIP else POINTS
    body: dict[str, Any] = {
        key: values[key]
        for key in ("site", "position", "method", *lengths, "note")
        if values.get(key)
    }
    if named := values.get(instrument_key(method)):
        body["instrument"] = named
    usual = _BASIS_OF.get(Method(method)) if method in set(Method) else None
    body["basis"] = values.get("basis") or (usual or Basis.MOUTH).value
    return body


def length_text(value: object) -> str:
    """Return a stored length as it would be typed ("1.50" is "1.5")."""
    try:
        return plain(Decimal(str(value)))
    except InvalidOperation:
        return str(value)


def reading_flat(reading: Mapping[str, Any]) -> dict[str, str]:
    """Return a reading of the check's shape as the texts of a row."""
    flat = {
        key: str(reading[key])
        for key in ("site", "position", "method", "basis", "note")
        if reading.get(key)
    }
    flat |= {
        key: length_text(reading[key])
        for key in LENGTHS
        if reading.get(key) not in (None, "")
    }
    method = flat.get("method", "")
    if reading.get("instrument"):
        flat[instrument_key(method)] = str(reading["instrument"])
    usual = _BASIS_OF.get(Method(method)) if method in set(Method) else None
    if flat.get("basis") == (usual or Basis.MOUTH):
        del flat["basis"]
    return flat


def reading_words(reading: Mapping[str, Any]) -> str:
    """Return a reading's figures in words ("1 mm slides freely, 1.5 mm is held")."""
    words = {
        "passes_mm": _("{mm} mm slides freely"),
        "drags_mm": _("{mm} mm drags"),
        "held_mm": _("{mm} mm is held"),
        "value_mm": _("{mm} mm"),
        "u_mm": _("u {mm} mm"),
    }
    flat = reading_flat(reading)
    return ", ".join(
        text.format(mm=flat[key]) for key, text in words.items() if key in flat
    )


def _known(tooth: str, kind: str, relation: str) -> bool:
    return tooth in PERMANENT_TEETH and kind in set(Kind) and relation in set(Relation)


def listed_places(
    rule_set: RuleSet, tooth: str, kind: str, relation: str
) -> list[Place]:
    """Return the sites and jaw positions that must be read on a unit."""
    if not _known(tooth, kind, relation):
        return []
    how = Relation(relation)
    places: list[Place] = []
    for site in rule_set.required(tooth, Kind(kind), how):
        if site not in sites_for(tooth, Kind(kind), how):
            continue
        if quantity_at(site, tooth, how, positioned=True) is not Quantity.CLEARANCE:
            places.append((site.value, ""))
            continue
        required, _advised = rule_set.positions_for(site, tooth, how)
        positions = required or (Position.MAXIMAL_INTERCUSPATION,)
        places += [(site.value, position.value) for position in positions]
    return places


def site_choices(tooth: str, kind: str, relation: str) -> Choices:
    """Return the sites a reading of this unit may name."""
    if not _known(tooth, kind, relation):
        return []
    sites = sites_for(tooth, Kind(kind), Relation(relation))
    return [(site.value, site_words(site.value, tooth)) for site in sites]


def _order(row: ReadingRow) -> tuple[int, int, int]:
    site, position = row.form.text("site"), row.form.text("position")
    sites, positions = [s.value for s in Site], [p.value for p in Position]
    return (
        sites.index(site) if site in sites else len(sites),
        positions.index(position) if position in positions else -1,
        row.number,
    )


def sorted_rows(rows: Iterable[ReadingRow]) -> list[ReadingRow]:
    """Return rows in the order of the sites, so that a new one lands in its place."""
    return sorted(rows, key=_order)
