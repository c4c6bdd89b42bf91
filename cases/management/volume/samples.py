"""Preparations as they come: units with readings, judged by the shipped rule set.

A few hundred are made once and told again in case after case, so that every stored
check is one the rule core has computed and can compute again.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import Any, Final

from cases.canonical import canonical_json, sha256_hex
from cases.models import Reading, Unit
from cases.services.checks import check_request
from rules.check import run_check
from rules.loader import shipped_rule_set
from rules.payload import check_json, parse_check
from rules.requirements import RuleSet
from rules.results import CaseCheck
from rules.teeth import arch, is_anterior
from rules.terms import Arch

__all__ = ["MATERIALS", "Sample", "class_of", "samples"]

MATERIALS: Final = (
    "metal_ceramic",
    "zirconia_3y",
    "lithium_disilicate",
    "zirconia_4y",
    "full_metal",
)
_CHANGED_TO = "zirconia_3y"
_CROWNS = ("16", "26", "36", "46", "47", "14", "25", "35", "44", "11", "22", "13")
_SPANS = (("34", "35", "36"), ("14", "15", "16"), ("45", "46", "47"))
_STRIPS = tuple(map(Decimal, ("0.50", "0.70", "1.00", "1.50", "2.00", "2.50", "3.00")))
_CLOSED = "maximal_intercuspation"
_POINTS = ("scan", "silicone_caliper")
# What a point reading lacks of the need, mm: one for each class of shortage.
_LACKING = tuple(map(Decimal, ("-0.50", "-0.02", "0.22", "0.40", "0.70")))
Lengths = Mapping[str, Decimal]


@dataclass(frozen=True, slots=True)
class Sample:
    """One prescription's work with its readings and what the check said of them.

    ``sites`` holds (tooth, site, quantity, verdict, need, low, high, point, above).
    ``redone``: the same work with room enough; ``changed``: the same readings in another
    material that they suffice for, where one is.
    """

    units: tuple[Unit, ...]
    readings: tuple[Reading, ...]
    connectors: tuple[dict[str, Any], ...]
    request: dict[str, Any]
    request_sha256: str
    result: dict[str, Any]
    verdict: str
    shortage: str
    sites: tuple[tuple[Any, ...], ...]
    redone: "Sample | None" = None
    changed: "Sample | None" = None

    @property
    def material(self) -> str:
        """The material of all units."""
        return self.units[0].material

    @property
    def parts(self) -> tuple[tuple[str, ...], ...]:
        """Restorations as groups of teeth: a bridge is one."""
        if self.units[0].span:
            return (tuple(unit.tooth for unit in self.units),)
        return tuple((unit.tooth,) for unit in self.units)

    @property
    def short(self) -> list[tuple[Any, ...]]:
        """The sites a query would name."""
        return [s for s in self.sites if s[3] in ("insufficient", "undecided")]

    @property
    def clearable(self) -> bool:
        """Whether everything short is within measuring uncertainty, at the need."""
        return all(s[3] == "undecided" and s[7] and s[8] for s in self.short)


def class_of(sites: Sequence[tuple[Any, ...]]) -> str:
    """Return the worst class of shortage of these sites.

    As the facts of the audit have it; here it only decides what is planted where.
    """
    short = [s for s in sites if s[3] == "insufficient"]
    if not short:
        undecided = any(s[3] == "undecided" for s in sites)
        return "undecided" if undecided else "sufficient"
    lacking = max(_lacking(s) for s in short)
    if lacking <= Decimal("0.25"):
        return "up_to_025"
    return "up_to_050" if lacking <= Decimal("0.50") else "over_050"


def _lacking(site: tuple[Any, ...]) -> Decimal:
    need, low, high = site[4], site[5], site[6]
    return Decimal(need) - (Decimal(low or high) + Decimal(high or low)) / 2


def _mm(value: Decimal | None) -> str | None:
    return None if value is None else f"{value:.2f}"


def _sites(computed: CaseCheck) -> Iterator[tuple[Any, ...]]:
    for unit in computed.units:
        for s in unit.sites:
            yield (
                *(unit.tooth, s.site.value, s.quantity.value, s.verdict.value),
                *(_mm(s.need_mm), _mm(s.low_mm), _mm(s.high_mm)),
                *(s.is_point, s.at_or_above_need),
            )


def _judged(
    rule_set: RuleSet,
    units: Sequence[Unit],
    readings: Sequence[Reading],
    connectors: Sequence[dict[str, Any]],
) -> Sample:
    request = check_request(units, readings, connectors)
    computed = run_check(rule_set, parse_check(request, rule_set=rule_set))
    result = check_json(computed)
    sites = tuple(_sites(computed))
    return Sample(
        units=tuple(units),
        readings=tuple(readings),
        connectors=tuple(connectors),
        request=request,
        request_sha256=sha256_hex(canonical_json(request)),
        result=result,
        verdict=result["verdict"],
        shortage=class_of(sites),
        sites=sites,
    )


def _places(tooth: str) -> tuple[tuple[str, str], ...]:
    """Return the sites that must be read, with their jaw position."""
    if not is_anterior(tooth):
        sites = ("buccal_cusps", "lingual_cusps", "central_fossa")
        return tuple((site, _CLOSED) for site in sites)
    if arch(tooth) is Arch.UPPER:
        return (
            ("lingual_surface", _CLOSED),
            ("lingual_surface", "protrusion"),
            ("incisal_edge", "protrusion"),
        )
    return (("facioincisal_surface", _CLOSED), ("incisal_edge", _CLOSED))


def _unit(tooth: str, position: int, material: str, kind: str, span: str) -> Unit:
    return Unit(
        position=position,
        tooth=tooth,
        kind=kind,
        material=material,
        occlusal_surface="ceramic" if material == "metal_ceramic" else "",
        span=span,
        finish_line="chamfer",
        # The database's own defaults are not there before a row is.
        retention="",
        abutment="",
        not_applicable=[],
    )


def _read(tooth: str, place: tuple[str, str], method: str, lengths: Lengths) -> Reading:
    return Reading(
        round=1,
        tooth=tooth,
        site=place[0],
        position=place[1],
        method=method,
        basis="scan" if method == "scan" else "mouth",
        side="clinic",
        **lengths,
    )


def _strip_lengths(need: Decimal, steps: int) -> Lengths | None:
    """Return what a strip says that reaches the need, or stops ``steps`` before it."""
    reached = next((i for i, s in enumerate(_STRIPS) if s >= need), None)
    if steps == 0 and reached is not None:
        return {"passes_mm": _STRIPS[reached]}
    if reached is None or reached - steps < 0:
        return None
    place = reached - steps
    return {"passes_mm": _STRIPS[place], "held_mm": _STRIPS[place + 1]}


def _ways_short(need: Decimal) -> Iterator[tuple[str, Lengths]]:
    """Return methods and lengths at one site, from room enough to far too little."""
    for steps in (0, 1, 2):
        if (lengths := _strip_lengths(need, steps)) is not None:
            yield "strip", lengths
    for method in _POINTS:
        for lacking in _LACKING:
            if need - lacking > Decimal("0.05"):
                yield method, {"value_mm": need - lacking}


def _plenty(method: str, need: Decimal) -> Lengths:
    if method == "strip" and (lengths := _strip_lengths(need, 0)):
        return lengths
    return {"value_mm": need + Decimal("0.50")}


def _needs(
    rule_set: RuleSet, units: Sequence[Unit]
) -> dict[tuple[str, tuple[str, str]], Decimal]:
    """Ask the check itself what every site needs."""
    places = [(unit.tooth, place) for unit in units for place in _places(unit.tooth)]
    wide = {"value_mm": Decimal("9.00")}
    asked = [_read(tooth, place, "scan", wide) for tooth, place in places]
    found = {
        (s[0], s[1]): Decimal(s[4]) for s in _judged(rule_set, units, asked, ()).sites
    }
    return {(tooth, place): found[(tooth, place[0])] for tooth, place in places}


def _of_work(
    rule_set: RuleSet, units: Sequence[Unit], connectors: Sequence[dict[str, Any]]
) -> Iterator[Sample]:
    """Return this work with one site read in every way, the others with room."""
    needs = _needs(rule_set, units)
    worst = next(iter(needs))
    for method, lengths in _ways_short(needs[worst]):
        readings = [
            _read(
                *(tooth, place),
                "silicone_caliper" if method == "strip" and need > 3 else method,
                lengths if (tooth, place) == worst else _plenty(method, need),
            )
            for (tooth, place), need in needs.items()
        ]
        yield _judged(rule_set, units, readings, connectors)


def _works() -> Iterator[tuple[tuple[Unit, ...], tuple[dict[str, Any], ...]]]:
    for material in MATERIALS:
        for place, tooth in enumerate(_CROWNS):
            kind = (
                "onlay"
                if material == "lithium_disilicate" and tooth == "26"
                else "crown"
            )
            yield (_unit(tooth, 1, material, kind, ""),), ()
            if place == 2:
                two = (tooth, "46")
                yield (
                    tuple(
                        _unit(t, n, material, "crown", "") for n, t in enumerate(two, 1)
                    ),
                    (),
                )
        for teeth in _SPANS[: 2 if material == "full_metal" else 3]:
            kinds = ("retainer", "pontic", "retainer")
            units = tuple(
                _unit(tooth, n, material, kind, "A")
                for n, (tooth, kind) in enumerate(zip(teeth, kinds, strict=True), 1)
            )
            yield (
                units,
                tuple(
                    {"between": list(pair), "height_mm": "4.00", "width_mm": "4.00"}
                    for pair in zip(teeth, teeth[1:], strict=False)
                ),
            )


def _changed(rule_set: RuleSet, sample: Sample) -> Sample | None:
    """Return the work in another material, where these readings suffice for it."""
    if sample.material == _CHANGED_TO or sample.units[0].span:
        return None
    units = [
        _unit(u.tooth, u.position, _CHANGED_TO, "crown", u.span) for u in sample.units
    ]
    if any(unit.kind != "crown" for unit in sample.units):
        return None
    found = _judged(rule_set, units, sample.readings, sample.connectors)
    return found if found.verdict == "sufficient" else None


@lru_cache(maxsize=1)
def samples() -> tuple[Sample, ...]:
    """Return every preparation with what may become of it, in a fixed order.

    Judged by the shipped rule set.
    """
    rule_set = shipped_rule_set()
    found: list[Sample] = []
    for units, connectors in _works():
        made = list(_of_work(rule_set, units, connectors))
        enough = next(one for one in made if one.verdict == "sufficient")
        for one in made:
            if one.verdict == "sufficient":
                found.append(one)
            else:
                found.append(
                    replace(one, redone=enough, changed=_changed(rule_set, one))
                )
    return tuple(one for one in found if one.shortage != "undecided" or one.clearable)
