"""Teeth, sites and materials in the reader's words, and choices for forms.

Codes are stored and exchanged in ISO 3950; a clinic reads its own tooth system.
"""

from collections.abc import Iterable, Sequence
from enum import StrEnum

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from rules.requirements import Material, RuleSet
from rules.teeth import (
    PERMANENT_TEETH,
    arch,
    is_right,
    kind_fits,
    site_label,
    to_palmer,
    to_universal,
)
from rules.terms import Arch, Kind, Position, Site, label

__all__ = [
    "QUADRANTS",
    "Choices",
    "kind_choices",
    "material_choices",
    "material_words",
    "position_words",
    "site_words",
    "term_choices",
    "tooth_name",
    "tooth_number",
    "tooth_words",
]

Choices = list[tuple[str, str]]

# As one looks at the patient: upper right first, as the sheet lays them out.
QUADRANTS = (
    (gettext_lazy("Upper right"), tuple(f"1{p}" for p in range(8, 0, -1))),
    (gettext_lazy("Upper left"), tuple(f"2{p}" for p in range(1, 9))),
    (gettext_lazy("Lower right"), tuple(f"4{p}" for p in range(8, 0, -1))),
    (gettext_lazy("Lower left"), tuple(f"3{p}" for p in range(1, 9))),
)

_PLACES = (
    gettext_lazy("central incisor"),
    gettext_lazy("lateral incisor"),
    gettext_lazy("canine"),
    gettext_lazy("first premolar"),
    gettext_lazy("second premolar"),
    gettext_lazy("first molar"),
    gettext_lazy("second molar"),
    gettext_lazy("third molar"),
)


def tooth_number(tooth: str, system: str) -> str:
    """Return a permanent tooth in a tooth system; anything else as it stands."""
    if tooth not in PERMANENT_TEETH:
        return tooth
    if system == "universal":
        return to_universal(tooth)
    return to_palmer(tooth) if system == "palmer" else tooth


def tooth_name(tooth: str) -> str:
    """Return the anatomical name ("lower left first molar"); empty for no tooth."""
    if tooth not in PERMANENT_TEETH:
        return ""
    upper, right = arch(tooth) is Arch.UPPER, is_right(tooth)
    sides = {
        (True, True): _("upper right {place}"),
        (True, False): _("upper left {place}"),
        (False, True): _("lower right {place}"),
        (False, False): _("lower left {place}"),
    }
    return sides[upper, right].format(place=_PLACES[int(tooth[1]) - 1])


def tooth_words(tooth: str, system: str) -> str:
    """Return number and name ("36, lower left first molar")."""
    number, name = tooth_number(tooth, system), tooth_name(tooth)
    return f"{number}, {name}" if name else number


def site_words(site: str, tooth: str) -> str:
    """Return a site's name on a tooth, capitalised; unknown codes as they stand."""
    if site not in set(Site) or tooth not in PERMANENT_TEETH:
        return site
    return capfirst(_(site_label(Site(site), tooth)))


def position_words(position: str) -> str:
    """Return a jaw position's name; empty for none."""
    return _(label(Position(position))) if position in set(Position) else position


def term_choices(terms: Iterable[StrEnum]) -> Choices:
    """Return terms of the rule core as choices with their labels."""
    return [(term.value, capfirst(_(label(term)))) for term in terms]


def kind_choices(tooth: str) -> Choices:
    """Return the kinds of restoration that exist on a tooth (all, for none)."""
    known = tooth in PERMANENT_TEETH
    return term_choices(k for k in Kind if not known or kind_fits(tooth, k))


def material_choices(rule_set: RuleSet) -> Choices:
    """Return the materials of a rule set."""
    return [(m.key, _(m.label)) for m in rule_set.materials]


def material_words(
    rule_set: RuleSet, material: str, variant: Sequence[str | None] = ()
) -> str:
    """Return a material's name with occlusal surface and cementation, if stated."""
    found: Material | None = rule_set.material(material)
    parts = [_(found.label) if found else material]
    parts += [_(_VARIANTS.get(word, word)) for word in variant if word]
    return ", ".join(parts)


_VARIANTS = {
    "ceramic": "ceramic occlusal surface",
    "metal": "metal occlusal surface",
    "monolithic": "monolithic occlusal surface, facial layering only",
    "adhesive": "adhesive cementation",
    "conventional": "conventional cementation",
}
