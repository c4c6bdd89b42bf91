"""The head of a case: laboratory, prescriber, patient, dates, words; more teeth.

Shape only. What a draft may hold is the service's and the rule core's to say.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, ProseField
from cases.forms.unit_changes import BRIDGE
from cases.forms.vocabulary import Choices, kind_choices, material_choices
from cases.services.drafts import DraftInput, PatientInput, PrescriptionInput
from rules.requirements import RuleSet
from rules.teeth import PERMANENT_TEETH

__all__ = [
    "AGE_BANDS",
    "AddUnitsForm",
    "DraftForm",
    "PatientForm",
    "StartForm",
    "draft_input",
    "reference_caution",
]

AGE_BANDS = ("0-17", "18-39", "40-64", "65+")
_DATE = re.compile(
    r"(?:19|20)\d{2}[-./ ]?\d{1,2}[-./ ]?\d{1,2}|\d{1,2}[-./ ]\d{1,2}[-./ ]\d{2,4}",
    re.ASCII,
)
_NAME = re.compile(r"[^\W\d_]{2,}(?:[ ,.'-]+[^\W\d_]{2,})+")


def reference_caution(reference: str) -> str:
    """Return why a patient reference looks like what it must not be, or nothing.

    A caution, no refusal: a clinic's own code may look like anything.
    """
    text = reference.strip()
    if _DATE.fullmatch(text):
        return _now(
            "This looks like a birth date. Use your clinic's own code for the patient."
        )
    if _NAME.fullmatch(text):
        return _now(
            "This looks like a name. Use your clinic's own code for the patient."
        )
    return ""


def _text(
    label: object, *, limit: int, listed: str = "", hint: object = ""
) -> forms.CharField:
    attrs = {"autocomplete": "off", **({"list": listed} if listed else {})}
    return forms.CharField(
        label=label,  # type: ignore[arg-type]  # -- lazy texts are what forms take
        help_text=hint,  # type: ignore[arg-type]  # -- as above
        required=False,
        max_length=limit,
        widget=forms.TextInput(attrs=attrs),
    )


class PatientForm(forms.Form):
    """For whom: the clinic's own code, never a name."""

    prescriber = forms.ChoiceField(
        label=_("Prescriber"),
        error_messages={
            "required": _("Choose the clinician who prescribes."),
            "invalid_choice": _("Choose a clinician of your clinic as the prescriber."),
        },
    )
    reference = forms.CharField(
        label=_("Patient reference"),
        max_length=40,
        help_text=_("Your clinic's own code, not a name or a birth date."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
        error_messages={"required": _("Enter your own code for the patient.")},
    )
    initials = _text(
        _("Initials"), limit=6, hint=_("Only if the laboratory needs them.")
    )
    age_band = forms.ChoiceField(
        label=_("Age band"),
        required=False,
        choices=[("", "–"), *((band, band) for band in AGE_BANDS)],
    )

    def __init__(self, *args: Any, prescribers: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        blank = [] if len(prescribers) == 1 else [("", "–")]
        field = self.fields["prescriber"]
        field.choices = [*blank, *prescribers]  # type: ignore[attr-defined]  # -- a ChoiceField

    @property
    def caution(self) -> str:
        """What to mind about the reference as it stands."""
        return reference_caution(str(self["reference"].value() or ""))


class StartForm(PatientForm):
    """What a draft cannot begin without."""

    laboratory = forms.ChoiceField(
        label=_("Laboratory"),
        error_messages={
            "required": _("Choose the laboratory."),
            "invalid_choice": _(
                "Choose a laboratory your clinic works with; a partnership must be "
                "asked for and accepted first."
            ),
        },
    )
    # One key for one page: a second press of the button makes no second draft.
    once = forms.CharField(max_length=40, widget=forms.HiddenInput)

    field_order = ["laboratory", "prescriber", "reference", "initials", "age_band"]

    def __init__(self, *args: Any, laboratories: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        blank = [] if len(laboratories) == 1 else [("", "–")]
        field = self.fields["laboratory"]
        field.choices = [*blank, *laboratories]  # type: ignore[attr-defined]  # -- a ChoiceField


class DraftForm(PatientForm, CommandForm):
    """Everything of a draft beside its units."""

    wanted_on = forms.DateField(
        label=_("Wanted on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": _("Enter a date like 2026-05-31.")},
    )
    appointment_at = forms.DateTimeField(
        label=_("Appointment"),
        required=False,
        help_text=_("Reminders count back from it."),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"],
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
        error_messages={"invalid": _("Enter a day and time like 2026-05-31 14:30.")},
    )
    shade = _text(_("Shade"), limit=40)
    occlusal_scheme = _text(_("Occlusal scheme"), limit=60, listed="occlusal-schemes")
    jaw_record = _text(_("Jaw record"), limit=60, listed="jaw-records")
    disinfection = _text(_("Disinfection"), limit=60, listed="disinfections")
    notes = ProseField(
        label=_("Notes to the laboratory"),
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )

    def __init__(self, *args: Any, fixed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if fixed:
            # A case that was sent keeps its prescriber and its patient.
            for name in ("prescriber", "reference", "initials", "age_band"):
                del self.fields[name]


class AddUnitsForm(forms.Form):
    """Teeth to add, all of one kind and material."""

    teeth = forms.MultipleChoiceField(
        label=_("Teeth"),
        choices=[(tooth, tooth) for tooth in PERMANENT_TEETH],
        error_messages={
            "required": _("Choose at least one tooth in the chart."),
            "invalid_choice": _("“%(value)s” is no tooth here. Choose in the chart."),
        },
    )
    kind = forms.ChoiceField(label=_("Restoration"))
    material = forms.ChoiceField(
        label=_("Material"),
        error_messages={"required": _("Choose the material.")},
    )

    def __init__(self, *args: Any, rule_set: RuleSet, **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "prefix": "add"})
        kinds = [*kind_choices(""), (BRIDGE, _now("Bridge: retainers and pontics"))]
        self.fields["kind"].choices = kinds  # type: ignore[attr-defined]  # -- a ChoiceField
        self.fields["material"].choices = [  # type: ignore[attr-defined]  # -- a ChoiceField
            ("", "–"),
            *material_choices(rule_set),
        ]

    @property
    def chosen(self) -> set[str]:
        """The teeth ticked so far."""
        value = self["teeth"].value()
        return set(value) if isinstance(value, list | tuple) else set()


def draft_input(
    cleaned: Mapping[str, Any],
    units: Sequence[Mapping[str, Any]],
    connectors: Sequence[Mapping[str, Any]] = (),
) -> DraftInput:
    """Return what the service stores, from valid forms."""
    texts = ("shade", "notes", "occlusal_scheme", "disinfection", "jaw_record")
    return DraftInput(
        patient=PatientInput(
            reference=cleaned.get("reference", ""),
            initials=cleaned.get("initials", ""),
            age_band=cleaned.get("age_band", ""),
        ),
        prescription=PrescriptionInput(
            **{name: cleaned.get(name, "") for name in texts}
        ),
        units=units,
        connectors=connectors,
        wanted_on=cleaned.get("wanted_on"),
        appointment_at=cleaned.get("appointment_at"),
        prescriber_email=cleaned.get("prescriber", ""),
    )
