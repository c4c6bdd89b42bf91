"""Schemas of the check: what is asked, what is answered, rule sets and teeth."""

from cases.api.schemas.shapes import (
    FLAG,
    MM,
    NUMBER,
    TEXT,
    Schema,
    array,
    either,
    nullable,
    record,
    ref,
    words,
)
from cases.enums import Basis, Side
from rules.terms import (
    Antagonist,
    Cementation,
    Kind,
    Method,
    OcclusalSurface,
    Position,
    Quantity,
    Referral,
    Relation,
    Retention,
    Role,
    Site,
    Verdict,
    Wall,
)

__all__ = ["COMPONENTS", "DRAFT_READING", "DRAFT_UNIT"]

LENGTH: Schema = {
    "type": ["number", "string"],
    "description": "Millimetres, at most two decimals; 1.5, “1.5” or “1,5”.",
}
FINE: Schema = {
    "type": ["number", "string"],
    "description": "At most four decimals.",
}
_INSTRUMENT = {**TEXT, "description": "Code of one of your own instruments."}
_ENTERED = {
    "site": words(Site),
    "position": words(Position),
    "method": words(Method),
    "passes_mm": LENGTH,
    "drags_mm": LENGTH,
    "held_mm": LENGTH,
    "value_mm": LENGTH,
    "u_mm": FINE,
    "delta_mm": {**FINE, "description": "Tolerance of the strips, 0 to 1."},
    "basis": words(Basis.values),
    "mounting_number": {"type": "integer", "minimum": 1, "maximum": 99},
}
_READING = {
    **_ENTERED,
    "side": words(Side.values),
    "stale": {**FLAG, "description": "Taken before the provisional was lost or high."},
    "instrument": _INSTRUMENT,
}
_OPTIONAL_READING = set(_READING) - {"site", "method"}
# What only a case knows of a reading.
_OF_A_CASE = {
    "note": {**TEXT, "maxLength": 200},
    "instrument": _INSTRUMENT,
}
_OPTIONAL_DRAFT = (set(_ENTERED) | set(_OF_A_CASE)) - {"site", "method"}
_FACING = {
    "tooth": TEXT,
    "kind": words(Kind),
    "material": TEXT,
    "occlusal_surface": words(OcclusalSurface),
    "cementation": words(Cementation),
}
_UNIT = {
    "tooth": {**TEXT, "description": "ISO 3950, 11 to 48."},
    "kind": words(Kind),
    "material": TEXT,
    "occlusal_surface": words(OcclusalSurface),
    "cementation": words(Cementation),
    "relation": words(Relation),
    "antagonist": words(Antagonist),
    "antagonists": array(record(_FACING, optional=("occlusal_surface", "cementation"))),
    "planned_plane": FLAG,
    "wall_heights_mm": record(dict.fromkeys(Wall, LENGTH), optional=tuple(Wall)),
    "base_width_mm": LENGTH,
    "convergence_deg": {**LENGTH, "description": "Total convergence, 0 to 90 degrees."},
    "dentine_mm": {**LENGTH, "description": "Dentine left over the pulp, mm."},
    "retention": words(Retention),
    "not_applicable": {
        **array(words(Site)),
        "description": "Required sites that a partial restoration does not cover.",
    },
    "span": either(TEXT, {"type": "integer"}),
    "readings": array(ref("CheckReading")),
}
_NEEDED_UNIT = {"tooth", "kind", "material", "relation", "antagonist", "readings"}
_OPTIONAL_UNIT = set(_UNIT) - _NEEDED_UNIT

DRAFT_READING = record({**_ENTERED, **_OF_A_CASE}, optional=_OPTIONAL_DRAFT)
DRAFT_UNIT = record(
    {
        **_UNIT,
        "readings": array(ref("DraftReading")),
        "shade": {**TEXT, "maxLength": 40},
        "finish_line": {**TEXT, "maxLength": 20},
        "abutment": {**TEXT, "maxLength": 60},
    },
    optional=_OPTIONAL_UNIT | {"shade", "finish_line", "abutment"},
)
_CASE_READING = record(
    {"tooth": TEXT, **DRAFT_READING["properties"]}, optional=_OPTIONAL_DRAFT
)
CONNECTOR = record(
    {
        "between": {**array(TEXT), "minItems": 2, "maxItems": 2},
        "height_mm": LENGTH,
        "width_mm": LENGTH,
    },
    about="A planned connector between two neighbours of a bridge.",
)

_RANGE = record({"low": nullable(MM), "high": nullable(MM)})
_ALTERNATIVE = record({"min_mm": MM, "source": TEXT, "note": TEXT})
_SITE = record(
    {
        "site": words(Site),
        "role": nullable(words(Role)),
        "quantity": words(Quantity),
        "verdict": words(Verdict),
        "need_mm": nullable(MM),
        "target_mm": nullable(MM),
        "measured_mm": either(_RANGE, {"type": "null"}),
        "u_mm": NUMBER,
        "governing_position": nullable(words(Position)),
        "shortage_mm": either(_RANGE, {"type": "null"}),
        "conformance_probability": nullable(NUMBER),
        "source": TEXT,
        "alternatives": array(_ALTERNATIVE),
        "advice": TEXT,
        "derivation": array(TEXT),
    },
    optional=("u_mm", "derivation"),
)
_OPTION = record(
    {
        "kind": TEXT,
        "material": TEXT,
        "occlusal_surface": words(OcclusalSurface),
        "cementation": words(Cementation),
        "feasible": FLAG,
        "reasons": array(TEXT),
        "depth_mm": {"type": "object", "additionalProperties": _RANGE},
        "removal_mm": MM,
        "referral": words(Referral),
        "retention": words(Retention),
        "abutment": FLAG,
        "consequences": array(TEXT),
    },
    optional=(
        "material",
        "occlusal_surface",
        "cementation",
        "depth_mm",
        "referral",
        "retention",
        "abutment",
    ),
)
_SPAN = record(
    {
        "span": TEXT,
        "teeth": array(TEXT),
        "pontics": {"type": "integer"},
        "cantilever": FLAG,
        "material": nullable(TEXT),
        "iso_6872_class_needed": nullable({"type": "integer"}),
        "connector_mm2": nullable(NUMBER),
        "deflection_index": nullable({"type": "integer"}),
        "faults": array(TEXT),
        "notes": array(TEXT),
    },
    about="What the rules say of a bridge as a whole; no verdict depends on it.",
)
_HEAD = record({"name": TEXT, "version": TEXT, "digest": TEXT})
RESULT = {
    "rule_set": _HEAD,
    "verdict": words(Verdict),
    "units": array(
        record(
            {
                "tooth": TEXT,
                "verdict": words(Verdict),
                "sites": array(_SITE),
                "options": array(ref("Option")),
            }
        )
    ),
    "spans": array(_SPAN),
}
_MATERIAL = record(
    {
        "key": TEXT,
        "label": TEXT,
        "cementations": array(words(Cementation)),
        "occlusal_surfaces": array(words(OcclusalSurface)),
        "provisional": FLAG,
        "under": nullable(TEXT),
        "instructions": TEXT,
        "iso_6872_class": nullable({"type": "integer"}),
        "iso_22674_type": nullable({"type": "integer"}),
        "strength_source": TEXT,
    }
)
_LINES = array({"type": "object"})

COMPONENTS: dict[str, Schema] = {
    "CheckReading": record(_READING, optional=_OPTIONAL_READING),
    "CheckUnit": record(_UNIT, optional=_OPTIONAL_UNIT),
    "CheckRequest": record(
        {
            "decision": record({"k": FINE}),
            "laboratory": TEXT,
            "rule_set": TEXT,
            "units": {**array(ref("CheckUnit")), "minItems": 1, "maxItems": 60},
            "connectors": array(ref("Connector")),
            "explain": {**FLAG, "description": "Ask for the derivation of verdicts."},
        },
        optional=("decision", "laboratory", "rule_set", "connectors", "explain"),
    ),
    "Connector": CONNECTOR,
    "DraftReading": DRAFT_READING,
    "DraftUnit": DRAFT_UNIT,
    "CaseReading": _CASE_READING,
    "Option": _OPTION,
    "Check": record(RESULT, optional=("spans",)),
    "Materials": record({"rule_set": _HEAD, "items": array(_MATERIAL)}),
    "RuleSet": record(
        {
            "name": TEXT,
            "version": TEXT,
            "digest": TEXT,
            "decision": record(
                {
                    "k": NUMBER,
                    "strip_delta_mm": MM,
                    "drag_mm": MM,
                    "cement_space_mm": MM,
                    "adjustment_mm": MM,
                }
            ),
            "materials": array(_MATERIAL),
            "methods": _LINES,
            "needs": _LINES,
            "required_sites": _LINES,
            "positions": _LINES,
            "span_limits": _LINES,
            "charges": _LINES,
            "canonical": {**TEXT, "description": "Its SHA-256 is the digest."},
        }
    ),
    "Teeth": record(
        {
            "items": array(
                record(
                    {"given": TEXT, "iso3950": TEXT, "universal": TEXT, "palmer": TEXT}
                )
            )
        }
    ),
}
