"""Put what a service refused beside the field it concerns."""

from django import forms
from django.utils.translation import gettext as _

from cases.errors import Invalid, InvalidField

__all__ = ["add_faults", "fault_text"]


def fault_text(field: InvalidField) -> str:
    """Return one fault in the reader's language."""
    if not field.message:
        return ""
    return _(field.message).format(**dict(field.params))


def add_faults(form: forms.Form, error: Invalid) -> None:
    """Add every fault to the form; one without a field there goes on top."""
    for field in error.fields:
        name = field.pointer.strip("/").replace("/", "-")
        form.add_error(name if name in form.fields else None, fault_text(field))
