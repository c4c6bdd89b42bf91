"""Remakes: recorded, stated, traced; and the laboratory's own causes. Shape only."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, note_field
from cases.forms.fields import LengthField, WholeField
from cases.forms.thread import ACCEPTED, small_enough
from cases.forms.words import ATTRIBUTIONS, CAUSES, DETECTED
from cases.services.remake_parts import (
    DETECTED_AFTER,
    DETECTED_BEFORE,
    LossInput,
    RemakeDetails,
)

__all__ = [
    "CauseForm",
    "InternalRemakeForm",
    "LossForm",
    "RemakeForm",
    "StatementForm",
    "TraceForm",
    "WithdrawForm",
]

Choices = Sequence[tuple[str, str]]
_OFFERED_AFTER = [place for place in DETECTED_AFTER if place != "after_dispatch"]


class _ManyFiles(forms.FileInput):
    """A file input that takes several."""

    allow_multiple_selected = True


class FilesField(forms.FileField):
    """Several new files; none is an empty list."""

    widget = _ManyFiles

    def clean(self, data: Any, initial: Any = None) -> "list[UploadedFile[Any]]":
        """Return the files, each small enough.

        Raises:
            ValidationError: one of them is empty or too large.
        """
        given = data if isinstance(data, list | tuple) else [data]
        files = [super(FilesField, self).clean(one, initial) for one in given if one]
        for one in files:
            small_enough(one)
        return files


def _attribution(label: object, *, empty: object) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,  # type: ignore[arg-type]  # -- lazy texts are what forms take
        required=False,
        choices=[("", empty), *ATTRIBUTIONS.items()],
    )


class _LossFields(forms.Form):
    """What a remake costs one's own side."""

    amount = LengthField(
        label=_("Cost"),
        required=False,
        minimum="0",
        maximum="99999999.99",
    )
    minutes = WholeField(
        label=_("Minutes of work"), required=False, minimum="0", maximum="100000"
    )
    days_lost = WholeField(
        label=_("Days lost"), required=False, minimum="0", maximum="3650"
    )

    def say_currency(self, currency: str) -> None:
        """Put the currency beside the amount."""
        self.fields["amount"].label = _("Cost in %(currency)s") % {"currency": currency}

    def loss(self) -> LossInput:
        """Return the figures; the form must be valid."""
        data = self.cleaned_data
        return LossInput(
            amount=data.get("amount"),
            minutes=data.get("minutes"),
            days_lost=data.get("days_lost"),
        )


class _RemakeFields(_LossFields, CommandForm):
    """What both kinds of remake ask for."""

    cause = forms.ChoiceField(
        label=_("Cause"),
        error_messages={"required": _("Choose a cause from the list.")},
    )
    detected_at = forms.ChoiceField(label=_("Noticed"), required=False)
    teeth = forms.MultipleChoiceField(
        label=_("Teeth made again"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose at least one tooth.")},
    )
    note = note_field(_("Note"))
    evidence = forms.MultipleChoiceField(
        label=_("Files of the case that show it"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    photos = FilesField(
        label=_("Add photos"),
        required=False,
        help_text=_("Photos, a PDF or scans (STL, PLY) of at most 10 MB each."),
        widget=_ManyFiles(attrs={"accept": ACCEPTED}),
        error_messages={"empty": _("The file is empty. Choose another one.")},
    )
    places: Sequence[str] = ()
    field_order = (
        "cause",
        "detected_at",
        "teeth",
        "attribution",
        "note",
        "evidence",
        "photos",
        "amount",
        "minutes",
        "days_lost",
    )

    def __init__(
        self,
        *args: Any,
        causes: Choices = (),
        teeth: Choices = (),
        evidence: Choices = (),
        currency: str,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self._offer("cause", [("", _("Choose the cause")), *CAUSES.items(), *causes])
        words = [(place, DETECTED[place]) for place in self.places]
        self._offer("detected_at", [("", _("Not stated")), *words])
        self._offer("teeth", list(teeth))
        self._offer("evidence", list(evidence))
        # With one tooth there is nothing to choose; with none ticked all would be made.
        self.fields["teeth"].required = len(teeth) > 1
        for name, offered in (("teeth", len(teeth) > 1), ("evidence", bool(evidence))):
            if not offered:
                del self.fields[name]
        self.say_currency(currency)

    def _offer(self, name: str, choices: list[Any]) -> None:
        self.fields[name].choices = choices  # type: ignore[attr-defined]  # -- each is a ChoiceField

    def details(self) -> RemakeDetails:
        """Return what the service stores beside the cause; the form must be valid."""
        data = self.cleaned_data
        return RemakeDetails(
            teeth=data.get("teeth", ()),
            evidence=data.get("evidence", ()),
            files=[(one.name or "", one.read()) for one in data.get("photos") or ()],
            loss=self.loss(),
        )


class RemakeForm(_RemakeFields):
    """Why delivered work is made again, as the clinic sees it."""

    places = _OFFERED_AFTER

    attribution = _attribution(
        _("Attribution, as the clinic sees it"), empty=_("not stated yet")
    )
    attribution.help_text = _("The laboratory states its own; the two may differ.")


class InternalRemakeForm(_RemakeFields):
    """Work made again before dispatch, as the laboratory sees it."""

    places = DETECTED_BEFORE

    attribution = _attribution(
        _("Attribution, as the laboratory sees it"), empty=_("not stated yet")
    )


class StatementForm(forms.Form):
    """To whom a remake goes back, as one's side sees it."""

    attribution = forms.ChoiceField(
        label=_("The remake goes back to"),
        choices=[("", _("Choose")), *ATTRIBUTIONS.items()],
        error_messages={"required": _("Choose from the list.")},
    )
    note = note_field(_("Why"), rows=2)


class LossForm(_LossFields):
    """What a remake costs one's own side; the other side sees nothing of it."""

    def __init__(self, *args: Any, currency: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.say_currency(currency)

    def clean(self) -> dict[str, Any] | None:
        """Ask for at least one figure."""
        cleaned = super().clean()
        if not self.errors and self.loss().empty:
            raise ValidationError(_("Enter at least one figure."))
        return cleaned


class TraceForm(forms.Form):
    """One more site the remake goes back to."""

    site_verdict = forms.ChoiceField(
        label=_("It goes back to another site"),
        error_messages={"required": _("Choose a site of this case.")},
    )

    def __init__(self, *args: Any, sites: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", _("Choose the site")), *sites]
        self.fields["site_verdict"].choices = choices  # type: ignore[attr-defined]  # -- a ChoiceField


class WithdrawForm(forms.Form):
    """Why the remake does not go back to a site."""

    reason = forms.CharField(
        label=_("Why the remake does not go back to it"),
        max_length=200,
        error_messages={"required": _("Say why the remake does not go back to it.")},
    )


class CauseForm(forms.Form):
    """A cause of the laboratory's own."""

    label = forms.CharField(
        label=_("Cause in a few words"),
        max_length=60,
        error_messages={"required": _("Enter the cause in a few words.")},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
