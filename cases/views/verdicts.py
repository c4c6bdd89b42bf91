"""The verdict of units that are only being typed: the same core, nothing stored."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django.utils.translation import gettext as _

from cases.errors import Invalid, InvalidField
from cases.forms.unit_rows import UnitsEditor
from cases.services.checks import evaluate
from cases.services.units import core_unit, invalid_from, with_figures
from cases.tenancy import Actor
from cases.views.figures import UnitPanel, unit_panel
from cases.views.span_rows import SpanRow, span_rows
from rules.errors import InvalidPayload
from rules.requirements import RuleSet

if TYPE_CHECKING:
    from cases.models import Unit

__all__ = ["LiveVerdict", "judged", "live_verdict"]

# What an instrument adds beside its figures; the check does not ask for it.
_TOLD = ("u_origin", "instrument_label")


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
    spans: tuple[SpanRow, ...] = ()

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


def _core(unit: Mapping[str, Any]) -> dict[str, Any]:
    """Return a unit without what only the prescription and its readings say."""
    core = core_unit(unit)
    readings = [
        {k: v for k, v in reading.items() if k not in _TOLD}
        for reading in core["readings"]
    ]
    return {**core, "readings": readings}


def judged(
    units: Sequence[Mapping[str, Any]],
    *,
    rule_set: RuleSet,
    system: str,
    actor: Actor | None = None,
    connectors: Sequence[Mapping[str, Any]] = (),
) -> LiveVerdict:
    """Return the verdict of units in the shape of the check.

    With an actor the readings take the figures of the instruments they name and of
    the studies of the actor's organisation.

    Raises:
        Invalid: every value the check cannot use.
    """
    faults: tuple[InvalidField, ...] = ()
    if actor is not None:
        try:
            units = with_figures(units, actor=actor, rule_set=rule_set)
        except Invalid as error:
            faults = error.fields
    body: dict[str, Any] = {
        "units": [_core(unit) for unit in units],
        "explain": True,
    }
    if connectors:
        body["connectors"] = list(connectors)
    try:
        result = evaluate(rule_set, body)
    except InvalidPayload as error:
        raise Invalid(*faults, *invalid_from(error.faults).fields) from error
    if faults:
        raise Invalid(*faults)
    names = _Planned.__dataclass_fields__
    planned = [
        cast(  # the panel reads nothing else of a unit
            "Unit",
            _Planned(pk=n, **{k: v for k, v in unit.items() if k in names}),
        )
        for n, unit in enumerate(units)
    ]
    panels = tuple(
        unit_panel(
            unit,
            result=result,
            readings=(),
            grounds={},
            rule_set=rule_set,
            system=system,
        )
        for unit in planned
    )
    return LiveVerdict(
        result["verdict"],
        panels,
        f"{rule_set.name} {rule_set.version}",
        span_rows(result, body, planned, rule_set=rule_set, system=system),
    )


def live_verdict(editor: UnitsEditor) -> LiveVerdict | None:
    """Return the verdict of an editor's units; faults go to their fields.

    None: nothing to judge yet, or something that cannot be judged.
    """
    units = editor.json()
    if not editor.is_valid() or not units:
        return None
    try:
        return judged(
            units,
            rule_set=editor.rule_set,
            system=editor.system,
            actor=editor.actor,
            connectors=editor.connectors_json(),
        )
    except Invalid as error:
        editor.add(error)
        return None
