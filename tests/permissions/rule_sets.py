"""Rule sets: read by both sides, drafts by the laboratory's managers only."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from cases import clock
from cases.enums import Role
from cases.services import rule_set_impact
from cases.services import rule_sets as services
from cases.tenancy import Actor, acting
from rules.loader import shipped_rule_set
from tests.factories import actor_of, make_membership, make_user
from tests.permissions.shape import Row, Target
from tests.personas import Personas

Arrange = Callable[[Personas], Target]
MATERIAL = "zirconia_3y"


def _draft(personas: Personas, actor: Actor | None = None) -> Any:
    who = actor or personas.lab_manager.actor
    with acting(who):
        return services.draft_copy(
            actor=who, digest="", name="Ours", label="1", at=clock.now()
        )


def shipped(personas: Personas) -> Target:
    """Name the set laboratory L works by."""
    digest = shipped_rule_set().digest
    return Target(kwargs={"laboratory": personas.laboratory.code, "digest": digest})


def draft(**data: Any) -> Arrange:
    """Return what names a draft of laboratory L and fills a form with its version."""

    def arrange(personas: Personas) -> Target:
        made = _draft(personas)
        fields = {"version": made.version, **data}
        return Target(kwargs={"code": made.code}, data=fields)

    return arrange


def material(**data: Any) -> Arrange:
    """Return what names a material of a draft of laboratory L."""

    def arrange(personas: Personas) -> Target:
        made = draft(**data)(personas)
        return Target(kwargs={**made.kwargs, "material": MATERIAL}, data=made.data)

    return arrange


def _by_a_second(personas: Personas, *, approved: bool) -> Target:
    """Propose a draft as a second manager; approve it as L's lab_manager."""
    user = make_user("second@example.org", "Second Test")
    second = actor_of(make_membership(personas.laboratory, user, Role.LAB_MANAGER))
    made = _draft(personas, second)
    with acting(second):
        made = services.draft_propose(
            actor=second,
            code=made.code,
            version=None,
            effective_from=clock.now().date() + timedelta(days=1),
            note="",
            at=clock.now(),
        )
    manager = personas.lab_manager.actor
    if approved:
        with acting(manager):
            made = services.draft_approve(
                actor=manager, code=made.code, version=None, at=clock.now()
            )
    data = {"version": made.version, "reason": "Not yet."}
    return Target(kwargs={"code": made.code}, data=data)


def proposed(personas: Personas) -> Target:
    """Name a draft that waits for L's lab_manager."""
    return _by_a_second(personas, approved=False)


def approved(personas: Personas) -> Target:
    """Name a draft that L's lab_manager approved."""
    return _by_a_second(personas, approved=True)


def impact(personas: Personas) -> Target:
    """Begin to compare a draft of laboratory L."""
    manager = personas.lab_manager.actor
    made = _draft(personas)
    with acting(manager):
        begun = rule_set_impact.impact_start(
            actor=manager, code=made.code, at=clock.now()
        )
    return Target(kwargs={"code": begun.code})


def copy_fields(personas: Personas) -> Target:
    """Fill the form that copies the set in force."""
    digest = shipped_rule_set().digest
    return Target(data={"digest": digest, "name": "Ours", "label": "1"})


def product_fields(personas: Personas) -> Target:
    """Fill the form of a new product."""
    return draft(
        label="Own zirconia",
        under=MATERIAL,
        instructions="Instructions, edition 1",
        cementations=["conventional"],
        usual="conventional",
    )(personas)


# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
DRAFT = "404 404 404 403 200 404 404 403 302"
CHANGE = "404 404 404 403 302 404 404 403 302"
MANAGER = "403 403 403 403 200 403 403 403 302"

ROWS = (
    Row("rule_sets", "GET", "200 200 200 200 200 200 200 403 302"),
    Row("rule_set", "GET", "200 200 200 200 200 200 404 403 302", shipped),
    Row("rule_set_file", "GET", "200 200 200 200 200 200 404 403 302", shipped),
    Row("rule_set_copy", "GET", MANAGER),
    Row("rule_set_copy", "POST", "403 403 403 403 302 403 403 403 302", copy_fields),
    Row("rule_set_import", "GET", MANAGER),
    Row("rule_set_import", "POST", "403 403 403 403 422 403 403 403 302"),
    Row("rule_set_draft", "GET", DRAFT, draft()),
    Row("rule_set_whole", "GET", DRAFT, draft()),
    Row("rule_set_draft_file", "GET", DRAFT, draft()),
    Row("rule_set_differences", "GET", DRAFT, draft()),
    Row("rule_set_sum", "GET", DRAFT, draft()),
    Row("rule_set_settings", "GET", DRAFT, draft()),
    Row(
        "rule_set_settings",
        "POST",
        "404 404 404 403 422 404 404 403 302",
        draft(name="Ours"),
    ),
    Row("rule_set_charges", "GET", DRAFT, draft()),
    Row("rule_set_charges", "POST", CHANGE, draft()),
    Row("rule_set_spans", "GET", DRAFT, material()),
    Row("rule_set_spans", "POST", CHANGE, material()),
    Row("rule_set_lines", "GET", DRAFT, material()),
    Row("rule_set_lines", "POST", CHANGE, material()),
    Row("rule_set_product", "GET", DRAFT, draft()),
    Row("rule_set_product", "POST", CHANGE, product_fields),
    Row("rule_set_material", "GET", DRAFT, material()),
    Row("rule_set_remove", "GET", DRAFT, material()),
    Row("rule_set_remove", "POST", CHANGE, material()),
    Row("rule_set_impact_start", "POST", CHANGE, draft()),
    Row("rule_set_impact", "GET", DRAFT, impact),
    Row("rule_set_propose", "GET", DRAFT, draft()),
    Row("rule_set_propose", "POST", CHANGE, draft(effective_from="2099-01-01")),
    Row("rule_set_approve", "POST", CHANGE, proposed),
    Row("rule_set_return", "POST", CHANGE, approved),
    Row("rule_set_publish", "POST", CHANGE, approved),
    Row("rule_set_discard", "GET", DRAFT, draft()),
    Row("rule_set_discard", "POST", CHANGE, draft()),
)
