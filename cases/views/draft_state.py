"""A stored draft as the texts of its form, and what two versions of it differ in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.forms.connector_rows import PREFIX as CONNECTORS
from cases.forms.connector_rows import connectors_flat
from cases.forms.reading_rows import reading_words
from cases.forms.unit_changes import units_flat
from cases.forms.unit_rows import UnitsEditor
from cases.forms.vocabulary import position_words, site_words, tooth_number
from cases.lifecycle import CaseState
from cases.services.units import (
    UNIT_TEXTS,
    judged_reading_json,
    reading_json,
    unit_json,
)

if TYPE_CHECKING:
    from cases.models import Reading, Unit
    from cases.selectors.cases import CaseDetail

__all__ = [
    "Difference",
    "differences",
    "draft_flat",
    "full_reading",
    "full_unit",
    "kept_readings",
    "with_kept",
]

_TEXTS = ("shade", "notes", "occlusal_scheme", "disinfection", "jaw_record")
_HEAD = {
    "prescriber": gettext_lazy("Prescriber"),
    "reference": gettext_lazy("Patient reference"),
    "initials": gettext_lazy("Initials"),
    "age_band": gettext_lazy("Age band"),
    "wanted_on": gettext_lazy("Wanted on"),
    "appointment_at": gettext_lazy("Appointment"),
    "shade": gettext_lazy("Shade"),
    "occlusal_scheme": gettext_lazy("Occlusal scheme"),
    "jaw_record": gettext_lazy("Jaw record"),
    "disinfection": gettext_lazy("Disinfection"),
    "notes": gettext_lazy("Notes to the laboratory"),
}
_UNIT_LABELS = (
    "kind",
    "material",
    "occlusal_surface",
    "cementation",
    "relation",
    "convergence_deg",
    "dentine_mm",
    "retention",
    "abutment",
)

Kept = Mapping[str, Sequence[dict[str, Any]]]


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing two versions of a draft say differently."""

    label: str
    theirs: str
    yours: str


def full_reading(reading: "Reading") -> dict[str, Any]:
    """Return a stored reading in the shape of the draft, basis and note included."""
    body = {**reading_json(reading), "basis": reading.basis}
    return {**body, "note": reading.note} if reading.note else body


def full_unit(unit: "Unit", readings: Sequence["Reading"]) -> dict[str, Any]:
    """Return a stored unit in the shape of the draft."""
    own = [full_reading(r) for r in readings if r.tooth == unit.tooth]
    texts = {key: getattr(unit, key) for key in UNIT_TEXTS}
    return {**unit_json(unit, ()), **texts, "readings": own}


def draft_flat(detail: "CaseDetail") -> dict[str, str]:
    """Return the draft as the texts of its form.

    A case sent back as incomplete without a new draft yet starts from what was
    signed; its readings stay in force and are shown beside the empty rows.
    """
    case, patient = detail.case, detail.patient
    revision = detail.draft or detail.prescription
    dates = detail.draft or case
    units = detail.draft_units if detail.draft else detail.units
    flat = units_flat([full_unit(u, detail.draft_readings) for u in units])
    flat |= connectors_flat(revision.connectors if revision else ())
    flat |= {
        "version": str(case.version),
        "prescriber": case.prescriber.email,
        "reference": patient.reference,
        "initials": patient.initials,
        "age_band": patient.age_band,
        "wanted_on": dates.wanted_on.isoformat() if dates.wanted_on else "",
        "appointment_at": localtime(dates.appointment_at).strftime("%Y-%m-%dT%H:%M")
        if dates.appointment_at
        else "",
    }
    flat |= {name: getattr(revision, name) if revision else "" for name in _TEXTS}
    return flat


def kept_readings(detail: "CaseDetail") -> Kept:
    """Return what the clinic sent before and what stays in force: tooth → readings."""
    found: dict[str, list[dict[str, Any]]] = {}
    if detail.case.state == CaseState.DRAFT:
        return found
    for reading in detail.readings:
        if (
            reading.side == "clinic"
            and reading.round == detail.case.round
            and reading.superseded_at is None
        ):
            found.setdefault(reading.tooth, []).append(judged_reading_json(reading))
    return found


def _key(reading: Mapping[str, Any]) -> tuple[str, str, str]:
    return (
        reading.get("site", ""),
        reading.get("position", ""),
        reading.get("basis", "mouth"),
    )


def with_kept(units: Sequence[dict[str, Any]], kept: Kept) -> list[dict[str, Any]]:
    """Return the units with the kept readings no new one takes the place of."""
    found = []
    for unit in units:
        new = {_key(reading) for reading in unit["readings"]}
        old = [r for r in kept.get(unit.get("tooth", ""), ()) if _key(r) not in new]
        found.append({**unit, "readings": [*unit["readings"], *old]})
    return found


def show_earlier(editor: UnitsEditor, kept: Kept) -> None:
    """Write beside each row what was read there before."""
    for unit in editor.units:
        for row in unit.readings:
            place = (row.form.text("site"), row.form.text("position"))
            said = [
                reading_words(r)
                for r in kept.get(unit.tooth, ())
                if (r["site"], r.get("position", "")) == place
            ]
            row.earlier = "; ".join(said)


def _told(
    flat: Mapping[str, str], units: Sequence[Mapping[str, Any]], system: str
) -> dict[str, str]:
    """Return everything a draft says: label → words."""
    said = {str(label): flat.get(name, "") for name, label in _HEAD.items()}
    for unit in units:
        number = tooth_number(unit.get("tooth", ""), system)
        parts = [str(unit[key]) for key in _UNIT_LABELS if unit.get(key)]
        said[_("Tooth {tooth}").format(tooth=number)] = ", ".join(parts).replace(
            "_", " "
        )
        for reading in unit.get("readings", ()):
            place = site_words(reading.get("site", ""), unit.get("tooth", ""))
            label = ", ".join(
                p
                for p in (number, place, position_words(reading.get("position", "")))
                if p
            )
            said[label] = reading_words(reading)
    for key, text in flat.items():
        if key.startswith(f"{CONNECTORS}-"):
            teeth, name = key.split("-")[1:]
            pair = "–".join(tooth_number(t, system) for t in (teeth[:2], teeth[2:]))
            words = _("height") if name == "height_mm" else _("width")
            said[f"{_('Connector')} {pair}, {words}"] = text
    return said


def differences(
    *,
    stored: tuple[Mapping[str, str], Sequence[Mapping[str, Any]]],
    typed: tuple[Mapping[str, str], Sequence[Mapping[str, Any]]],
    system: str,
) -> list[Difference]:
    """Return what two versions (texts, units) of a draft say differently."""
    theirs, yours = _told(*stored, system), _told(*typed, system)
    return [
        Difference(label, theirs.get(label, "") or "–", yours.get(label, "") or "–")
        for label in dict.fromkeys([*theirs, *yours])
        if theirs.get(label, "") != yours.get(label, "")
    ]
