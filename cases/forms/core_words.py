"""What the rule core refuses, in the words of the forms.

The core speaks to programs too: its messages name JSON keys and codes. Pages
show labels instead, in the reader's tooth system.
"""

from collections.abc import Mapping
from enum import StrEnum

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.errors import InvalidField
from cases.forms.vocabulary import tooth_number
from rules import terms

__all__ = ["people_text"]

_LENGTHS = {
    "passes_mm": gettext_lazy("slides freely"),
    "drags_mm": gettext_lazy("drags"),
    "held_mm": gettext_lazy("is held"),
    "value_mm": gettext_lazy("value"),
    "u_mm": gettext_lazy("uncertainty"),
}
_MISSING = {
    "tooth": gettext_lazy("Choose the tooth."),
    "kind": gettext_lazy("Choose what is made for this tooth."),
    "material": gettext_lazy("Choose the material."),
    "site": gettext_lazy("Choose where this was measured."),
    "method": gettext_lazy("Choose how this was measured."),
    "relation": gettext_lazy("Choose how the teeth meet."),
    "antagonist": gettext_lazy("Choose what stands opposite."),
    "height_mm": gettext_lazy("Enter the height of the connector."),
    "width_mm": gettext_lazy("Enter the width of the connector."),
}
_TEETH = frozenset({"tooth", "other", "before", "after", "meant"})

# The core's template and what a page says instead; parameters keep their names.
_INSTEAD = {
    "A strip reading needs at least one of passes_mm (slid freely), drags_mm, "
    "held_mm.": gettext_lazy(
        "Enter at least one strip: the one that slides freely, drags or is held."
    ),
    "value_mm is missing: {method} states one length in mm.": gettext_lazy(
        "Enter the value in mm."
    ),
    "Strips out of order: {thicker} {high} must be thicker than {thinner} {low}. "
    "Measure again.": gettext_lazy(
        "Strips out of order: “{thicker}” {high} must be thicker than “{thinner}” "
        "{low}. Measure again."
    ),
    "“{tooth}” is no tooth in ISO 3950, and other systems are not guessed: "
    "Universal {tooth} would be {meant}.": gettext_lazy(
        "“{tooth}” is no tooth here. Choose the tooth in the chart."
    ),
}
_MISSING_TEMPLATE = "“{key}” is missing: state it."
_CLOSED_LIST = "“{value}” is not one of: {known}."


def _labels() -> dict[str, str]:
    found: dict[str, str] = {}
    for words in (
        terms.Kind,
        terms.Site,
        terms.Position,
        terms.Method,
        terms.Relation,
        terms.Antagonist,
        terms.Quantity,
        terms.OcclusalSurface,
        terms.Cementation,
    ):
        member: StrEnum
        for member in words:
            # "none" and "other" are too common as words to stand for one label.
            if member.value not in ("none", "other"):
                found.setdefault(member.value, terms.label(member))
    return found


_LABELS = _labels()


def _word(value: str) -> str:
    if value in _LENGTHS:
        return str(_LENGTHS[value])
    return _(_LABELS[value]) if value in _LABELS else value


def _words(params: Mapping[str, str], system: str) -> dict[str, str]:
    return {
        name: tooth_number(value, system)
        if name in _TEETH
        else ", ".join(_word(part) for part in value.split(", "))
        for name, value in params.items()
    }


def people_text(field: InvalidField, *, system: str) -> str:
    """Return one fault as a page says it, in the reader's language."""
    params = dict(field.params)
    if field.message == _MISSING_TEMPLATE and params["key"] in _MISSING:
        return str(_MISSING[params["key"]])
    if field.message == _CLOSED_LIST:
        key = field.pointer.rsplit("/", 1)[-1]
        return str(_MISSING.get(key, _("Choose one from the list.")))
    if not field.message:
        return ""
    template = str(_INSTEAD.get(field.message) or _(field.message))
    return template.format(**_words(params, system))
