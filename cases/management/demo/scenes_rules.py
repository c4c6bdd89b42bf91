"""What the scenario's laboratory and clinic measure and judge by.

All of it is invented: the product, its instructions for use, the strips and the
repeated readings. Only the shipped needs are those of the rule core.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from cases.management.demo.days import Days
from cases.management.demo.people import Player
from cases.models import Instrument, RuleSetDraft
from cases.services import instruments, instruments_studies
from cases.services.rule_set_impact import impact_start
from cases.services.rule_sets import draft_copy
from cases.services.rule_sets_approval import (
    draft_approve,
    draft_propose,
    draft_publish,
)
from cases.services.rule_sets_edit import (
    draft_charges_save,
    draft_lines_save,
    draft_material_save,
)
from cases.tenancy import acting

__all__ = ["prepare", "propose_stricter"]

PRODUCT = "wobble_zirconia"
NAME = "Wobblebench needs (invented)"
# Begun, and in force, so many working days ago.
BEGUN, IN_FORCE, PROPOSED = 64, 60, 2
# Invented readings of one invented gauge block, mm.
BLOCK = [
    "1.52",
    "1.49",
    "1.58",
    "1.44",
    "1.51",
    "1.55",
    "1.47",
    "1.53",
    "1.50",
    "1.46",
    "1.56",
    "1.49",
]
STRIPS = (("1.0", "1.02"), ("1.5", "1.49"), ("2.0", "2.01"))


def prepare(players: Mapping[str, Player], days: Days) -> None:
    """Enter instruments and studies, and put the laboratory's set into force."""
    _clinic(players["pim"], at=days.at(BEGUN, "08:30"))
    _bench(players["orrix"], at=days.at(BEGUN, "08:40"))
    _publish(players["brum"], players["tolva"], days)


def _instrument(player: Player, at: datetime, **fields: Any) -> Instrument:
    usual = {
        "resolution_mm": None,
        "u_mm": None,
        "most_uses": None,
        "note": "Invented.",
        "strips": (),
    }
    with acting(player.actor):
        return instruments.instrument_save(
            actor=player.actor, code=None, at=at, **{**usual, **fields}
        )


def _study(player: Player, instrument: Instrument, method: str, at: datetime) -> None:
    with acting(player.actor):
        instruments_studies.study_record(
            actor=player.actor,
            method=method,
            instrument=instrument.code,
            object_note="Invented gauge block of 1.50 mm",
            reference_mm="1.5",
            values=BLOCK,
            at=at,
        )


def _clinic(assistant: Player, *, at: datetime) -> None:
    _instrument(
        assistant, at, kind="strips", label="Strips, room 2", strips=STRIPS,
        most_uses="200", uses="184",
    )  # fmt: skip
    caliper = _instrument(
        assistant, at, kind="caliper", label="Spring caliper", resolution_mm="0.1"
    )
    _study(assistant, caliper, "silicone_caliper", at)


def _bench(technician: Player, *, at: datetime) -> None:
    _instrument(
        technician, at, kind="caliper", label="Bench caliper 1", resolution_mm="0.1",
        u_mm="0.03",
    )  # fmt: skip


def _product(draft: RuleSetDraft) -> dict[str, Any]:
    shipped = {row["key"]: row for row in draft.document["materials"]}
    return {
        "key": PRODUCT,
        "label": "Wobble zirconia (invented)",
        "under": "zirconia_3y",
        "cementations": shipped["zirconia_3y"]["cementations"],
        "instructions": "WZ-1 (invented), issue 3",
        "iso_6872_class": 5,
        "strength_source": "Instructions for use WZ-1 (invented), issue 3",
    }


def _needs() -> list[dict[str, Any]]:
    return [
        {
            "material": PRODUCT,
            "kinds": ["crown", "retainer"],
            "site": site,
            "quantity": "clearance",
            "thickness_mm": "0.6",
            "target_mm": "1",
            "source": "Instructions for use WZ-1 (invented), issue 3",
        }
        for site in ("functional_cusp", "nonfunctional_cusp", "central_fossa")
    ]


def _publish(editor: Player, second: Player, days: Days) -> None:
    """One manager edits, the other approves: the set of the laboratory."""
    at = days.at(BEGUN, "09:15")
    actor = editor.actor
    with acting(actor):
        draft = draft_copy(actor=actor, digest="", name=NAME, label="1", at=at)
        edit: dict[str, Any] = {"actor": actor, "code": draft.code, "version": None}
        draft_material_save(**edit, material=_product(draft), at=at)
        draft_lines_save(**edit, material=PRODUCT, lines=_needs(), at=at)
        charges = [
            {"material": PRODUCT, "days": 4, "charge": "as one crown (invented)"},
            {"material": "full_metal", "days": 3, "charge": "by weight (invented)"},
        ]
        draft_charges_save(**edit, charges=charges, at=at)
        draft_propose(
            **edit,
            effective_from=days.date(IN_FORCE),
            note="Adds our own zirconia with its instructions for use.",
            at=at,
        )
    with acting(second.actor):
        edit = {"actor": second.actor, "code": draft.code, "version": None}
        draft_approve(**edit, at=days.at(BEGUN, "11:00"))
        draft_publish(**edit, at=days.at(BEGUN, "11:05"))


def propose_stricter(players: Mapping[str, Player], days: Days) -> None:
    """Leave a stricter set that waits for the second manager, with its impact."""
    editor = players["brum"]
    at = days.at(PROPOSED, "15:20")
    with acting(editor.actor):
        draft = draft_copy(actor=editor.actor, digest="", name=NAME, label="2", at=at)
        edit: dict[str, Any] = {
            "actor": editor.actor,
            "code": draft.code,
            "version": None,
        }
        lines = [
            _stricter(line)
            for line in draft.document["needs"]
            if line["material"] == "metal_ceramic"
        ]
        draft_lines_save(**edit, material="metal_ceramic", lines=lines, at=at)
        draft_propose(
            **edit,
            effective_from=days.date(-5),
            note="More room in the fossa after two chipped crowns (invented).",
            at=at,
        )
        impact_start(actor=editor.actor, code=draft.code, at=at)


def _stricter(line: dict[str, Any]) -> dict[str, Any]:
    fossa = line["site"] == "central_fossa" and "crown" in line["kinds"]
    if not fossa or line.get("occlusal_surface") != "ceramic":
        return line
    source = "own experience (invented), to be confirmed"
    return {**line, "min_mm": "1.8", "target_mm": "2", "source": source}
