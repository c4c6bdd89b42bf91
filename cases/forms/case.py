"""Forms both sides use on a case: cancel, ask for a change, confirm."""

from typing import ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, ProseField, note_field
from cases.forms.signing import SigningForm

__all__ = ["CancelForm", "ChangeRequestForm"]


class CancelForm(CommandForm):
    """Why a case is cancelled."""

    reason = note_field(_("Why the case is cancelled"), _("The laboratory reads it."))


class ChangeRequestForm(SigningForm, CommandForm):
    """What is to change, signed."""

    purpose: ClassVar[str] = "change_request"

    text = ProseField(
        label=_("What is to change"),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 5}),
        error_messages={
            "required": _("Write what is to change."),
            "max_length": _("Write at most 4000 characters."),
        },
    )
