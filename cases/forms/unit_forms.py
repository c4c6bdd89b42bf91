"""The forms of one unit: what is made of what, against what.

Shape only: choices are offered, and the rule core judges what is sent.
"""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.text import capfirst
from django.utils.translation import gettext as _translated
from django.utils.translation import gettext_lazy as _

from cases.forms.fields import OpenChoice, length_input, with_current
from cases.forms.vocabulary import (
    QUADRANTS,
    Choices,
    kind_choices,
    material_choices,
    term_choices,
    tooth_words,
)
from rules.requirements import RuleSet
from rules.teeth import PERMANENT_TEETH, arch, site_label
from rules.terms import (
    Antagonist,
    Cementation,
    Kind,
    OcclusalSurface,
    Relation,
    Retention,
    Wall,
)

__all__ = ["IMPLANT", "PARTIAL", "WALLS", "AntagonistForm", "UnitForm"]

WALLS = tuple(f"wall_heights_mm-{wall.value}" for wall in Wall)

# What is laid on a part of the tooth may leave required sites out.
PARTIAL = (Kind.INLAY, Kind.ONLAY, Kind.VENEER)

# Asked of an implant crown only.
IMPLANT = ("retention", "abutment")

# Beside their label these need no second noun.
_SHORT = {
    OcclusalSurface.CERAMIC: _("Ceramic"),
    OcclusalSurface.METAL: _("Metal"),
    Cementation.ADHESIVE: _("Adhesive"),
    Cementation.CONVENTIONAL: _("Conventional"),
}


def _tooth_choices(system: str, *, opposite: str = "") -> Choices:
    teeth = [t for _name, row in QUADRANTS for t in row]
    if opposite in PERMANENT_TEETH:
        teeth = [t for t in teeth if arch(t) is not arch(opposite)]
    return [(tooth, tooth_words(tooth, system)) for tooth in teeth]


class _RowForm(forms.Form):
    """A form of texts whose values the rule core judges."""

    def text(self, name: str) -> str:
        """Return what stands in a field."""
        return str(self.data.get(self.add_prefix(name)) or "").strip()

    def _offer(self, name: str, listed: Choices) -> None:
        offered = self.fields[name]
        assert isinstance(offered, OpenChoice)  # noqa: S101 -- declared so above
        offered.choices = with_current(listed, self.text(name))

    def _offer_material(self, rule_set: RuleSet) -> None:
        self._offer("material", [("", "–"), *material_choices(rule_set)])
        material = rule_set.material(self.text("material"))
        surfaces = material.occlusal_surfaces if material else ()
        if surfaces:
            self._offer(
                "occlusal_surface", [(s.value, str(_SHORT[s])) for s in surfaces]
            )
        else:
            del self.fields["occlusal_surface"]
        if "cementation" not in self.fields:
            return
        cementations = material.cementations if material else ()
        if len(cementations) > 1:
            self._offer(
                "cementation", [(c.value, str(_SHORT[c])) for c in cementations]
            )
        else:
            del self.fields["cementation"]


class AntagonistForm(_RowForm):
    """What is planned on a prepared opposing tooth."""

    tooth = OpenChoice(label=_("Opposing tooth"), required=False)
    kind = OpenChoice(label=_("Made there"), required=False)
    material = OpenChoice(label=_("Material there"), required=False)
    occlusal_surface = OpenChoice(label=_("Occlusal surface there"), required=False)

    def __init__(
        self,
        data: Mapping[str, Any],
        *,
        prefix: str,
        rule_set: RuleSet,
        system: str,
        opposite: str,
    ) -> None:
        super().__init__(data, prefix=prefix)
        teeth = _tooth_choices(system, opposite=opposite)
        self._offer("tooth", [("", "–"), *teeth])
        unit, _antagonists, row = prefix.split("-")[1:]
        # What the page's buttons say to take this row away.
        self.action = f"antagonist-{unit}-{row}"
        self._offer("kind", kind_choices(self.text("tooth")))
        self._offer_material(rule_set)


class UnitForm(_RowForm):
    """One tooth's restoration: what is made, of what, against what."""

    tooth = OpenChoice(label=_("Tooth"), required=False)
    kind = OpenChoice(label=_("Restoration"), required=False)
    material = OpenChoice(label=_("Material"), required=False)
    occlusal_surface = OpenChoice(label=_("Occlusal surface"), required=False)
    cementation = OpenChoice(label=_("Cementation"), required=False)
    relation = OpenChoice(label=_("How the teeth meet"), required=False)
    antagonist = OpenChoice(label=_("Opposing tooth"), required=False)
    planned_plane = forms.BooleanField(
        label=_("A wax-up, index or provisional fixes how the gap is split"),
        required=False,
    )
    span = OpenChoice(label=_("Bridge"), required=False)
    shade = forms.CharField(
        label=_("Shade of this unit"), required=False, max_length=40
    )
    finish_line = forms.CharField(
        label=_("Finish line"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"list": "finish-lines"}),
    )
    base_width_mm = forms.CharField(
        label=_("Width of the base"), required=False, widget=length_input()
    )
    convergence_deg = forms.CharField(
        label=_("Total occlusal convergence, degrees"),
        required=False,
        widget=length_input(),
    )
    dentine_mm = forms.CharField(
        label=_("Dentine left over the pulp"), required=False, widget=length_input()
    )
    retention = OpenChoice(label=_("Held by"), required=False)
    abutment = forms.CharField(
        label=_("Abutment"),
        required=False,
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(
        self,
        data: Mapping[str, Any],
        *,
        prefix: str,
        rule_set: RuleSet,
        system: str,
    ) -> None:
        super().__init__(data, prefix=prefix)
        self._offer("tooth", _tooth_choices(system))
        self._offer("kind", kind_choices(self.text("tooth")))
        self._offer_material(rule_set)
        self._offer("relation", term_choices(Relation))
        self._offer("antagonist", term_choices(Antagonist))
        spans = [(str(n), str(_("Bridge {n}")).format(n=n)) for n in range(1, 5)]
        self._offer("span", [("", str(_("single tooth"))), *spans])
        if self.text("kind") == Kind.IMPLANT_CROWN:
            self._offer("retention", [("", "–"), *term_choices(Retention)])
        else:
            for name in IMPLANT:
                del self.fields[name]
        self.left_out = self._left_out(rule_set)
        for name, wall in zip(WALLS, term_choices(Wall), strict=True):
            self.fields[name] = forms.CharField(
                label=wall[1], required=False, widget=length_input()
            )

    def _left_out(self, rule_set: RuleSet) -> dict[str, str]:
        """Offer what a partial restoration may leave out; return site → field."""
        tooth, kind = self.text("tooth"), self.text("kind")
        relation = self.text("relation") or Relation.NORMAL
        known = tooth in PERMANENT_TEETH and relation in set(Relation)
        if not known or kind not in PARTIAL:
            return {}
        sites = rule_set.required(tooth, Kind(kind), Relation(relation))
        if len(sites) < 2:
            return {}
        found = {site.value: f"left_out-{site.value}" for site in sites}
        for site in sites:
            self.fields[found[site.value]] = forms.BooleanField(
                label=capfirst(_translated(site_label(site, tooth))), required=False
            )
        return found

    @property
    def uncovered(self) -> list[BoundField]:
        """The fields of the sites a partial restoration may leave out."""
        return [self[name] for name in self.left_out.values()]

    @property
    def walls(self) -> list[BoundField]:
        """The fields of the wall heights."""
        return [self[name] for name in WALLS]
