"""What chair check and draft share: partners, prescribers, parts of the page."""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from typing import Any

from django.utils.translation import gettext_lazy as _

from cases import clock
from cases.enums import Role
from cases.forms.instrument_fields import Instruments
from cases.forms.unit_changes import completed
from cases.forms.unit_rows import UnitsEditor
from cases.forms.vocabulary import QUADRANTS, Choices, tooth_name, tooth_number
from cases.selectors.check_catalog import digests_now
from cases.selectors.instruments import instrument_choices
from cases.selectors.people import members, partnerships
from cases.services.checks import rule_set_for
from cases.tenancy import Actor
from rules.requirements import RuleSet

__all__ = [
    "LISTS",
    "editor_of",
    "laboratories",
    "laboratory_rules",
    "own_address",
    "prescribers",
    "quadrants",
]

# Suggestions while typing; anything else may be written too.
LISTS = {
    "finish-lines": (
        _("chamfer"),
        _("shoulder"),
        _("radial shoulder"),
        _("knife edge"),
        _("bevel"),
    ),
    "occlusal-schemes": (
        _("canine guidance"),
        _("group function"),
        _("balanced occlusion"),
    ),
    "jaw-records": (
        _("silicone in maximal intercuspation"),
        _("wax in maximal intercuspation"),
        _("bite scan"),
        _("none, models meet by hand"),
    ),
    "disinfections": (_("immersion"), _("spray"), _("none needed: scan")),
}


def laboratories(actor: Actor) -> dict[str, tuple[str, str]]:
    """Return the clinic's partners: code → (name, digest of their set in force)."""
    found = [
        p.laboratory for p in partnerships(actor=actor) if p.accepted_at is not None
    ]
    ordered = sorted(found, key=lambda laboratory: laboratory.name.casefold())
    digests = digests_now(ordered, at=clock.now())
    return {lab.code: (lab.name, digests[lab.pk]) for lab in ordered}


def laboratory_rules(actor: Actor, code: str) -> RuleSet:
    """Return the rule set of a partner, else the shipped one."""
    return rule_set_for(laboratories(actor).get(code, ("", ""))[1])


def prescribers(actor: Actor) -> Choices:
    """Return the clinicians of the clinic: address and name."""
    return [
        (member.user.email, member.user.name)
        for member in members(actor=actor)
        if member.role == Role.CLINICIAN
    ]


def own_address(actor: Actor) -> str:
    """Return the address of the acting clinician; empty for everybody else."""
    return next(
        (
            member.user.email
            for member in members(actor=actor)
            if member.pk == actor.membership_id and member.role == Role.CLINICIAN
        ),
        "",
    )


def editor_of(
    flat: Mapping[str, str],
    *,
    rule_set: RuleSet,
    actor: Actor,
    instruments: Instruments | None = None,
) -> UnitsEditor:
    """Return the editor of these texts with every row a unit must have.

    ``instruments`` left out: those of the actor's organisation are looked up.
    """
    offered = instrument_choices(actor=actor) if instruments is None else instruments
    return UnitsEditor(
        completed(dict(flat), rule_set, offered),
        rule_set=rule_set,
        actor=actor,
        instruments=offered,
    )


def quadrants(
    actor: Actor,
    *,
    chosen: AbstractSet[str],
    taken: AbstractSet[str] = frozenset(),
) -> list[dict[str, Any]]:
    """Return the tooth picker: a row of teeth for each quadrant."""
    return [
        {
            "label": label,
            "teeth": [
                {
                    "code": tooth,
                    "number": tooth_number(tooth, actor.tooth_system),
                    "name": tooth_name(tooth),
                    "chosen": tooth in chosen,
                    "taken": tooth in taken,
                }
                for tooth in row
            ],
        }
        for label, row in QUADRANTS
    ]
