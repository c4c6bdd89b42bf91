"""The fit report: few choices, shape only."""

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, note_field
from cases.forms.fields import LengthField, WholeField
from cases.forms.vocabulary import Choices, tooth_number
from cases.forms.words import FINDINGS
from cases.services.outcome import FitInput
from rules.teeth import PERMANENT_TEETH, arch, arch_order

__all__ = ["QUICK", "FitForm", "facing_choices"]

# The button that says everything: fitted, as delivered.
QUICK = "as_delivered"
FITTED, NOT_FITTED = "fitted", "not_fitted"


def facing_choices(teeth: Iterable[str], system: str) -> Choices:
    """Return the teeth that stand opposite to these, and their neighbours."""
    found = {
        other
        for tooth in teeth
        for other in PERMANENT_TEETH
        if tooth in PERMANENT_TEETH
        and arch(other) is not arch(tooth)
        and abs(arch_order(other) - arch_order(tooth)) <= 1
    }
    order = sorted(found, key=lambda tooth: (tooth[0] in "34", arch_order(tooth)))
    return [(tooth, tooth_number(tooth, system)) for tooth in order]


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
    opposing_teeth = forms.MultipleChoiceField(
        label=_("Where, in the opposing arch"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    opposing_adjusted_mm = LengthField(
        label=_("About how much was taken off the opposing tooth"),
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

    def __init__(
        self,
        *args: Any,
        coping: bool = False,
        facing: Sequence[tuple[str, str]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["opposing_teeth"].choices = list(facing)  # type: ignore[attr-defined]  # -- a MultipleChoiceField
        if not facing:
            del self.fields["opposing_teeth"]
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
            opposing_teeth=data.get("opposing_teeth", ()),
            minutes=data["minutes"],
            coping_used={"yes": True, "no": False}.get(coping or ""),
            note=data["note"],
        )
