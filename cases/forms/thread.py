"""The composer of the case thread."""

import uuid
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import ProseField
from cases.tenancy import Actor

__all__ = ["ACCEPTED", "FileForm", "MessageForm", "small_enough"]

ACCEPTED = "image/jpeg,image/png,image/webp,application/pdf,.stl,.ply"


def _file(*, required: bool) -> forms.FileField:
    return forms.FileField(
        label=_("File"),
        required=required,
        help_text=_("A photo, a PDF or a scan (STL, PLY) of at most 10 MB."),
        widget=forms.FileInput(attrs={"accept": ACCEPTED}),
        error_messages={
            "required": _("Choose a file."),
            "empty": _("The file is empty. Choose another one."),
            "max_length": _("The file's name is too long. Rename it, then send again."),
        },
    )


def small_enough(upload: "UploadedFile[Any] | None") -> "UploadedFile[Any] | None":
    """Refuse a file by its size before a byte of it is read."""
    limit = settings.MAX_ATTACHMENT_BYTES
    if upload is not None and (upload.size or 0) > limit:
        raise ValidationError(
            _("The file is larger than %(limit)s MB."),
            params={"limit": limit // 2**20},
        )
    return upload


class MessageForm(forms.Form):
    """A message, an internal note of the laboratory, or either with a file.

    ``client_id`` is made once per composer: the same form sent twice writes one
    message.
    """

    client_id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    body = ProseField(
        label=_("Message"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    file = _file(required=False)
    internal = forms.BooleanField(
        label=_("Laboratory only: the clinic never sees this"), required=False
    )

    def __init__(self, *args: Any, actor: Actor, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if actor.is_clinic:
            del self.fields["internal"]

    def clean_file(self) -> "UploadedFile[Any] | None":
        """Refuse a file that is too large."""
        return small_enough(self.cleaned_data["file"])


class FileForm(forms.Form):
    """One file for the case."""

    file = _file(required=True)

    def clean_file(self) -> "UploadedFile[Any] | None":
        """Refuse a file that is too large."""
        return small_enough(self.cleaned_data["file"])
