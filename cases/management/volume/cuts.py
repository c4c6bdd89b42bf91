"""A sample as it goes into rows: everything that is the same in every case, once.

What is signed has the shape of ``services.content`` and ``services.work_order_content``;
a test holds both against a case played by the services.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from cases.management.volume.samples import Sample
from cases.management.volume.text import NULL, Form, copied, escaped, raw, told
from cases.models import Reading, Unit
from cases.services.content import SCHEMA
from cases.services.units import judged_reading_json, unit_json
from rules.requirements import RuleSet

__all__ = ["DISINFECTION", "MEANING", "SCHEME", "SHADE", "Cut"]

SHADE = "Tab 4"
SCHEME = "canine guidance"
DISINFECTION = "immersion"
MEANING = "I authorise this work as prescribed."
_LENGTHS = ("passes_mm", "drags_mm", "held_mm", "value_mm")


def _length(value: Any) -> str:
    return NULL if value is None else f"{value:.2f}"


def _unit_tail(unit: Unit) -> str:
    """Return a unit's columns from its position to its finish line."""
    values = (
        *(unit.position, unit.tooth, unit.kind, unit.material, unit.occlusal_surface),
        *(unit.cementation, unit.span, unit.relation, unit.antagonist),
        *(unit.antagonists, unit.planned_plane, unit.not_applicable),
        *(unit.wall_heights_mm, None, None, None, unit.retention, unit.abutment),
        *(unit.shade, unit.finish_line),
    )
    return "\t".join(map(copied, values))


def _reading_tail(reading: Reading) -> str:
    """Return a reading's columns from its tooth to its side."""
    values = [reading.tooth, reading.site, reading.position, reading.method]
    values += [_length(getattr(reading, key)) for key in _LENGTHS]
    return "\t".join([*values, NULL, reading.basis, NULL, "clinic"])


def _site_tail(site: tuple[Any, ...]) -> str:
    return "\t".join(map(copied, site))


@dataclass(frozen=True)
class Cut:
    """A sample's fragments; each is made when it is first asked for."""

    sample: Sample
    rule_set: RuleSet

    @cached_property
    def units(self) -> tuple[str, ...]:
        """COPY text of the units, from position to finish line."""
        return tuple(map(_unit_tail, self.sample.units))

    @cached_property
    def readings(self) -> tuple[str, ...]:
        """COPY text of the readings, from tooth to side."""
        return tuple(map(_reading_tail, self.sample.readings))

    @cached_property
    def sites(self) -> tuple[str, ...]:
        """COPY text of the verdicts, from tooth on."""
        return tuple(map(_site_tail, self.sample.sites))

    @cached_property
    def checked(self) -> str:
        """COPY text of the check from request to verdict."""
        sample = self.sample
        values = (sample.request, sample.result, sample.request_sha256, sample.verdict)
        return "\t".join(map(copied, values))

    @cached_property
    def result(self) -> str:
        """The check's result as canonical JSON."""
        return told(self.sample.result)

    @cached_property
    def connectors(self) -> str:
        """The connectors as COPY text."""
        return copied(list(self.sample.connectors))

    @cached_property
    def ordered_connectors(self) -> str:
        """The connectors as canonical JSON."""
        return told(list(self.sample.connectors))

    @cached_property
    def flag_sites(self) -> str:
        """What a query names, as canonical JSON."""
        keys = ("tooth", "site", "quantity", "verdict", "need_mm", "low_mm", "high_mm")
        short = self.sample.short
        return told([dict(zip(keys, s[:7], strict=True)) for s in short])

    @cached_property
    def flag_options(self) -> str:
        """The ways out a query offers, as COPY text."""
        teeth = {s[0] for s in self.sample.short}
        return copied(
            [
                {"tooth": unit["tooth"], **option}
                for unit in self.sample.result["units"]
                if unit["tooth"] in teeth
                for option in unit.get("options", [])
            ]
        )

    @cached_property
    def depths(self) -> str:
        """How deep a second preparation goes, as the answer's parameters say it."""
        short = {s[0] for s in self.sample.short}
        found = {
            unit["tooth"]: option["depth_mm"]
            for unit in self.sample.result["units"]
            if unit["tooth"] in short
            for option in unit.get("options", [])
            if option["kind"] == "re_preparation" and option.get("depth_mm")
        }
        return told({"depth_mm": found})

    @cached_property
    def changes(self) -> str:
        """What changes to the other material, as the answer's parameters say it."""
        changed = self.sample.changed
        assert changed is not None  # noqa: S101 -- only asked where there is one
        return told(
            {"changes": {u.tooth: {"material": u.material} for u in changed.units}}
        )

    def prescription(self, round_number: int) -> Form:
        """Return the signed content of a prescription with readings of a round."""
        return self._prescriptions[round_number - 1]

    @cached_property
    def _prescriptions(self) -> tuple[Form, Form]:
        return (self._prescription(1), self._prescription(2))

    def _prescription(self, round_number: int) -> Form:
        gaps = [
            "case",
            "revision",
            "round",
            "clinic",
            "laboratory",
            "prescriber",
            "patient",
            "wanted_on",
        ]
        return Form(
            {
                **{name: raw(name) for name in gaps},
                "schema": SCHEMA,
                "purpose": "prescription",
                "shade": SHADE,
                "notes": "",
                "occlusal_scheme": SCHEME,
                "disinfection": DISINFECTION,
                "jaw_record": "",
                "units": [
                    self._signed_unit(u, round_number) for u in self.sample.units
                ],
                "connectors": list(self.sample.connectors),
                "attachments": [],
                "rule_set": self.rule_set.digest,
            }
        )

    def _signed_unit(self, unit: Unit, round_number: int) -> dict[str, Any]:
        return {
            **unit_json(unit, ()),
            "shade": unit.shade,
            "finish_line": unit.finish_line,
            "abutment": unit.abutment,
            "readings": [
                {**judged_reading_json(r), "round": round_number, "instrument": ""}
                for r in self.sample.readings
                if r.tooth == unit.tooth
            ],
        }

    @cached_property
    def ordered(self) -> Form:
        """The units of a work order; whose readings, when and of which round is open."""
        return Form({"units": [self._ordered_unit(unit) for unit in self.sample.units]})

    def _ordered_unit(self, unit: Unit) -> dict[str, Any]:
        material = self.rule_set.material(unit.material)
        assert material is not None  # noqa: S101 -- the check knew it
        own = ["tooth", "kind", "material", "occlusal_surface", "cementation", "span"]
        own += ["relation", "antagonist", "finish_line", "retention", "abutment"]
        return {
            **{key: getattr(unit, key) for key in own},
            "material_label": material.label,
            "instructions": material.instructions,
            "shade": unit.shade or SHADE,
            "readings": [
                {
                    **judged_reading_json(r),
                    "round": raw("round"),
                    "mounting_number": None,
                    "instrument": "",
                    "taken_by": raw("taken_by"),
                    "taken_at": raw("taken_at"),
                }
                for r in self.sample.readings
                if r.tooth == unit.tooth
            ],
        }

    @cached_property
    def flag_sites_copied(self) -> str:
        """What a query names, as COPY text."""
        return escaped(self.flag_sites)
