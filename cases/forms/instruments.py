"""Forms of instruments and repeatability studies: shape only, services decide."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from cases.enums import InstrumentKind
from cases.errors import Invalid
from cases.forms.faults import fault_text
from cases.forms.fields import length_input
from cases.forms.rows import placed_faults, read_rows, row_numbers
from cases.forms.vocabulary import Choices, term_choices
from cases.selectors.instruments import InstrumentChoice
from rules.terms import Method

__all__ = ["InstrumentForm", "RetireForm", "StripRow", "StudyForm", "numbers_of"]

_ROWS = "strips"
_KEYS = ("nominal_mm", "measured_mm")
# More than any set has; a longer text in the box is a slip of the clipboard.
_LONGEST = 4000


def _length(label: object, hint: object = "", *, whole: bool = False) -> forms.Field:
    return forms.CharField(
        label=label,  # type: ignore[arg-type]  # -- lazy texts are what forms take
        help_text=hint,  # type: ignore[arg-type]  # -- as above
        required=False,
        max_length=40,
        widget=length_input(inputmode="numeric") if whole else length_input(),
    )


class StripForm(forms.Form):
    """One strip: what is written on it and what it measures."""

    nominal_mm = _length(_("Written on it"))
    measured_mm = _length(_("Measured"))


@dataclass(frozen=True, slots=True)
class StripRow:
    """A row of the page."""

    number: int
    form: StripForm

    @property
    def errors(self) -> list[str]:
        """Every message of the row, in the order of its fields."""
        return [str(error) for bound in self.form for error in bound.errors]


class InstrumentForm(forms.Form):
    """An instrument of one kind; a strip set has rows of strips."""

    label = forms.CharField(
        label=_("Name"),
        required=False,
        max_length=60,
        help_text=_("As your colleagues know it, like “Strips, room 2”."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    resolution_mm = _length(
        _("Resolution"), _("The smallest step its scale or display shows.")
    )
    u_mm = _length(
        _("Standard uncertainty of its certificate"),
        _("Only from a certificate. An expanded uncertainty U (k = 2) is halved."),
    )
    most_uses = _length(
        _("Retire after so many uses"),
        _("Uses or sterilisations its maker allows; empty: no limit."),
        whole=True,
    )
    uses = _length(_("Uses so far"), whole=True)
    note = forms.CharField(
        label=_("Note"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(
        self, data: Mapping[str, Any] | None = None, *, kind: str, **kwargs: Any
    ) -> None:
        super().__init__(data, **kwargs)
        self.kind = kind
        self.rows: list[StripRow] = []
        if kind == InstrumentKind.STRIPS:
            del self.fields["resolution_mm"], self.fields["u_mm"]

    def show(self, body: Mapping[str, Any], *, more: int = 0) -> None:
        """Take up the strip rows of a body, and some blank ones after them."""
        if self.kind != InstrumentKind.STRIPS:
            return
        texts = {k: str(v) for k, v in body.items() if k.startswith(f"{_ROWS}-")}
        numbers = row_numbers(texts, _ROWS)
        following = max(numbers, default=-1) + 1
        self.rows = [
            StripRow(number, StripForm(texts, prefix=f"{_ROWS}-{number}"))
            for number in [*numbers, *range(following, following + more)]
        ]

    def strips(self) -> list[tuple[str, str]]:
        """Return the rows that say something as (nominal, measured)."""
        rows = read_rows(self.data, _ROWS, _KEYS)
        if self.kind != InstrumentKind.STRIPS:
            return []
        return [(row.values["nominal_mm"], row.values["measured_mm"]) for row in rows]

    def place(self, error: Invalid) -> None:
        """Put every fault beside its field or into its row."""
        rows = {row.number: row.form for row in self.rows}
        numbers = [row.number for row in read_rows(self.data, _ROWS, _KEYS)]
        for name, text in placed_faults(error, {_ROWS: numbers}):
            first, _dash, rest = name.partition("-")
            number, _dash, key = rest.partition("-")
            if first == _ROWS and key in _KEYS:
                rows[int(number)].add_error(key, text)
            else:
                self.add_error(first if first in self.fields else None, text)

    @property
    def problems(self) -> list[dict[str, str]]:
        """Faults of the rows, for the summary of the page."""
        return [
            {
                "href": f"#{bound.auto_id}",
                "text": _now("Strip {row}, {field}: {error}").format(
                    row=place, field=bound.label, error=error
                ),
            }
            for place, row in enumerate(self.rows, start=1)
            for bound in row.form
            for error in bound.errors
        ]


class RetireForm(forms.Form):
    """Why an instrument is taken out of use."""

    reason = forms.CharField(
        label=_("Why it is taken out of use"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


def numbers_of(text: str) -> list[str]:
    """Return the values pasted or typed: parted by spaces, lines or semicolons.

    A comma is part of a number ("1,5"), never a separator.
    """
    return [part for part in re.split(r"[\s;]+", text) if part]


class StudyForm(forms.Form):
    """Repeated measurements of one object."""

    method = forms.ChoiceField(label=_("Method"), required=False)
    instrument = forms.ChoiceField(label=_("Instrument"), required=False)
    object_note = forms.CharField(
        label=_("What was measured"),
        required=False,
        max_length=120,
        help_text=_("Like “gauge block 1.50” or “model of tooth 36, central fossa”."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    reference_mm = _length(
        _("Its true length, if known"),
        _("Of a gauge block; the mean's distance from it counts too."),
    )
    values = forms.CharField(
        label=_("Values in mm"),
        required=False,
        max_length=_LONGEST,
        help_text=_(
            "10 to 60 values, parted by spaces, lines or semicolons; 1.5 or 1,5."
        ),
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
    )

    def __init__(
        self, *args: Any, instruments: Sequence[InstrumentChoice], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        methods = [m for m in Method if m is not Method.STRIP]
        self._offer("method", [("", "–"), *term_choices(methods)])
        listed = [(i.code, i.label) for i in instruments if i.kind != "strips"]
        self._offer("instrument", [("", _now("any, or none of the list")), *listed])

    def _offer(self, name: str, listed: Choices) -> None:
        self.fields[name].choices = listed  # type: ignore[attr-defined]  # -- a ChoiceField

    def place(self, error: Invalid) -> None:
        """Put every fault beside its field; one of a value says which."""
        for fault in error.fields:
            name, _slash, number = fault.pointer.strip("/").partition("/")
            text = fault_text(fault)
            if number.isdecimal():
                text = _now("Value {n}: {error}").format(n=int(number) + 1, error=text)
            self.add_error(name if name in self.fields else None, text)
