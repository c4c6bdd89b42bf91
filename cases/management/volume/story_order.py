"""The work order of a cleared case, with everything it prints."""

from cases.canonical import sha256_hex
from cases.enums import AuditEvent, WorkOrderStatus
from cases.lifecycle import CaseState
from cases.management.volume.cuts import DISINFECTION, SCHEME
from cases.management.volume.life import LABORATORY, Life
from cases.management.volume.text import NULL, Form, escaped, iso, quoted, raw
from cases.services.work_order_content import SCHEMA

__all__ = ["release"]

_GAPS = (
    *("case", "revision", "round", "pan_number", "laboratory", "clinic", "prescriber"),
    *("patient", "wanted_on", "promised_on", "connectors", "units", "grounds"),
    *("queries", "coping_enclosed", "prescription_signature", "released_by"),
    "released_at",
)
_CONTENT = Form(
    {
        **{name: raw(name) for name in _GAPS},
        "schema": SCHEMA,
        "work_order": {"code": raw("code"), "number": raw("number")},
        "notes": "",
        "occlusal_scheme": SCHEME,
        "disinfection": DISINFECTION,
        "jaw_record": "",
        "check": {
            "verdict": raw("verdict"),
            "made_at": raw("made_at"),
            "result": raw("result"),
        },
    }
)


def _units(life: Life) -> str:
    """Return the units as canonical JSON, with who read them when."""
    who, taken_at = life.taken
    gaps = {
        "round": str(life.round),
        "taken_by": quoted(who.name),
        "taken_at": f'"{iso(taken_at)}"',
    }
    return life.cut.ordered.filled(gaps).removeprefix('{"units":').removesuffix("}")


def _content(life: Life, code: str, number: int, at: int) -> str:
    lot, signature = life.lot, life.prescription_signature
    assert signature is not None  # noqa: S101 -- it was signed before it was sent
    return _CONTENT.filled(
        {
            "case": f'"{life.code}"',
            "revision": str(life.revision),
            "round": str(life.round),
            "pan_number": f'"{life.pan}"',
            "laboratory": lot.laboratory.addressed,
            "clinic": lot.clinic.addressed,
            "prescriber": lot.clinician.prescribes,
            "patient": f'"{life.patient}"',
            "wanted_on": f'"{life.wanted_on}"',
            "promised_on": f'"{life.promised_on}"',
            "connectors": life.cut.ordered_connectors,
            "units": _units(life),
            "grounds": f"[{','.join(life.grounds)}]",
            "queries": f"[{','.join(life.queries)}]",
            "coping_enclosed": "true" if lot.way == "reduction_coping" else "false",
            "prescription_signature": signature.shown,
            "released_by": quoted(lot.technician.name),
            "released_at": f'"{iso(at)}"',
            "code": f'"{code}"',
            "number": str(number),
            "verdict": f'"{life.verdict}"',
            "made_at": f'"{iso(life.checked_at)}"',
            "result": life.cut.result,
        }
    )


def release(life: Life, at: int) -> int:
    """Release the work order; return when, 0 if that has not happened yet."""
    if at > life.ink.plan.end_minute:
        return 0
    lot, signature = life.lot, life.prescription_signature
    assert signature is not None  # noqa: S101 -- as above
    code, number = life.sheets.code(), life.ink.order_number(lot.laboratory)
    content = _content(life, code, number, at)
    digest = sha256_hex(content.encode())
    life.sheets.add(
        "cases_workorder",
        f"{code}\t{life.pk}\t{lot.laboratory.pk}\t{number}\t{life.revision}\t{life.round}"
        f"\t{life.check}\t{signature.pk}\t{escaped(content)}\t{digest}\t"
        f"{WorkOrderStatus.ACTIVE.value}\t{lot.technician.membership}\t{iso(at)}\t{NULL}"
        f"\t\t\t{NULL}",
    )
    told_ = f'{{"content_sha256":"{digest}","number":{number},"work_order":"{code}"}}'
    life.entry(
        *(AuditEvent.WORK_ORDER_RELEASED, at, lot.technician, LABORATORY),
        *(CaseState.IN_FABRICATION, told_),
    )
    return at
