"""What a plan is asked for, as an address: tooth, restoration, material, antagonist.

Shape only. The rule core reads the unit as it reads every other, so that page, check
and API refuse the same things.
"""

from collections.abc import Mapping
from typing import Any

from cases.forms.core_words import people_text
from cases.forms.unit_forms import UnitForm
from cases.forms.vocabulary import tooth_words
from cases.services.units import invalid_from
from rules.errors import InvalidPayload
from rules.guide import Plan, plan_for
from rules.payload import parse_units
from rules.requirements import RuleSet
from rules.teeth import PERMANENT_TEETH, faces
from rules.terms import Antagonist, Kind, Relation

__all__ = ["FACING", "PLANNED", "GuideSheet"]

PLANNED = (
    "tooth",
    "kind",
    "material",
    "occlusal_surface",
    "cementation",
    "relation",
    "antagonist",
)
FACING = ("tooth", "kind", "material", "occlusal_surface")
_USUAL = {
    "kind": Kind.CROWN.value,
    "relation": Relation.NORMAL.value,
    "antagonist": Antagonist.NATURAL.value,
    "facing-kind": Kind.CROWN.value,
}


class GuideSheet:
    """The form of the guide and the plan it asks for.

    ``facing`` is the form of the unit on a prepared antagonist, else None; ``plan``
    is None until tooth and material are chosen, or where something cannot be used.
    """

    def __init__(
        self, data: Mapping[str, str], *, rule_set: RuleSet, system: str
    ) -> None:
        texts = {**_USUAL, **{key: value for key, value in data.items() if value}}
        common: dict[str, Any] = {"rule_set": rule_set, "system": system}
        self.rule_set, self.system = rule_set, system
        self.form = UnitForm(texts, prefix="", **common)
        self.facing: UnitForm | None = None
        if self.form.text("antagonist") == Antagonist.PREPARED:
            self.facing = UnitForm(texts, prefix="facing", **common)
            self._offer_facing(self.facing)
        self.problems: list[dict[str, str]] = []
        self.plan = self._plan() if self.begun else None

    def _offer_facing(self, facing: UnitForm) -> None:
        """Offer only the teeth this one can meet; what was sent stays to be judged."""
        tooth, sent = self.form.text("tooth"), facing.text("tooth")
        if tooth not in PERMANENT_TEETH:
            return
        found = [t for t in PERMANENT_TEETH if faces(tooth, t) or t == sent]
        facing.fields["tooth"].choices = [  # type: ignore[attr-defined]  # -- a ChoiceField
            ("", "–"),
            *((t, tooth_words(t, self.system)) for t in found),
        ]

    @property
    def begun(self) -> bool:
        """Whether tooth and material are chosen."""
        return bool(self.form.text("tooth") and self.form.text("material"))

    @property
    def tooth(self) -> str:
        """The tooth chosen, as it was sent."""
        return self.form.text("tooth")

    def stated(self) -> dict[str, str]:
        """Return what the address says of the unit, usual values included."""
        form = self.form
        names = [name for name in PLANNED if name in form.fields]
        return {name: form.text(name) for name in names if form.text(name)}

    def _unit(self) -> dict[str, Any]:
        unit: dict[str, Any] = {**self.stated(), "readings": []}
        if self.facing is not None and self.facing.text("tooth"):
            form = self.facing
            names = [name for name in FACING if name in form.fields]
            unit["antagonists"] = [
                {name: form.text(name) for name in names if form.text(name)}
            ]
        return unit

    def _plan(self) -> Plan | None:
        try:
            (unit,) = parse_units([self._unit()], rule_set=self.rule_set)
        except InvalidPayload as error:
            self._refuse(error)
            return None
        return plan_for(self.rule_set, unit)

    def _refuse(self, error: InvalidPayload) -> None:
        """Put every fault to its field."""
        for fault in invalid_from(error.faults).fields:
            *_path, name = fault.pointer.split("/")
            facing = "/antagonists/" in fault.pointer and self.facing is not None
            form = self.facing if facing and self.facing else self.form
            text = people_text(fault, system=self.system)
            field = name if name in form.fields else "tooth"
            form.add_error(field, text)
            self.problems.append({"href": f"#{form[field].auto_id}", "text": text})
