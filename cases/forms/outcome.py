"""Fit report and remake: few choices, shape only."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, note_field
from cases.forms.fields import LengthField, WholeField
from cases.forms.words import CAUSES, FINDINGS
from cases.services.outcome import FitInput

__all__ = ["QUICK", "FitForm", "RemakeForm"]

# The button that says everything: fitted, as delivered.
QUICK = "as_delivered"
FITTED, NOT_FITTED = "fitted", "not_fitted"


class FitForm(CommandForm):
    """What happened in the mouth."""

    outcome = forms.ChoiceField(
        label=_("Outcome"),
        required=False,
        widget=forms.RadioSelect,
        choices=[(FITTED, _("Fitted")), (NOT_FITTED, _("Not fitted"))],
    )
    findings = forms.MultipleChoiceField(
        label=_("What was found or done"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        choices=list(FINDINGS.items()),
    )
    opposing_adjusted_mm = LengthField(
        label=_("Taken off the opposing tooth"),
        required=False,
        minimum="0.01",
        maximum="5",
    )
    minutes = WholeField(
        label=_("Minutes of adjusting"), required=False, minimum="0", maximum="600"
    )
    coping_used = forms.ChoiceField(
        label=_("Reduction coping"),
        required=False,
        widget=forms.RadioSelect,
        choices=[("yes", _("used")), ("no", _("not used"))],
    )
    note = note_field(_("Note"))

    def __init__(self, *args: Any, coping: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not coping:
            del self.fields["coping_used"]

    @property
    def quick(self) -> bool:
        """Whether the button for "fitted, as delivered" was pressed."""
        return str(self.data.get("quick") or "") == QUICK

    def clean(self) -> dict[str, Any] | None:
        """Ask for the outcome, unless the button said it."""
        cleaned = super().clean()
        if not self.quick and not self.cleaned_data.get("outcome"):
            self.add_error("outcome", _("Choose whether the work was fitted."))
        return cleaned

    def report(self) -> FitInput:
        """Return what the service stores; the form must be valid."""
        data = self.cleaned_data
        if self.quick:
            return FitInput(fitted=True, findings=("as_delivered",), note=data["note"])
        coping = data.get("coping_used")
        return FitInput(
            fitted=data["outcome"] == FITTED,
            findings=data["findings"],
            opposing_adjusted_mm=data["opposing_adjusted_mm"],
            minutes=data["minutes"],
            coping_used={"yes": True, "no": False}.get(coping or ""),
            note=data["note"],
        )


class RemakeForm(CommandForm):
    """Why the work is made again."""

    cause = forms.ChoiceField(
        label=_("Cause"),
        choices=[("", _("Choose the cause")), *CAUSES.items()],
        error_messages={"required": _("Choose a cause from the list.")},
    )
    attribution = forms.ChoiceField(
        label=_("Attribution, as the clinic sees it"),
        required=False,
        help_text=_("The laboratory states its own; the two may differ."),
        choices=[
            ("", _("not stated")),
            ("clinic", _("clinic")),
            ("laboratory", _("laboratory")),
            ("shared", _("shared")),
            ("undetermined", _("cannot be told")),
            ("disputed", _("disputed")),
        ],
    )
    note = note_field(_("Note"))
