"""Forms about rule sets: copy, bring in, settings, approval.

Shape only: what a figure may be is the rule core's to say.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.errors import Invalid
from cases.forms.fields import length_input
from cases.forms.rule_set_words import need_at, rule_fault
from cases.forms.vocabulary import Choices
from rules.terms import Method, label
from rules.wording import exact

__all__ = [
    "CopyForm",
    "ImportForm",
    "ProposeForm",
    "ReturnForm",
    "RuleSetForm",
    "SettingsForm",
    "VersionForm",
    "line_field",
]

# Bytes; the core's own limit, said before anything is read.
MAX_FILE = 1_000_000
_DECISION = ("k", "strip_delta_mm", "drag_mm", "cement_space_mm", "adjustment_mm")


class RuleSetForm(forms.Form):
    """A form whose faults come from the rule core."""

    @property
    def problems(self) -> list[dict[str, str]]:
        """Faults that are not a field's own: none, each has its field."""
        return []

    def place(self, error: Invalid, document: Mapping[str, Any]) -> None:
        """Put every fault beside its field; one of another line names the line."""
        for fault in error.fields:
            name = self.field_of(fault.pointer)
            text = rule_fault(fault)
            where = "" if name else need_at(document, fault.pointer)
            self.add_error(name, f"{where}: {text}" if where else text)

    def field_of(self, pointer: str) -> str | None:
        """Return the field a pointer means."""
        name = pointer.strip("/").split("/")[-1]
        return name if name in self.fields else None


class VersionForm(RuleSetForm):
    """The version of the draft something was decided on."""

    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)


def line_field(text: Any, *, hint: Any = "", most: int = 400, **kwargs: Any) -> Any:
    """Return a field for one line of text."""
    return forms.CharField(label=text, help_text=hint, max_length=most, **kwargs)


class CopyForm(RuleSetForm):
    """What to copy, and what the copy is called."""

    digest = forms.ChoiceField(label=gettext_lazy("Copy of"))
    name = line_field(
        gettext_lazy("Name"),
        most=80,
        error_messages={"required": gettext_lazy("Enter a name for the rule set.")},
    )
    label = line_field(
        gettext_lazy("Version"),
        hint=gettext_lazy("What this edition is called, such as 2031-2."),
        most=40,
        error_messages={"required": gettext_lazy("Enter what this version is called.")},
    )

    def __init__(self, *args: Any, sources: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ChoiceField, self.fields["digest"]).choices = sources


class ImportForm(RuleSetForm):
    """A rule set as a file or as pasted text."""

    file = forms.FileField(
        label=gettext_lazy("TOML file"),
        required=False,
        allow_empty_file=True,
        help_text=gettext_lazy("At most 1 MB, UTF-8."),
        widget=forms.ClearableFileInput(attrs={"accept": ".toml,application/toml"}),
    )
    text = forms.CharField(
        label=gettext_lazy("or its text"),
        required=False,
        strip=False,
        widget=forms.Textarea(
            attrs={"rows": 6, "spellcheck": "false", "class": "digest"}
        ),
    )

    def clean(self) -> dict[str, Any] | None:
        """Ask for one of the two, and refuse what is too long before reading it."""
        given = self.cleaned_data
        file, text = given.get("file"), given.get("text") or ""
        if file and text.strip():
            self.add_error("text", _("Choose the file or paste its text, not both."))
        elif file and file.size > MAX_FILE:
            self.add_error(
                "file",
                _(
                    "This file has {size} MB; at most 1 MB is read. A rule set has "
                    "far less: is it the right file?"
                ).format(size=f"{file.size / 1_000_000:.1f}"),
            )
        elif file and not file.size:
            self.add_error("file", _("This file is empty."))
        elif not file and not text.strip():
            self.add_error("file", _("Choose a TOML file, or paste its text."))
        return given

    def document(self) -> bytes | str:
        """Return what is to be read."""
        file = self.cleaned_data.get("file")
        return bytes(file.read()) if file else str(self.cleaned_data["text"])


class SettingsForm(VersionForm):
    """Name, decision rule and what the methods are taken to be worth."""

    name = CopyForm.base_fields["name"]
    label = CopyForm.base_fields["label"]
    k = forms.CharField(
        label=gettext_lazy("Guard factor k"),
        help_text=gettext_lazy(
            "A point decides once it is k times its standard uncertainty away from "
            "the need. 1.645 is 95 % one-sided; 0 is simple acceptance."
        ),
        widget=length_input(),
    )
    strip_delta_mm = forms.CharField(
        label=gettext_lazy("Strip tolerance"),
        help_text=gettext_lazy("Where a strip set states none of its own."),
        widget=length_input(),
    )
    drag_mm = forms.CharField(
        label=gettext_lazy("A dragging strip stands for, to each side"),
        widget=length_input(),
    )
    cement_space_mm = forms.CharField(
        label=gettext_lazy("Cement space"),
        help_text=gettext_lazy("Added to every thickness to make the need."),
        widget=length_input(),
    )
    adjustment_mm = forms.CharField(
        label=gettext_lazy("Adjustment allowance"),
        help_text=gettext_lazy("Added as well: what grinding in and polishing take."),
        widget=length_input(),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in _DECISION:
            self.fields[name].required = False
        self.methods = [method for method in Method if method is not Method.STRIP]
        for method in self.methods:
            words = capfirst(_(label(method)))
            self.fields[f"u_{method}"] = forms.CharField(
                label=_("{method}: standard uncertainty").format(method=words),
                required=False,
                widget=length_input(),
            )
            self.fields[f"source_{method}"] = forms.CharField(
                label=_("{method}: source").format(method=words),
                required=False,
                max_length=400,
                widget=forms.TextInput(attrs={"list": "sources"}),
            )

    @classmethod
    def stored(cls, document: Mapping[str, Any]) -> dict[str, Any]:
        """Return what a document says as the form's initial values."""
        found = {"name": document["name"], "label": document["version"]}
        found |= {
            name: exact(Decimal(text)) if name.endswith("_mm") else text
            for name, text in document["decision"].items()
        }
        for line in document["methods"]:
            found[f"u_{line['method']}"] = line["u_mm"]
            found[f"source_{line['method']}"] = line["source"]
        return found

    @property
    def rule(self) -> list[forms.BoundField]:
        """The fields of the decision rule."""
        return [self[name] for name in _DECISION]

    @property
    def method_rows(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """Each method's name with its two fields."""
        return [
            (capfirst(_(label(m))), self[f"u_{m}"], self[f"source_{m}"])
            for m in self.methods
        ]

    def decision(self) -> dict[str, str]:
        """Return the decision rule; what is empty is left out, for the core to miss."""
        given = self.cleaned_data
        return {name: given[name] for name in _DECISION if given.get(name)}

    def method_lines(self) -> list[dict[str, str]]:
        """Return the methods' lines, in the order of the form."""
        return [
            {
                "method": method.value,
                **{
                    key: text
                    for key, name in (("u_mm", "u"), ("source", "source"))
                    if (text := self.cleaned_data.get(f"{name}_{method}"))
                },
            }
            for method in self.methods
        ]

    def field_of(self, pointer: str) -> str | None:
        """Return the field of a pointer; a method's by its row."""
        parts = pointer.strip("/").split("/")
        if parts[0] == "methods" and len(parts) == 3:
            method = self.methods[int(parts[1])]
            return f"{'u' if parts[2] == 'u_mm' else 'source'}_{method}"
        return super().field_of(pointer)


class ProposeForm(VersionForm):
    """From which day the set should hold, and what the other manager should know."""

    effective_from = forms.DateField(
        label=gettext_lazy("To hold from"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=gettext_lazy(
            "Cases submitted from this day on are checked under it. Cases already "
            "submitted keep theirs."
        ),
        error_messages={
            "required": gettext_lazy("Enter the day it should hold from."),
            "invalid": gettext_lazy("Enter a date, like 2031-05-27."),
        },
    )
    note = forms.CharField(
        label=gettext_lazy("Note for the other manager"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )


class ReturnForm(VersionForm):
    """Why a draft goes back to editing."""

    reason = forms.CharField(
        label=gettext_lazy("What is to be changed"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={
            "required": gettext_lazy("Say briefly why it goes back to editing.")
        },
    )
