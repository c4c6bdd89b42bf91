"""The bridges of a stored check: teeth in arch order, connectors, limits, bending."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.drawings.clearance_chart import Captions, mm_text
from cases.forms.vocabulary import material_words, tooth_name, tooth_number
from cases.services.checks import rule_set_for
from cases.tenancy import Actor
from cases.views.captions import length
from rules.beams import connector_areas
from rules.numbers import parse_mm
from rules.terms import Kind, label

if TYPE_CHECKING:
    from cases.models import Unit
    from cases.selectors.cases import CaseDetail
    from rules.requirements import RuleSet

__all__ = ["SpanLink", "SpanRow", "bridges", "span_rows"]

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SpanLink:
    """One tooth of a bridge and the connector to the next one, as planned."""

    number: str
    name: str
    kind: str
    hangs: bool
    connector: str


@dataclass(frozen=True, slots=True)
class SpanRow:
    """One bridge in words; ``faults`` are limits it breaks."""

    title: str
    links: tuple[SpanLink, ...]
    facts: tuple[tuple[str, str], ...]
    faults: tuple[str, ...]
    notes: tuple[str, ...]


def bridges(detail: "CaseDetail", actor: Actor) -> tuple[SpanRow, ...]:
    """Return the bridges of the check in force."""
    check = detail.case.current_check
    return span_rows(
        check.result if check else None,
        check.request if check else None,
        detail.units,
        rule_set=rule_set_for(detail.case.rule_set_digest),
        system=actor.tooth_system,
    )


def span_rows(
    result: Json | None,
    request: Json | None,
    units: Sequence["Unit"],
    *,
    rule_set: "RuleSet",
    system: str,
) -> tuple[SpanRow, ...]:
    """Return the bridges a check found; none where none was judged yet.

    ``request`` is the check's own: it holds the connectors it was judged with.
    """
    kinds = {unit.tooth: unit.kind for unit in units}
    planned = {
        tuple(each["between"]): each for each in (request or {}).get("connectors", ())
    }
    return tuple(
        SpanRow(
            title=_("Bridge {teeth}").format(
                teeth="–".join(tooth_number(t, system) for t in span["teeth"])
            ),
            links=_links(span["teeth"], kinds, planned, system),
            facts=tuple(_facts(span, rule_set)),
            faults=tuple(span["faults"]),
            notes=tuple(span["notes"]),
        )
        for span in (result or {}).get("spans", ())
    )


def _links(
    teeth: Sequence[str],
    kinds: Mapping[str, str],
    planned: Mapping[tuple[str, ...], Json],
    system: str,
) -> tuple[SpanLink, ...]:
    following = [*teeth[1:], ""]
    return tuple(
        SpanLink(
            number=tooth_number(tooth, system),
            name=tooth_name(tooth),
            kind=_(label(Kind(kinds[tooth]))) if tooth in kinds else "",
            hangs=kinds.get(tooth) == Kind.PONTIC,
            connector=_connector(
                planned.get((tooth, after)) or planned.get((after, tooth))
            ),
        )
        for tooth, after in zip(teeth, following, strict=True)
    )


def _connector(planned: Json | None) -> str:
    """Return size and section of a planned connector; empty where none is stated.

    The section lies between an ellipse and a rectangle of that height and width.
    """
    if planned is None:
        return ""
    said = Captions()
    high, wide = (_planned_mm(planned[key]) for key in ("height_mm", "width_mm"))
    least, most = (mm_text(area, said) for area in connector_areas(high, wide))
    return _("{high} × {wide} mm, {least} to {most} mm²").format(
        high=mm_text(high, said), wide=mm_text(wide, said), least=least, most=most
    )


def _planned_mm(value: object) -> Decimal:
    """Return a length as the check read it; "3,5" is 3.5."""
    return parse_mm(value, minimum=Decimal(0), maximum=Decimal(20))


def _facts(span: Json, rule_set: "RuleSet") -> list[tuple[str, str]]:
    """Return what is known of a bridge; what is not known is left out."""
    pontics = int(span["pontics"])
    area = length(span.get("connector_mm2"))
    rows = [
        (
            _("Material"),
            material_words(rule_set, span["material"]) if span["material"] else "",
        ),
        (
            _("Longest run"),
            ngettext(
                "{number} pontic", "{number} pontics in a row", pontics
            ).format(number=pontics)
            if pontics
            else "",
        ),
        (
            _("Strength class needed (ISO 6872)"),
            str(span.get("iso_6872_class_needed") or ""),
        ),
        (
            _("Least section of a connector"),
            "" if area is None else f"{mm_text(area, Captions())} mm²",
        ),
    ]  # fmt: skip
    return [(name, value) for name, value in rows if value]
