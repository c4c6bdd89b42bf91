"""The verdict of units that are only being typed: the same core, nothing stored."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django.utils.translation import gettext as _

from cases.errors import Invalid
from cases.forms.unit_rows import UnitsEditor
from cases.services.checks import evaluate
from cases.services.units import core_unit, invalid_from
from cases.views.figures import UnitPanel, unit_panel
from rules.errors import InvalidPayload
from rules.requirements import RuleSet

if TYPE_CHECKING:
    from cases.models import Unit

__all__ = ["LiveVerdict", "judged", "live_verdict"]


@dataclass(frozen=True, slots=True)
class _Planned:
    """A unit that is no row yet, with what a panel reads of a unit."""

    pk: int
    tooth: str
    kind: str
    material: str
    occlusal_surface: str = ""
    cementation: str = ""
    relation: str = "normal"
    antagonist: str = "natural"
    span: str = ""
    shade: str = ""
    finish_line: str = ""


@dataclass(frozen=True, slots=True)
class LiveVerdict:
    """What the check says of the units as they stand on the page."""

    verdict: str
    panels: tuple[UnitPanel, ...]
    rule_set: str

    @property
    def short(self) -> bool:
        """Whether some unit is not sufficient yet."""
        return self.verdict != "sufficient"

    @property
    def line(self) -> str:
        """One sentence for the ear: the verdict and the first short site."""
        for panel in self.panels:
            for site in panel.sites:
                if site.verdict == self.verdict and site.verdict != "sufficient":
                    told = ", ".join(p for p in (site.label, site.shortage) if p)
                    return f"{panel.tooth}: {_(site.verdict)}, {told}"
        return _(self.verdict)


def judged(
    units: Sequence[Mapping[str, Any]],
    *,
    rule_set: RuleSet,
    system: str,
) -> LiveVerdict:
    """Return the verdict of units in the shape of the check.

    Raises:
        Invalid: every value the check cannot use.
    """
    core = [core_unit(unit) for unit in units]
    try:
        result = evaluate(rule_set, {"units": core})
    except InvalidPayload as error:
        raise invalid_from(error.faults) from error
    names = _Planned.__dataclass_fields__
    panels = tuple(
        unit_panel(
            cast(  # the panel reads nothing else of a unit
                "Unit",
                _Planned(pk=n, **{k: v for k, v in unit.items() if k in names}),
            ),
            result=result,
            readings=(),
            grounds={},
            rule_set=rule_set,
            system=system,
        )
        for n, unit in enumerate(units)
    )
    return LiveVerdict(result["verdict"], panels, f"{rule_set.name} {rule_set.version}")


def live_verdict(editor: UnitsEditor) -> LiveVerdict | None:
    """Return the verdict of an editor's units; faults go to their fields.

    None: nothing to judge yet, or something that cannot be judged.
    """
    units = editor.json()
    if not editor.is_valid() or not units:
        return None
    try:
        return judged(units, rule_set=editor.rule_set, system=editor.system)
    except Invalid as error:
        editor.add(error)
        return None
