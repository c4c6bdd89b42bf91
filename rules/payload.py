"""JSON body of POST check -> request values; result -> JSON body.

Every fault of a body is collected with its JSON pointer. Nothing here recurses on
the input: each level is walked by its own code, so depth cannot hurt.
"""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from rules.connector_reader import read_connectors
from rules.errors import InvalidPayload
from rules.reader import Faults, Read, at, flag, length, text
from rules.readings import plain
from rules.request import CheckRequest, Unit
from rules.requirements import RuleSet
from rules.results import CaseCheck, Option, SiteCheck, SpanCheck, UnitCheck
from rules.together import check_connectors, check_together
from rules.unit_reader import read_unit

__all__ = ["MAX_UNITS", "check_json", "dump_request", "parse_check", "parse_units"]


def _(text: str) -> str:
    return text


MAX_UNITS = 60


def parse_check(data: object, *, rule_set: RuleSet) -> CheckRequest:
    """Return the check a JSON body asks for.

    Raises:
        InvalidPayload: ``faults`` holds every fault with its pointer.
    """
    faults = Faults()
    required = {"units": _units(rule_set)}
    row = faults.fields(data, "", required=required, optional=_OPTIONAL)
    connectors = row.get("connectors", ())
    if "units" in row:
        check_connectors(faults, connectors, row["units"])
    if "laboratory" in row and "rule_set" in row:
        faults.add(
            "/rule_set",
            _("State either laboratory or rule_set: each names a rule set."),
        )
    if faults.items:
        raise InvalidPayload(faults.items)
    return CheckRequest(
        units=row["units"],
        k=row.get("decision"),
        laboratory=row.get("laboratory"),
        rule_set=row.get("rule_set"),
        connectors=tuple(connector for _pointer, connector in connectors),
        explain=row.get("explain", False),
    )


def parse_units(
    units: object, *, rule_set: RuleSet, pointer: str = "/units"
) -> tuple[Unit, ...]:
    """Return the units of a JSON list, for requests and case drafts alike.

    Raises:
        InvalidPayload: ``faults`` holds every fault with its pointer.
    """
    faults = Faults()
    found: tuple[Unit, ...] = _units(rule_set)(faults, units, pointer)
    if faults.items:
        raise InvalidPayload(faults.items)
    return found


def _decision(faults: Faults, value: object, pointer: str) -> Decimal | None:
    row = faults.fields(
        value, pointer, required={"k": length("0", "5", 4)}, optional={}
    )
    return row.get("k")


_OPTIONAL: dict[str, Read] = {
    "decision": _decision,
    "laboratory": text(40),
    "rule_set": text(64),
    "connectors": read_connectors,
    "explain": flag,
}


def _units(rule_set: RuleSet) -> Read:
    def read(faults: Faults, value: object, pointer: str) -> tuple[Unit, ...]:
        items = faults.sequence(value, pointer, at_most=MAX_UNITS, at_least=1)
        found: list[tuple[str, Unit]] = []
        for index, item in enumerate(items or ()):
            unit = read_unit(faults, item, at(pointer, index), rule_set)
            if unit is not None:
                found.append((at(pointer, index), unit))
        check_together(faults, found)
        return tuple(unit for _pointer, unit in found)

    return read


def check_json(result: CaseCheck) -> dict[str, Any]:
    """Return a result as the JSON body of the answer; ``spans`` where there is one."""
    body: dict[str, Any] = {
        "rule_set": {
            "name": result.rule_set_name,
            "version": result.rule_set_version,
            "digest": result.rule_set_digest,
        },
        "verdict": result.verdict.value,
        "units": [_unit_json(unit) for unit in result.units],
    }
    if result.spans:
        body["spans"] = [_span_json(span) for span in result.spans]
    return body


def _unit_json(unit: UnitCheck) -> dict[str, Any]:
    return {
        "tooth": unit.tooth,
        "verdict": unit.verdict.value,
        "sites": [_site_json(site) for site in unit.sites],
        "options": [_option_json(option) for option in unit.options],
    }


def _site_json(site: SiteCheck) -> dict[str, Any]:
    found: dict[str, Any] = {
        "site": site.site.value,
        "role": site.role.value if site.role else None,
        "quantity": site.quantity.value,
        "verdict": site.verdict.value,
        "need_mm": _mm(site.need_mm),
        "target_mm": _mm(site.target_mm),
        "measured_mm": None,
    }
    if site.measured:
        found["measured_mm"] = {"low": _mm(site.low_mm), "high": _mm(site.high_mm)}
    if site.u_mm is not None:
        found["u_mm"] = float(round(site.u_mm, 4))
    position, chance = site.governing_position, site.conformance_probability
    found["governing_position"] = position.value if position else None
    found["shortage_mm"] = None
    if site.shortage_low_mm is not None:
        found["shortage_mm"] = {
            "low": _mm(site.shortage_low_mm),
            "high": _mm(site.shortage_high_mm),
        }
    found["conformance_probability"] = None if chance is None else round(chance, 6)
    found["source"] = site.source
    # The answer has one text per site: what to do, then what else to know.
    found["advice"] = " ".join(message.text() for message in site.sentences)
    found["alternatives"] = [
        {"min_mm": _mm(other.min_mm), "source": other.source, "note": other.note}
        for other in site.alternatives
    ]
    if site.derivation:
        found["derivation"] = [message.text() for message in site.derivation]
    return found


_CHOSEN = ("material", "occlusal_surface", "cementation", "referral", "retention")


def _option_json(option: Option) -> dict[str, Any]:
    found: dict[str, Any] = {"kind": option.kind}
    for key in _CHOSEN:
        value = getattr(option, key)
        if value is not None:
            found[key] = str(value)
    if option.abutment:
        found["abutment"] = True
    found["feasible"] = option.feasible
    found["reasons"] = [message.text() for message in option.reasons]
    if option.depth_mm:
        found["depth_mm"] = {
            site.value: {"low": _mm(low), "high": _mm(high)}
            for site, low, high in option.depth_mm
        }
    found["removal_mm"] = _mm(option.removal_mm)
    found["consequences"] = [message.text() for message in option.consequences]
    return found


def _span_json(span: SpanCheck) -> dict[str, Any]:
    return {
        "span": span.span,
        "teeth": list(span.teeth),
        "pontics": span.pontics,
        "cantilever": span.cantilever,
        "material": span.material,
        "iso_6872_class_needed": span.iso_6872_class_needed,
        "connector_mm2": _mm(span.connector_mm2),
        "deflection_index": span.deflection_index,
        "faults": [message.text() for message in span.faults],
        "notes": [message.text() for message in span.notes],
    }


def _mm(length_mm: Decimal | None) -> float | None:
    """Return a length as a JSON number with two decimals; -0 is 0."""
    if length_mm is None:
        return None
    return float(length_mm.quantize(Decimal("0.01"), ROUND_HALF_UP)) + 0.0


def dump_request(request: CheckRequest) -> dict[str, Any]:
    """Return a request as a JSON body that reads back equal (lengths as text)."""
    found: dict[str, Any] = {"units": [_dump_unit(unit) for unit in request.units]}
    if request.k is not None:
        found["decision"] = {"k": plain(request.k)}
    for key in ("laboratory", "rule_set"):
        if getattr(request, key) is not None:
            found[key] = getattr(request, key)
    if request.connectors:
        found["connectors"] = [
            _stated(connector) | {"between": list(connector.between)}
            for connector in request.connectors
        ]
    if request.explain:
        found["explain"] = True
    return found


def _dump_unit(unit: Unit) -> dict[str, Any]:
    found = _stated(
        unit, skip=("antagonists", "not_applicable", "readings", "wall_heights_mm")
    )
    # A flag that is off is left out.
    found["readings"] = [
        _stated(reading, skip=() if reading.stale else ("stale",))
        for reading in unit.readings
    ]
    if unit.antagonists:
        found["antagonists"] = [_stated(facing) for facing in unit.antagonists]
    if unit.not_applicable:
        found["not_applicable"] = list(unit.not_applicable)
    if unit.wall_heights_mm:
        found["wall_heights_mm"] = {
            wall.value: plain(height) for wall, height in unit.wall_heights_mm
        }
    return found


def _stated(row: Any, skip: tuple[str, ...] = ()) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in row.__dataclass_fields__:
        value = getattr(row, name)
        if name not in skip and value is not None:
            found[name] = plain(value) if isinstance(value, Decimal) else value
    return found
