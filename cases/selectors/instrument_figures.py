"""What an instrument or a study adds to a reading: pure arithmetic on loaded rows.

Lengths are millimetres.
"""

from collections.abc import Mapping
from decimal import ROUND_UP, Decimal
from typing import TYPE_CHECKING, Any

from cases.enums import InstrumentKind, UOrigin
from rules.errors import InvalidNumber
from rules.readings import MAXIMUM_MM, parse_mm, plain
from rules.requirements import RuleSet
from rules.terms import Method

if TYPE_CHECKING:
    from cases.models import Instrument, RepeatabilityStudy

__all__ = ["FITTING", "Studies", "certificate_u", "figured", "named_fault", "wants_u"]

_CALIPERED = frozenset(
    {
        Method.WAX_CALIPER,
        Method.SILICONE_CALIPER,
        Method.PROVISIONAL_CALIPER,
        Method.CAST_CALIPER,
    }
)
# What each kind of instrument can be read with.
FITTING: dict[str, frozenset[Method]] = {
    InstrumentKind.STRIPS: frozenset({Method.STRIP}),
    InstrumentKind.CALIPER: _CALIPERED | {Method.OTHER},
    InstrumentKind.PROBE: frozenset({Method.INDEX_PROBE, Method.OTHER}),
    InstrumentKind.SCANNER: frozenset({Method.SCAN, Method.OTHER}),
    InstrumentKind.OTHER: frozenset(Method) - {Method.STRIP},
}
_STRIPS = ("passes_mm", "drags_mm", "held_mm")
_FOUR_PLACES = Decimal("0.0001")

# Method and instrument (None: any) → the study in force.
Studies = Mapping[tuple[str, int | None], "RepeatabilityStudy"]


def certificate_u(instrument: "Instrument") -> Decimal | None:
    """Return the certificate's u combined with the resolution, in mm, rounded up.

    sqrt(u^2 + resolution^2 / 12); None without a certificate: how finely a scale is
    divided says nothing of how well it is read.
    """
    if instrument.u_mm is None:
        return None
    variance = instrument.u_mm**2 + (instrument.resolution_mm or Decimal(0)) ** 2 / 12
    return variance.sqrt().quantize(_FOUR_PLACES, ROUND_UP)


def named_fault(
    reading: Mapping[str, Any], known: Mapping[str, "Instrument"]
) -> tuple[str, tuple[tuple[str, str], ...]] | None:
    """Return why the instrument a reading names cannot be (message, params)."""
    code = reading.get("instrument")
    if not code:
        return None
    found = known.get(str(code))
    if found is None:
        return "Choose an instrument from your list.", ()
    if found.retired_at is not None:
        return (
            "“{label}” was retired: choose the instrument this was measured with.",
            (("label", found.label),),
        )
    method = reading.get("method")
    if method in set(Method) and method not in FITTING[found.kind]:
        return (
            "“{label}” does not measure this way: choose another instrument or "
            "another method.",
            (("label", found.label),),
        )
    return None


def wants_u(reading: Mapping[str, Any]) -> bool:
    """Tell whether a reading states a point and nobody typed its uncertainty."""
    point = reading.get("method") in set(Method) - {Method.STRIP}
    return point and reading.get("u_mm") in (None, "")


def figured(
    reading: Mapping[str, Any],
    known: Mapping[str, "Instrument"],
    studies: Studies,
    rules: RuleSet,
) -> dict[str, Any]:
    """Return a reading with delta, u, its origin and the instrument's label.

    ``known`` maps codes to instruments with their strips loaded.
    """
    found = dict(reading)
    instrument = known.get(str(reading.get("instrument") or ""))
    if instrument is not None:
        found["instrument_label"] = instrument.label
    if reading.get("method") == Method.STRIP:
        delta = _delta(instrument, reading, rules.strip_delta_mm)
        typed = _thickness(reading.get("delta_mm"), places=4)
        # A strip that was measured is off by what was measured, whatever is typed.
        if delta is not None and (typed is None or typed < delta):
            found["delta_mm"] = plain(delta)
    elif wants_u(reading):
        found |= _uncertainty(reading, instrument, studies, rules)
    elif reading.get("u_mm") not in (None, ""):
        found["u_origin"] = UOrigin.TYPED.value
    return found


def _delta(
    instrument: "Instrument | None", reading: Mapping[str, Any], usual: Decimal
) -> Decimal | None:
    """Return the largest deviation of the strips named, None where unknown.

    A strip nobody measured may be off by as much as the rule set says.
    """
    if instrument is None:
        return None
    measured = {s.nominal_mm: s.measured_mm for s in instrument.strips.all()}
    used = [thick for key in _STRIPS if (thick := _thickness(reading.get(key)))]
    off = [abs(real - thick) for thick in used if (real := measured.get(thick))]
    if not off or (len(off) < len(used) and max(off) < usual):
        return None
    return max(off)


def _thickness(value: object, *, places: int = 2) -> Decimal | None:
    if value in (None, ""):
        return None
    try:
        return parse_mm(value, minimum=Decimal(0), maximum=MAXIMUM_MM, places=places)
    except InvalidNumber:
        return None


def _uncertainty(
    reading: Mapping[str, Any],
    instrument: "Instrument | None",
    studies: Studies,
    rules: RuleSet,
) -> dict[str, Any]:
    method = str(reading["method"])
    own = instrument.pk if instrument else None
    study = studies.get((method, own)) or studies.get((method, None))
    if study is not None:
        return {"u_mm": plain(study.u_mm), "u_origin": UOrigin.STUDY.value}
    stated = certificate_u(instrument) if instrument else None
    if stated is None or stated <= rules.u_by_method[Method(method)]:
        return {}
    return {"u_mm": plain(stated), "u_origin": UOrigin.INSTRUMENT.value}
