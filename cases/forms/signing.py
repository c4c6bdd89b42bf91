"""The block one signs in: credential, meaning, and the digest that was shown.

A page's form inherits ``SigningForm`` beside its own fields, sets ``purpose`` and
gets the digest of the content as initial value; ``signature()`` is what the
service takes. ``templates/cases/parts/_sign.html`` shows it.
"""

from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.canonical import canonical_json, sha256_hex
from cases.errors import DomainError, InvalidField
from cases.forms.faults import fault_text
from cases.services.signing import SignatureInput

__all__ = ["MEANINGS", "SigningForm", "digest_of"]

MEANINGS = {
    "prescription": _(
        "I prescribe this work and authorise the laboratory to make it as described."
    ),
    "answer": _("I decide this query as described, for my patient."),
    "countersign": _(
        "I accept for the laboratory that this work is made with the documented risk."
    ),
    "change_request": _(
        "I ask the laboratory to stop the work and to change it as described."
    ),
}


def digest_of(content: dict[str, Any]) -> str:
    """Return the SHA-256 that a signature of this content would carry."""
    return sha256_hex(canonical_json(content))


class SigningForm(forms.Form):
    """Password or code, and the digest of what the page showed."""

    purpose: ClassVar[str]

    content_sha256 = forms.CharField(
        widget=forms.HiddenInput, min_length=64, max_length=64
    )
    password = forms.CharField(
        label=_("Your password"),
        required=False,
        strip=False,
        max_length=128,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    totp = forms.CharField(
        label=_("or a code of your second factor"),
        required=False,
        max_length=12,
        widget=forms.TextInput(
            attrs={
                "inputmode": "numeric",
                "autocomplete": "one-time-code",
                "spellcheck": "false",
            }
        ),
    )

    @property
    def meaning(self) -> str:
        """What the person declares by signing, in their language."""
        return str(MEANINGS[self.purpose])

    @property
    def shown_digest(self) -> str:
        """The digest of the content the page shows."""
        return str(self["content_sha256"].value() or "")

    def clean(self) -> dict[str, Any] | None:
        """Ask for one of the two credentials."""
        cleaned = super().clean()
        if not (self.cleaned_data.get("password") or self.cleaned_data.get("totp")):
            self.add_error(
                "password",
                _(
                    "To sign, enter your password or a fresh code of your second factor."
                ),
            )
        return cleaned

    def signature(self) -> SignatureInput:
        """Return what the service signs with; the form must be valid."""
        return SignatureInput(
            meaning=self.meaning,
            password=self.cleaned_data["password"],
            totp=self.cleaned_data["totp"].replace(" ", ""),
            content_sha256=self.cleaned_data["content_sha256"],
        )

    def refuse(self, error: DomainError) -> None:
        """Put a refused credential beside the field it was typed into."""
        name = "totp" if self.cleaned_data.get("totp") else "password"
        params = tuple(error.params.items())
        self.add_error(name, fault_text(InvalidField(name, error.message, params)))
