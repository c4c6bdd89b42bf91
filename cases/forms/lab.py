"""Forms of the laboratory's commands: shape only, services decide."""

from collections.abc import Sequence
from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, ProseField, note_field
from cases.forms.signing import SigningForm
from cases.forms.words import CONTENTS, reason_choices

__all__ = [
    "ClearForm",
    "CountersignForm",
    "DispatchForm",
    "FlagForm",
    "IncompleteForm",
    "ReceiveForm",
    "TryInForm",
    "WithdrawForm",
    "site_keys",
]

DECLINE = "decline"


def _many(**kwargs: Any) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(widget=forms.CheckboxSelectMultiple, **kwargs)


def site_keys(values: Sequence[str]) -> list[tuple[str, str]]:
    """Return ticked sites ("36|central_fossa") as (tooth, site)."""
    return [(tooth, site) for tooth, _bar, site in (v.partition("|") for v in values)]


class ReceiveForm(CommandForm):
    """What arrived, the pan it lies in, the day promised."""

    contents = _many(
        label=_("What arrived"),
        choices=list(CONTENTS.items()),
        required=False,
        help_text=_("Tick what you have in hand or can open."),
    )
    pan_number = forms.CharField(
        label=_("Pan number"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    promised_on = forms.DateField(
        label=_("Promised for"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": _("Enter a date like 2026-05-31.")},
    )


class IncompleteForm(CommandForm):
    """What is missing."""

    missing = ProseField(
        label=_("What is missing"),
        help_text=_(
            "The clinic reads exactly this. The case comes back with a new signature."
        ),
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"required": _("Say what is missing, so that it can be sent.")},
    )


class FlagForm(CommandForm):
    """One query with every doubt about the case."""

    reasons = _many(
        label=_("What it is about"),
        choices=reason_choices,
        help_text=_("Tick everything: the patient is recalled once."),
        error_messages={"required": _("Choose at least one reason.")},
    )
    sites = _many(label=_("Sites the clinician decides on"), required=False)
    verified = forms.BooleanField(
        label=_("Die seated, mounting verified against the jaw record"),
        help_text=_("Asked because this query rests on a reading of your own."),
        required=False,
    )
    text = ProseField(
        label=_("Question to the clinician"),
        widget=forms.Textarea(attrs={"rows": 9}),
        error_messages={"required": _("Write the question to the clinician.")},
    )

    def __init__(
        self,
        *args: Any,
        sites: Sequence[tuple[str, str]] = (),
        own_readings: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        if not own_readings:
            del self.fields["verified"]
        self.fields["sites"].choices = list(sites)  # type: ignore[attr-defined]  # -- a MultipleChoiceField
        if not sites:
            del self.fields["sites"]

    def wanted(self) -> list[tuple[str, str]] | None:
        """Return the ticked sites, None where none is offered."""
        return site_keys(self.cleaned_data.get("sites", ())) or None


class WithdrawForm(CommandForm):
    """Why a query is taken back."""

    reason = note_field(_("Why it is no longer needed"))


class ClearForm(CommandForm):
    """Sites the technician clears within measuring uncertainty, on the record."""

    within_uncertainty = _many(
        label=_("Clear within measuring uncertainty"), required=False
    )

    def __init__(
        self, *args: Any, clearable: Sequence[tuple[str, str]] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["within_uncertainty"].choices = list(clearable)  # type: ignore[attr-defined]  # -- a MultipleChoiceField
        if not clearable:
            del self.fields["within_uncertainty"]

    def wanted(self) -> list[tuple[str, str]]:
        """Return the ticked sites."""
        return site_keys(self.cleaned_data.get("within_uncertainty", ()))


class CountersignForm(SigningForm, CommandForm):
    """Accept with a signature, or decline with a reason."""

    purpose: ClassVar[str] = "countersign"

    reason = note_field(
        _("Why the laboratory does not build this"),
        _("Only when you decline; the clinician reads it."),
    )

    @property
    def declines(self) -> bool:
        """Whether the button that declines was pressed."""
        return self.data.get("decision") == DECLINE

    def clean(self) -> dict[str, Any] | None:
        """Ask for a credential only where something is signed."""
        return self.cleaned_data if self.declines else super().clean()


class TryInForm(CommandForm):
    """Notes for the chair."""

    note = note_field(
        _("Notes for the try-in"), _("What to look at, and how to hold the work.")
    )


class DispatchForm(CommandForm):
    """Carrier and reference."""

    note = note_field(_("Carrier and reference"), rows=2)
