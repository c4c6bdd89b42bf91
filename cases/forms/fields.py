"""Form fields of this product: choices the core judges, lengths, whole numbers.

Framework number fields read "1_5" as 15; every number here goes through the one
strict parser of the rule core.
"""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from cases.forms.vocabulary import Choices
from rules.errors import InvalidNumber
from rules.readings import parse_mm

__all__ = ["LengthField", "OpenChoice", "WholeField", "length_input", "with_current"]


class OpenChoice(forms.ChoiceField):
    """A list to choose from whose values the rule core judges, with its pointer."""

    def valid_value(self, value: str) -> bool:
        """Leave the judgement to the core, so that page and API say the same."""
        return True


def with_current(choices: Choices, current: str) -> Choices:
    """Return the choices, with what was sent if it is none of them."""
    if current and current not in {value for value, _label in choices}:
        return [*choices, (current[:40], current[:40])]
    return choices


def length_input(**attrs: str) -> forms.TextInput:
    """Return the widget of a length: a text with the keypad of decimals."""
    return forms.TextInput(
        attrs={"inputmode": "decimal", "autocomplete": "off", **attrs}
    )


class LengthField(forms.CharField):
    """A length in mm, read by the strict parser; empty is None."""

    places = 2

    def __init__(self, *, minimum: str, maximum: str, **kwargs: Any) -> None:
        kwargs.setdefault("widget", length_input())
        super().__init__(**kwargs)
        self.minimum, self.maximum = Decimal(minimum), Decimal(maximum)

    def to_python(self, value: Any) -> Any:
        """Return the Decimal, or None for nothing.

        Raises:
            ValidationError: with the parser's own words.
        """
        text = super().to_python(value)
        if text in self.empty_values:
            return None
        try:
            return parse_mm(
                text, minimum=self.minimum, maximum=self.maximum, places=self.places
            )
        except InvalidNumber as error:
            raise ValidationError(
                _(error.message).format(**error.params), code="number"
            ) from error

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare as text: the value is a Decimal only after cleaning."""
        return str(initial or "") != str(data or "")


class WholeField(LengthField):
    """A whole number, by the same strict parser; empty is None."""

    places = 0

    def __init__(self, *, minimum: str, maximum: str, **kwargs: Any) -> None:
        kwargs.setdefault("widget", length_input(inputmode="numeric"))
        super().__init__(minimum=minimum, maximum=maximum, **kwargs)

    def to_python(self, value: Any) -> Any:
        """Return the int, or None for nothing."""
        number = super().to_python(value)
        return None if number is None else int(number)
