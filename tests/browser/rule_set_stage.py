"""Rule sets at every point of their way, for pages to be looked at.

Everything here is invented: names, instructions for use and figures.
"""

from datetime import timedelta
from typing import Any

from cases import clock
from cases.enums import Role
from cases.models import Organisation
from cases.selectors.rule_sets import draft_get
from cases.services import rule_set_impact
from cases.services import rule_sets as services
from cases.services.rule_set_impact import LANES, impact_slice
from cases.tenancy import Actor, acting, tenant
from tests.factories import actor_of, make_membership, make_user

__all__ = ["write_rule_sets"]

NAME = "Fennhold needs"


def _second(manager: Actor) -> Actor:
    """Return a second manager of the laboratory."""
    user = make_user("second.manager@example.org", "Quill Ardenvane")
    with tenant(manager.organisation_id):
        laboratory = Organisation.objects.get(pk=manager.organisation_id)
    return actor_of(make_membership(laboratory, user, Role.LAB_MANAGER))


class _Desk:
    """One manager at work on drafts."""

    def __init__(self, actor: Actor) -> None:
        self.actor = actor

    def call(self, command: Any, code: str, **values: Any) -> Any:
        with acting(self.actor):
            values.setdefault("at", clock.now())
            return command(actor=self.actor, code=code, version=None, **values)

    def copy(self, label: str) -> str:
        with acting(self.actor):
            made = services.draft_copy(
                actor=self.actor, digest="", name=NAME, label=label, at=clock.now()
            )
        return str(made.code)

    def document(self, code: str) -> dict[str, Any]:
        with acting(self.actor):
            return dict(draft_get(actor=self.actor, code=code).document)

    def ask_more(self, code: str, material: str, more: float) -> None:
        """Ask for more room at the cusps of one material."""
        lines = []
        for need in self.document(code)["needs"]:
            if need["material"] != material:
                continue
            if "cusp" in need["site"]:
                need.pop("max_mm", None)
                for key in ("thickness_mm", "min_mm", "target_mm"):
                    if key in need:
                        need[key] = str(round(float(need[key]) + more, 2))
            lines.append(need)
        self.call(services.draft_lines_save, code, material=material, lines=lines)

    def add_product(self, code: str) -> None:
        """Add a product with two lines of its own instructions."""
        self.call(
            services.draft_material_save,
            code,
            material={
                "key": "norrel_zr",
                "label": "Norrel Zr",
                "under": "zirconia_3y",
                "instructions": "Norrel Zr, instructions for use, edition 4 (invented)",
                "cementations": ["conventional", "adhesive"],
            },
        )
        line = {
            "kinds": ["crown", "retainer"],
            "quantity": "clearance",
            "thickness_mm": "0.6",
            "target_mm": "1.0",
            "source": "instructions for use, edition 4",
        }
        sites = ("functional_cusp", "central_fossa")
        self.call(
            services.draft_lines_save,
            code,
            material="norrel_zr",
            lines=[{**line, "site": site} for site in sites],
        )

    def propose(self, code: str, days: int, note: str = "") -> None:
        day = clock.now().date() + timedelta(days=days)
        self.call(services.draft_propose, code, effective_from=day, note=note)

    def impact(self, code: str, *, finish: bool) -> str:
        with acting(self.actor):
            begun = rule_set_impact.impact_start(
                actor=self.actor, code=code, at=clock.now()
            )
        for lane in LANES if finish else ():
            impact_slice(
                organisation_id=self.actor.organisation_id,
                impact_code=begun.code,
                lane=lane,
                at=clock.now(),
                seconds=60,
            )
        return str(begun.code)


def write_rule_sets(manager: Actor) -> dict[str, str]:
    """Write drafts in every state; return their codes, and those of comparisons."""
    one, two = _Desk(manager), _Desk(_second(manager))
    found = {"laboratory": manager.organisation_code}
    editing = one.copy("2031-2")
    one.ask_more(editing, "metal_ceramic", 0.5)
    one.add_product(editing)
    found |= {"editing": editing, "impact": one.impact(editing, finish=True)}
    blank = one.copy("2031-3")
    found |= {"blank": blank, "running": one.impact(blank, finish=False)}
    waits = two.copy("2031-4")
    two.ask_more(waits, "zirconia_3y", 0.1)
    two.impact(waits, finish=True)
    two.propose(waits, 30, "The new furnace needs it.")
    own = one.copy("2031-5")
    one.ask_more(own, "feldspathic", 0.1)
    one.propose(own, 40)
    approved, coming = two.copy("2031-6"), two.copy("2031-1")
    for code, days in ((approved, 60), (coming, 21)):
        two.ask_more(code, "full_metal", 0.1 if code == coming else 0.2)
        two.propose(code, days)
        one.call(services.draft_approve, code)
    one.call(services.draft_publish, coming)
    found |= {"waits": waits, "own": own, "approved": approved, "published": coming}
    with acting(manager):
        found["coming_digest"] = draft_get(actor=manager, code=coming).digest
    return found
