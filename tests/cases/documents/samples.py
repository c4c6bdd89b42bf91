"""Invented frozen contents, in the shape of ``services.work_order_content``.

The check inside is made by the rule core, so that a change of its result shows here.
"""

from collections.abc import Sequence
from typing import Any

from cases.canonical import canonical_json, sha256_hex
from cases.documents.work_order import PatientLine
from rules.check import run_check
from rules.loader import shipped_rule_set
from rules.payload import check_json, parse_check

PATIENT = PatientLine(reference="P-2041", initials="M. K.", age_band="40–49")
VERIFY = "https://bench.example.test/verify/7QX4M2C9TA/"
MIP = "maximal_intercuspation"
_CORE = (
    "tooth",
    "kind",
    "material",
    "occlusal_surface",
    "cementation",
    "span",
    "relation",
    "antagonist",
)
_READING = (
    "site",
    "position",
    "method",
    "passes_mm",
    "drags_mm",
    "held_mm",
    "value_mm",
    "u_mm",
)


def reading(site: str, position: str = MIP, **more: Any) -> dict[str, Any]:
    return {
        "site": site,
        "method": "strip",
        **({"position": position} if position else {}),
        **more,
        "basis": more.get("basis", "mouth"),
        "round": 1,
        "mounting_number": more.get("mounting_number"),
        "side": more.get("side", "clinic"),
        "taken_by": "Ina Beck",
        "taken_at": "2026-03-02T09:40:00+00:00",
    }


def unit(tooth: str, readings: Sequence[dict[str, Any]], **more: Any) -> dict[str, Any]:
    return {
        "tooth": tooth,
        "kind": "crown",
        "material": "zirconia_3y",
        "occlusal_surface": "",
        "cementation": "",
        "span": "",
        "relation": "normal",
        "antagonist": "natural",
        "shade": "Tab 3",
        "finish_line": "chamfer",
        "readings": list(readings),
        **more,
    }


def signature(
    name: str, role: str, meaning: str, at: str, method: str = "totp", **more: Any
) -> dict[str, Any]:
    return {
        "name": name,
        "role": role,
        "signed_for": "",
        "meaning": meaning,
        "method": method,
        "signed_at": at,
        "content_sha256": sha256_hex(f"{name}{at}".encode()),
        **more,
    }


def result_of(units: Sequence[dict[str, Any]]) -> dict[str, Any]:
    rule_set = shipped_rule_set()
    asked = [
        {k: u[k] for k in _CORE if u.get(k)}
        | {
            "readings": [
                {k: r[k] for k in _READING if r.get(k) is not None}
                for r in u["readings"]
            ]
        }
        for u in units
    ]
    request = parse_check({"units": asked}, rule_set=rule_set)
    return check_json(run_check(rule_set, request))


def content(units: Sequence[dict[str, Any]], **more: Any) -> dict[str, Any]:
    result = result_of(units)
    body = {
        "schema": 1,
        "work_order": {"code": "7QX4M2C9TA", "number": 14},
        "case": "K3V8R1ZN0D",
        "revision": 2,
        "round": 1,
        "pan_number": "41",
        "laboratory": {
            "code": "LAB0000001",
            "name": "Ashgrove Dental Laboratory",
            "address": "Unit 4, Kiln Lane\nWestbury",
        },
        "clinic": {
            "code": "CLN0000001",
            "name": "Linden Street Dental Practice",
            "address": "12 Linden Street\nWestbury",
            "tooth_system": "iso3950",
            "time_zone": "Europe/Berlin",
        },
        "prescriber": {"name": "Dr Ruth Amsel", "licence_number": "D-48213"},
        "patient": "9f" * 32,
        "wanted_on": "2026-03-20",
        "promised_on": "2026-03-18",
        "notes": "Keep the distal contact light. Photograph of the neighbour attached.",
        "occlusal_scheme": "canine guidance",
        "disinfection": "impression disinfected, 10 min",
        "jaw_record": "silicone record in maximal intercuspation",
        "units": list(units),
        "check": {
            "verdict": result["verdict"],
            "made_at": "2026-03-05T13:05:00+00:00",
            "result": result,
        },
        "grounds": [],
        "queries": [],
        "coping_enclosed": False,
        "prescription_signature": signature(
            "Dr Ruth Amsel",
            "clinician",
            "I prescribe this restoration as written.",
            "2026-03-02T10:02:00+00:00",
        ),
        "released_by": "Theo Marlow",
        "released_at": "2026-03-06T08:30:00+00:00",
    }
    return body | more


def query(sites: Sequence[dict[str, Any]], **more: Any) -> dict[str, Any]:
    return {
        "flag": "Q4T7B2WX9M",
        "reasons": ["clearance"],
        "question": "The lingual cusps show 1.0 to 1.5 mm in maximal intercuspation "
        "and need 1.5. May we build on it, or do you prefer to take off up to 0.5 mm?",
        "sites": list(sites),
        "raised_by": "Theo Marlow",
        "raised_at": "2026-03-03T07:55:00+00:00",
        "kind": "re_measure",
        "parameters": {},
        "grounds": "",
        "consent": False,
        "signature": signature(
            "Dr Ruth Amsel",
            "clinician",
            "This is my answer to the query.",
            "2026-03-04T16:20:00+00:00",
            "password",
        ),
        "countersignature": None,
        **more,
    }


def molar(tooth: str = "36", **more: Any) -> dict[str, Any]:
    return unit(
        tooth,
        [
            reading("buccal_cusps", passes_mm="2.00"),
            reading("lingual_cusps", passes_mm="1.50", held_mm="2.00"),
            reading(
                "central_fossa",
                method="silicone_caliper",
                value_mm="1.90",
                u_mm="0.1000",
                basis="model",
                mounting_number=1,
                side="laboratory",
            ),
        ],
        **more,
    )


def sufficient() -> dict[str, Any]:
    """A single crown with room at every site."""
    return content([molar(cementation="conventional")], revision=1)


def short_molar(fossa: str = "1.60") -> dict[str, Any]:
    return unit(
        "36",
        [
            reading("buccal_cusps", passes_mm="2.00"),
            reading("lingual_cusps", passes_mm="1.00", held_mm="1.50"),
            reading(
                "lingual_cusps", "left_laterotrusion", passes_mm="1.50", held_mm="2.00"
            ),
            reading("central_fossa", method="silicone_caliper", value_mm=fossa,
                    u_mm="0.1000"),
        ],
        material="metal_ceramic",
        occlusal_surface="ceramic",
        cementation="conventional",
        finish_line="radial_shoulder",
    )  # fmt: skip


def short_site(site: str = "lingual_cusps", verdict: str = "insufficient"):
    return {
        "tooth": "36",
        "site": site,
        "verdict": verdict,
        "need_mm": "1.50",
        "low_mm": "1.00",
        "high_mm": "1.50",
    }


COUNTERSIGNED = signature(
    "Theo Marlow",
    "technician",
    "The laboratory builds on this risk.",
    "2026-03-05T07:10:00+00:00",
)
GROUND = {
    "tooth": "36",
    "site": "lingual_cusps",
    "verdict": "insufficient",
    "ground": "answer",
    "answer_kind": "accept_risk",
    "answer": "ANSWER0001",
}


def accepted_risk() -> dict[str, Any]:
    """A short site, its risk accepted, consented and countersigned."""
    answered = query(
        [short_site()],
        kind="accept_risk",
        grounds="Further reduction would bring the wall under 3 mm and near the pulp. "
        "The patient was told that the ceramic may chip on the lingual cusps.",
        consent=True,
        countersignature=COUNTERSIGNED,
    )
    cleared = GROUND | {
        "site": "central_fossa",
        "verdict": "undecided",
        "ground": "uncertainty",
        "answer_kind": None,
        "answer": None,
    }
    return content([short_molar()], queries=[answered], grounds=[GROUND, cleared])


def one_ground() -> dict[str, Any]:
    """The same with the one accepted site only."""
    body = accepted_risk()
    return content(
        [short_molar(fossa="1.80")], queries=body["queries"], grounds=[GROUND]
    )


def asked() -> dict[str, Any]:
    """Room at every site after a query that was answered by measuring again."""
    return content([molar()], queries=[query([short_site()])])


def coping() -> dict[str, Any]:
    """A short site built on a die trimmed for a reduction coping."""
    base = accepted_risk()
    answered = base["queries"][0] | {
        "kind": "reduction_coping",
        "grounds": "The lingual cusp tips are trimmed with the coping at the fit.",
        "consent": False,
        "countersignature": None,
    }
    grounds = [
        g | ({"answer_kind": "reduction_coping"} if g["answer"] else {})
        for g in base["grounds"]
    ]
    return base | {"queries": [answered], "grounds": grounds, "coping_enclosed": True}


def bridge(system: str = "iso3950") -> dict[str, Any]:
    """A bridge of three units in the upper jaw."""

    def member(tooth: str, kind: str) -> dict[str, Any]:
        # Under a pontic the room is that between ridge and antagonist.
        least, most = ("3.00", "4.00") if kind == "pontic" else ("1.50", "2.00")
        return unit(
            tooth,
            [
                reading("buccal_cusps", passes_mm=least, held_mm=most),
                reading("lingual_cusps", passes_mm=least, held_mm=most),
                reading("central_fossa", passes_mm=least, held_mm=most),
            ],
            kind=kind,
            span="A",
            cementation="conventional",
        )

    body = content(
        [member("14", "retainer"), member("15", "pontic"), member("16", "retainer")]
    )
    body["clinic"] |= {"tooth_system": system}
    pontic = [
        short_site(site, "undecided") | {"tooth": "15"}
        for site in ("buccal_cusps", "lingual_cusps", "central_fossa")
    ]
    answered = query(
        pontic,
        question="The strips leave the room under the pontic open. Is the room between "
        "ridge and antagonist enough for your design?",
        kind="accept_risk",
        grounds="Checked on the wax-up: 3.8 mm between ridge and antagonist.",
        consent=True,
        countersignature=COUNTERSIGNED,
    )
    covered = [GROUND | {k: s[k] for k in ("tooth", "site", "verdict")} for s in pontic]
    return body | {"queries": [answered], "grounds": covered}


def incisor() -> dict[str, Any]:
    """An upper incisor whose edge was read as clearance and as reduction."""
    return content(
        [
            unit(
                "21",
                [
                    reading("lingual_surface", passes_mm="1.00", held_mm="1.50"),
                    reading("lingual_surface", "protrusion", drags_mm="1.00"),
                    reading("incisal_edge", "protrusion", passes_mm="2.00"),
                    reading("incisal_edge", "", method="index_probe", value_mm="2.00"),
                    reading(
                        "facial_surface", "", method="index_probe", value_mm="1.40"
                    ),
                    reading("finish_line", "", method="cast_caliper", value_mm="1.00"),
                ],
                material="lithium_disilicate",
                cementation="adhesive",
                antagonist="restored",
                finish_line="shoulder",
                shade="Tab 2, incisal translucency",
            )
        ]
    )


def mouthful() -> dict[str, Any]:
    """Six units with as much text as the forms allow."""
    long_text = "The neighbour stands proud of the plane. " * 97
    units = [
        molar(tooth, shade="Tab 3, cervical third a little warmer than 46")
        for tooth in ("17", "16", "26", "36", "37", "46")
    ]
    for row in units:
        row["readings"][0]["note"] = "n" * 200
    asked = query(
        [short_site()],
        question=long_text,
        grounds=long_text,
        kind="re_preparation",
        parameters={
            "depth_mm": {"36": {"lingual_cusps": {"low": 0.0, "high": 0.5}}},
            "changes": {"36": {"material": "full_metal"}},
            "referral": "crown_lengthening",
            "review_on": "2026-05-04",
        },
    )
    body = content(units, notes=long_text, queries=[asked, asked | {"flag": "ZZZ"}])
    body["clinic"] |= {"tooth_system": "universal", "name": "Practice of " * 9}
    return body


def render_arguments(body: dict[str, Any], **more: Any) -> dict[str, Any]:
    digest = sha256_hex(canonical_json(body))
    return {
        "content": body,
        "patient": PATIENT,
        "verify_url": f"{VERIFY}{digest}/",
        "digest": digest,
        **more,
    }
