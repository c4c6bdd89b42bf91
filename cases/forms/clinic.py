"""Forms of the clinic's smaller steps: sign and send, receipt, return, resume."""

from typing import ClassVar

from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, note_field
from cases.forms.signing import SigningForm

__all__ = ["ProvisionalForm", "ReceiptForm", "ResumeForm", "ReturnForm", "SubmitForm"]


class SubmitForm(SigningForm, CommandForm):
    """The prescription, signed."""

    purpose: ClassVar[str] = "prescription"


class ReceiptForm(CommandForm):
    """The work has arrived."""

    note = note_field(_("Note"), _("Only if something about the parcel matters."))


class ReturnForm(CommandForm):
    """The work goes back with notes."""

    note = note_field(
        _("What the laboratory should do"),
        _("Say where and how much, with the method you measured it by."),
    )


class ProvisionalForm(CommandForm):
    """The provisional was lost or found high."""

    note = note_field(
        _("What happened"), _("Lost or high, and since when."), required=True
    )


class ResumeForm(CommandForm):
    """A deferred case is taken up again."""

    note = note_field(_("Note"), _("What was done in the meantime."))
