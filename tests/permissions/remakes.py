"""Remakes that were recorded, and the causes a laboratory adds."""

from collections.abc import Callable
from typing import Any

from cases import clock
from cases.models import Remake
from cases.services.remake_causes import cause_add
from cases.tenancy import acting
from tests.cases.services.remade import built_at_risk, delivered, opened
from tests.permissions.api import KEY
from tests.permissions.shape import Row, Target, play_of
from tests.personas import Personas
from tests.play import Play

Arrange = Callable[[Personas], Target]


def _remake(personas: Personas) -> tuple[Play, Remake]:
    play = play_of(personas)
    return play, opened(play, delivered(play, built_at_risk(play)))


def remake(**data: Any) -> Arrange:
    """Return what opens a remake and fills a form of its page."""

    def arrange(personas: Personas) -> Target:
        _play, made = _remake(personas)
        return Target(kwargs={"code": made.case.code, "pk": made.pk}, data=data)

    return arrange


def another_site(personas: Personas) -> Target:
    """Name a site of the case the remake does not go back to yet."""
    play, made = _remake(personas)
    with acting(play.world.dentist):
        trace = made.traces.select_related("site_verdict__stored_check").first()
        assert trace is not None
        site = trace.site_verdict
        other = site.stored_check.site_verdicts.exclude(pk=site.pk).first()
        assert other is not None
    return Target(
        kwargs={"code": made.case.code, "pk": made.pk},
        data={"site_verdict": other.pk},
    )


def a_line(personas: Personas) -> Target:
    """Name a line the portal drew, and say why it is wrong."""
    play, made = _remake(personas)
    with acting(play.world.dentist):
        trace = made.traces.first()
        assert trace is not None
    return Target(
        kwargs={"code": made.case.code, "pk": made.pk, "trace": trace.pk},
        data={"reason": "Broken elsewhere."},
    )


def in_api(json: Any = None) -> Arrange:
    """Return what names a remake to a program."""

    def arrange(personas: Personas) -> Target:
        _play, made = _remake(personas)
        kwargs = {"code": made.case.code, "remake": str(made.pk)}
        return Target(kwargs=kwargs, json=json, headers=KEY)

    return arrange


def cause_of_l(personas: Personas) -> Target:
    """Name a cause laboratory L has added."""
    who = personas.lab_manager.actor
    with acting(who):
        made = cause_add(actor=who, label="Wrong alloy", at=clock.now())
    return Target(kwargs={"code": made.code})


def new_cause(personas: Personas) -> Target:
    """Fill the form of a new cause."""
    return Target(data={"label": "Wrong alloy"})


EVERYBODY = "200 200 200 200 200 404 404 403 302"
# The assistant records a remake; to whom it goes back others say.
SPEAKS = "302 403 302 302 302 404 404 403 302"
MANAGER = "403 403 403 403 200 403 403 403 302"
CHANGES = "403 403 403 403 302 403 403 403 302"

# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("remake", "GET", EVERYBODY, remake()),
    Row("remake_state", "POST", SPEAKS, remake(attribution="shared", note="")),
    Row("remake_loss", "POST", SPEAKS, remake(amount="12.50", minutes="20")),
    Row("remake_trace_add", "POST", SPEAKS, another_site),
    Row("remake_trace_withdraw", "POST", SPEAKS, a_line),
    Row("remake_causes", "GET", MANAGER),
    Row("remake_causes", "POST", CHANGES, new_cause),
    Row("remake_cause_retire", "POST", CHANGES, cause_of_l),
    Row("api_remake", "GET", "200 200 200 200 200 404 404 403 401", in_api()),
    Row(
        "api_remake_statements",
        "POST",
        "201 403 201 201 201 404 404 403 401",
        in_api({"attribution": "disputed"}),
    ),
)
