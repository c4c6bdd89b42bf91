"""The form of a material: a class, or a laboratory's own product under one."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

from django import forms
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.forms.fields import with_current
from cases.forms.rule_sets import VersionForm, line_field
from cases.forms.vocabulary import term_choices
from rules.requirements import Material
from rules.terms import Cementation, OcclusalSurface

__all__ = ["MaterialForm", "material_key"]


def material_key(name: str, taken: Sequence[str]) -> str:
    """Return a key for a new material: its name in plain letters, unless taken."""
    plain = slugify(name).replace("-", "_")[:36] or "product"
    found, number = plain, 2
    while found in taken:
        found, number = f"{plain}_{number}", number + 1
    return found


class MaterialForm(VersionForm):
    """What a material or product is: its class, its instructions, its strength."""

    label = line_field(
        gettext_lazy("Name"),
        most=80,
        error_messages={"required": gettext_lazy("Enter the name of the product.")},
    )
    under = forms.ChoiceField(
        label=gettext_lazy("Stands under the class"),
        help_text=gettext_lazy(
            "Where the product has no line of its own, the class's line holds."
        ),
        error_messages={"required": gettext_lazy("Choose the class it belongs to.")},
    )
    instructions = line_field(
        gettext_lazy("Instructions for use"),
        hint=gettext_lazy("Title, edition and date, as printed on them."),
        error_messages={
            "required": gettext_lazy(
                "Name the instructions for use its lines are from."
            )
        },
    )
    cementations = forms.MultipleChoiceField(
        label=gettext_lazy("Offered with"),
        choices=term_choices(Cementation),
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": gettext_lazy("Tick at least one way of cementation.")
        },
    )
    usual = forms.ChoiceField(
        label=gettext_lazy("Usual cementation"),
        help_text=gettext_lazy("Meant where a prescription names none."),
        choices=term_choices(Cementation),
    )
    occlusal_surfaces = forms.MultipleChoiceField(
        label=gettext_lazy("Occlusal surfaces, if there is a choice"),
        choices=term_choices(OcclusalSurface),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    usual_surface = forms.ChoiceField(
        label=gettext_lazy("Usual occlusal surface"),
        choices=[("", "–"), *term_choices(OcclusalSurface)],
        required=False,
    )
    iso_6872_class = forms.ChoiceField(
        label=gettext_lazy("ISO 6872 class (ceramic)"),
        required=False,
        choices=[("", "–"), *((str(n), str(n)) for n in range(1, 6))],
    )
    iso_22674_type = forms.ChoiceField(
        label=gettext_lazy("ISO 22674 type (metal)"),
        required=False,
        choices=[("", "–"), *((str(n), str(n)) for n in range(6))],
    )
    strength_source = line_field(
        gettext_lazy("Where class or type comes from"),
        required=False,
        widget=forms.TextInput(attrs={"list": "sources"}),
    )

    def __init__(
        self, *args: Any, classes: Sequence[Material], product: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if product:
            field = cast(forms.ChoiceField, self.fields["under"])
            chosen = str(self.data.get("under") or self.initial.get("under") or "")
            listed = [("", _("Choose")), *((m.key, _(m.label)) for m in classes)]
            field.choices = with_current(listed, chosen)
        else:
            del self.fields["under"]
            self.fields["instructions"].required = False

    @classmethod
    def stored(cls, row: Mapping[str, Any]) -> dict[str, Any]:
        """Return a stored material as the form's initial values."""
        surfaces = row.get("occlusal_surfaces") or [""]
        return {
            **row,
            "usual": row["cementations"][0],
            "usual_surface": surfaces[0],
        }

    def material(self, key: str, kept: Mapping[str, Any]) -> dict[str, Any]:
        """Return the material in canonical form; ``kept`` is what the page leaves."""
        given = self.cleaned_data
        found: dict[str, Any] = {**kept, "key": key, "label": given["label"]}
        found["cementations"] = _usual_first(given["usual"], given["cementations"])
        chosen = _usual_first(given["usual_surface"], given["occlusal_surfaces"])
        found |= {"occlusal_surfaces": chosen} if chosen else {}
        for name in ("under", "instructions", "strength_source"):
            if given.get(name):
                found[name] = given[name]
        for name in ("iso_6872_class", "iso_22674_type"):
            if given[name]:
                found[name] = int(given[name])
        return found


def _usual_first(usual: str, ticked: Sequence[str]) -> list[str]:
    """Return what is ticked, the usual one first whether ticked or not."""
    if not ticked:
        return []
    return [*([usual] if usual else []), *(each for each in ticked if each != usual)]
