"""Rule sets in the words of people: places, conditions, lengths, and what is refused.

The core's messages name the keys of a TOML file; on a page the same fault names the
column it stands in.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from enum import StrEnum
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.errors import InvalidField
from cases.forms.vocabulary import Choices
from rules.requirements import Need, RuleSet
from rules.terms import (
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Quantity,
    Role,
    Site,
    ToothClass,
    label,
)
from rules.wording import exact, place

__all__ = [
    "COLUMNS",
    "COMMON_SOURCES",
    "built",
    "condition_words",
    "kinds_words",
    "listed",
    "material_name",
    "need_at",
    "need_words",
    "place_choices",
    "place_words",
    "rule_fault",
]

# Offered while a source is typed; what a line says must be true of it.
COMMON_SOURCES = (
    gettext_lazy("common practice, no source"),
    gettext_lazy("from memory, to be confirmed"),
)

COLUMNS = {
    "site": gettext_lazy("Site or cusp role"),
    "quantity": gettext_lazy("Measured"),
    "thickness_mm": gettext_lazy("Thickness"),
    "min_mm": gettext_lazy("Least"),
    "target_mm": gettext_lazy("Target"),
    "max_mm": gettext_lazy("Most"),
    "source": gettext_lazy("Source"),
    "note": gettext_lazy("Note"),
    "kinds": gettext_lazy("Restorations"),
    "cementation": gettext_lazy("Cementation"),
    "occlusal_surface": gettext_lazy("Occlusal surface"),
    "classes": gettext_lazy("Teeth"),
    "positions": gettext_lazy("Jaw positions"),
    "material": gettext_lazy("Material"),
    "days": gettext_lazy("Days"),
    "charge": gettext_lazy("Sentence"),
    "region": gettext_lazy("Region"),
    "units_from": gettext_lazy("Units from"),
    "units_to": gettext_lazy("Units to"),
    "connector_mm2": gettext_lazy("Connector"),
    "last_place": gettext_lazy("Furthest tooth"),
}

_MISSING = {
    "site": gettext_lazy("Choose the site or cusp role."),
    "quantity": gettext_lazy("Choose what is measured."),
    "target_mm": gettext_lazy("Enter the target in mm."),
    "min_mm": gettext_lazy("Enter the figure in mm."),
    "source": gettext_lazy(
        "Say where this comes from; without a source, “common practice, no source”."
    ),
    "kinds": gettext_lazy("Tick at least one kind of restoration."),
    "material": gettext_lazy("Choose the material."),
    "region": gettext_lazy("Choose the region."),
    "units_from": gettext_lazy("Enter the least number of units."),
    "units_to": gettext_lazy("Enter the greatest number of units."),
    "days": gettext_lazy("Enter the days, 0 for none."),
    "charge": gettext_lazy("Write the sentence the clinic reads."),
    "label": gettext_lazy("Enter a name."),
    "cementations": gettext_lazy("Tick at least one cementation."),
    "u_mm": gettext_lazy("Enter the standard uncertainty in mm."),
}
_MISSING_TEMPLATE = "“{key}” is missing: state it."
_CLOSED = (
    "“{value}” is not one of: {known}.",
    "“{value}” is no site and no cusp role.",
)
_EMPTY_LIST = "At least {limit} entry belongs here."
_RIVAL = "This line and {other} answer the same."
_INSTEAD = {
    "State either min_mm or thickness_mm, one of the two.": gettext_lazy(
        "Enter either the least or the thickness of the wall, one of the two."
    ),
    "State where class or type comes from.": gettext_lazy(
        "Say where the class or type comes from."
    ),
}


def _labels() -> dict[str, str]:
    words: tuple[type[StrEnum], ...] = (
        Kind,
        Site,
        Role,
        Quantity,
        Position,
        Method,
        Cementation,
        OcclusalSurface,
        ToothClass,
    )
    return {term.value: label(term) for group in words for term in group}


_LABELS = _labels()


def listed(terms: Iterable[str]) -> str:
    """Return the labels of terms, parted by commas; empty for none."""
    return ", ".join(_(place(term)) for term in terms)


def kinds_words(kinds: Sequence[str]) -> str:
    """Return kinds of restoration as a heading ("Crown, retainer")."""
    return capfirst(", ".join(_(_LABELS.get(kind, kind)) for kind in kinds))


def condition_words(shared: Mapping[str, Any]) -> str:
    """Return what lines of one section have in common, as its heading."""
    parts = [kinds_words(shared.get("kinds") or ())]
    parts += [
        _(_LABELS.get(word, word))
        for key in ("cementation", "occlusal_surface")
        if (word := shared.get(key))
    ]
    if classes := shared.get("classes"):
        parts.append(", ".join(_(_LABELS.get(word, word)) for word in classes))
    return " · ".join(part for part in parts if part)


def place_words(site: str) -> str:
    """Return a site or cusp role, capitalised; unknown codes as they stand."""
    return capfirst(_(place(site)))


def place_choices() -> Choices:
    """Return cusp roles and sites as choices, roles first: most lines use them."""
    return [(term.value, capfirst(_(label(term)))) for term in (*Role, *Site)]


def material_name(rule_set: RuleSet, key: str) -> str:
    """Return what a material is called in a rule set."""
    known = rule_set.material(key)
    return _(known.label) if known else key


def built(
    thickness: Decimal, decision: Mapping[str, Decimal], least: Decimal | None = None
) -> str:
    """Return how a need is summed from a thickness ("0.6 + 0.05 + 0.15 = 0.80")."""
    cement, adjustment = decision["cement_space_mm"], decision["adjustment_mm"]
    total = thickness + cement + adjustment if least is None else least
    summands = " + ".join(exact(part) for part in (thickness, cement, adjustment))
    # Two decimals at least, so that 0.80 does not look like a figure typed as 0.8.
    text = exact(total)
    return f"{summands} = {text if len(text.partition('.')[2]) > 1 else f'{total:.2f}'}"


def need_words(need: Need | Mapping[str, Any]) -> str:
    """Return which line this is ("Functional cusp, clearance")."""
    site = need.site if isinstance(need, Need) else str(need.get("site", ""))
    quantity = need.quantity if isinstance(need, Need) else need.get("quantity", "")
    parts = [place_words(site)] if site else []
    parts += [_(_LABELS.get(str(quantity), str(quantity)))] if quantity else []
    return ", ".join(parts)


def _word(value: str) -> str:
    return _(_LABELS[value]) if value in _LABELS else value


def rule_fault(
    fault: InvalidField, other: Callable[[str], str] = lambda pointer: pointer
) -> str:
    """Return one fault as a page says it; ``other`` names the line at a pointer."""
    params = dict(fault.params)
    key = fault.pointer.rsplit("/", 1)[-1]
    if fault.message == _MISSING_TEMPLATE and params["key"] in _MISSING:
        return str(_MISSING[params["key"]])
    if fault.message in _CLOSED:
        return str(_MISSING.get(key, _("Choose one from the list.")))
    if fault.message == _EMPTY_LIST:
        return str(_MISSING.get(key, _("Tick at least one.")))
    if fault.message == _RIVAL:
        return _("This line and “{other}” answer the same question.").format(
            other=other(params["other"])
        )
    template = str(_INSTEAD.get(fault.message) or _(fault.message))
    return template.format(**{name: _word(text) for name, text in params.items()})


_NEED_AT = re.compile(r"/needs/([0-9]+)")


def need_at(document: Mapping[str, Any], pointer: str) -> str:
    """Return which line of a document a pointer means; empty for anything else."""
    found = _NEED_AT.match(pointer)
    needs = document.get("needs", ())
    if found is None or int(found[1]) >= len(needs):
        return ""
    need = needs[int(found[1])]
    names = {m["key"]: m["label"] for m in document.get("materials", ())}
    name = names.get(need.get("material"), need.get("material", ""))
    kinds = kinds_words(need.get("kinds", ()))
    return f"{_(name)}, {kinds}: {need_words(need)}"
