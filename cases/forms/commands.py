"""What every form that commands something of a case has in common.

``version`` is the case as the person saw it. When somebody else was quicker the
page comes back with the old number still in it; only the button "use the present
state" (``look``) puts the new one in.
"""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.http import HttpRequest

from cases.errors import Invalid
from cases.forms.faults import fault_text

__all__ = [
    "LOOK",
    "MORE",
    "CommandForm",
    "ProseField",
    "note_field",
    "show_faults",
    "typed",
]

# The button that fetches the present state, and the one that only wants more rows.
LOOK, MORE = "look", "more"


class ProseField(forms.CharField):
    """Text of several lines, with one kind of line end.

    Browsers send CR LF; what is stored, printed and signed has LF.
    """

    widget = forms.Textarea

    def to_python(self, value: Any) -> str:
        """Return the text with LF for every line end."""
        text = super().to_python(value) or ""
        return text.replace("\r\n", "\n").replace("\r", "\n")


class CommandForm(forms.Form):
    """The version of the case a command was decided on."""

    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)

    @property
    def problems(self) -> list[dict[str, str]]:
        """Faults of repeated rows, for the summary of the page."""
        return []

    def place(self, error: Invalid, names: Mapping[str, str]) -> None:
        """Put what a service refused beside its field."""
        show_faults(self, error, names)


def note_field(
    label: object, help_text: object = "", *, required: bool = False, rows: int = 3
) -> ProseField:
    """Return a field for free text; the service says how long it may be."""
    return ProseField(
        label=label,  # type: ignore[arg-type]  # -- lazy texts are what forms take
        help_text=help_text,  # type: ignore[arg-type]  # -- as above
        required=required,
        widget=forms.Textarea(attrs={"rows": rows}),
    )


def typed(
    form: type[forms.Form], request: HttpRequest, **kwargs: Any
) -> dict[str, Any]:
    """Return what was typed as initial values for the same form, unjudged."""
    blank = form(**kwargs)
    found = {
        name: field.widget.value_from_datadict(request.POST, request.FILES, name)
        for name, field in blank.fields.items()
        if not isinstance(field, forms.FileField)
        and not isinstance(field.widget, forms.PasswordInput)
    }
    return {name: value for name, value in found.items() if value is not None}


def show_faults(
    form: forms.Form, error: Invalid, names: Mapping[str, str] | None = None
) -> None:
    """Put every fault beside its field: the field of ``/x/3`` is ``x``.

    ``names`` maps a pointer's first part to another field; what has no field
    goes on top.
    """
    for fault in error.fields:
        first = fault.pointer.strip("/").split("/")[0]
        name = (names or {}).get(first, first)
        form.add_error(name if name in form.fields else None, fault_text(fault))
