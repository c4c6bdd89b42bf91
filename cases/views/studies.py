"""Repeatability studies: an organisation's own uncertainty of a method."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from cases import clock, policies
from cases.errors import Invalid
from cases.forms.instruments import StudyForm, numbers_of
from cases.forms.vocabulary import term_choices
from cases.selectors import instruments as selectors
from cases.selectors.check_catalog import own_rule_set
from cases.services import instruments_studies as services
from cases.services.instruments_statistics import repeatability
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.paging import Slice, slice_of
from rules.readings import plain
from rules.terms import Method

if TYPE_CHECKING:
    from cases.models import RepeatabilityStudy

__all__ = ["new", "studies", "study", "withdraw"]

RIGHT = "instruments"
_POINT = tuple(m for m in Method if m is not Method.STRIP)


@dataclass(frozen=True, slots=True)
class _Line:
    """A study with its figures in words."""

    row: "RepeatabilityStudy"

    @property
    def method(self) -> str:
        """The method's name."""
        return dict(term_choices(_POINT)).get(self.row.method, self.row.method)

    @property
    def u(self) -> str:
        """The standard uncertainty that follows."""
        return plain(self.row.u_mm)

    @property
    def spread(self) -> str:
        """The repeatability standard deviation."""
        return plain(self.row.repeatability_mm)

    @property
    def bias(self) -> str:
        """Mean less reference; empty without a reference."""
        return "" if self.row.bias_mm is None else plain(self.row.bias_mm)

    @property
    def reference(self) -> str:
        """The object's true length; empty where unknown."""
        return "" if self.row.reference_mm is None else plain(self.row.reference_mm)


@dataclass(frozen=True, slots=True)
class _MethodLine:
    """A method with the rule set's default u and what the house found itself."""

    label: str
    default: str
    source: str
    own: list[_Line]


def _method_lines(actor: Actor, at: datetime) -> list[_MethodLine]:
    defaults = {d.method: d for d in own_rule_set(actor=actor, at=at).methods}
    found: dict[str, list[_Line]] = {}
    for row in selectors.studies_in_force(organisation_id=actor.organisation_id):
        found.setdefault(row.method, []).append(_Line(row))
    lines = []
    for method, label in zip(_POINT, term_choices(_POINT), strict=True):
        default = defaults.get(method)
        lines.append(
            _MethodLine(
                label[1],
                plain(default.u_mm) if default else "",
                default.source if default else "",
                found.get(method, []),
            )
        )
    return lines


@require_safe
@acting_required
def studies(request: ActingRequest) -> HttpResponse:
    """Show which u counts for each method, and every study."""
    policies.require_right(request.actor, RIGHT)
    page: Slice[RepeatabilityStudy] = slice_of(
        selectors.study_list(actor=request.actor), request, keep={}
    )
    context = {
        "methods": _method_lines(request.actor, clock.now()),
        "lines": [_Line(row) for row in page.rows],
        "page": page,
    }
    return render(request, "people/studies.html", context)


def _page(
    request: ActingRequest, form: StudyForm, *, status: int = 200
) -> HttpResponse:
    return render(request, "people/study_new.html", {"form": form}, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@acting_required
def new(request: ActingRequest) -> HttpResponse:
    """Record a study; what it says stands on its own page."""
    policies.require_right(request.actor, RIGHT)
    choices = selectors.instrument_choices(actor=request.actor)
    if request.method != "POST":
        return _page(request, StudyForm(instruments=choices))
    form = StudyForm(request.POST, instruments=choices)
    if not form.is_valid():
        return _page(request, form, status=422)
    given = form.cleaned_data
    try:
        made = services.study_record(
            actor=request.actor,
            method=given["method"],
            instrument=given["instrument"] or None,
            object_note=given["object_note"],
            reference_mm=given["reference_mm"],
            values=numbers_of(given["values"]),
            at=clock.now(),
        )
    except Invalid as error:
        form.place(error)
        return _page(request, form, status=422)
    messages.success(request, _("Recorded. This u counts from now on."))
    return redirect("study", code=made.code)


@require_safe
@acting_required
def study(request: ActingRequest, code: str) -> HttpResponse:
    """Show a study: its values and everything that follows from them."""
    found = selectors.study_get(actor=request.actor, code=code)
    policies.require_right(request.actor, RIGHT)
    values = [Decimal(value) for value in found.values]
    again = repeatability(values, reference_mm=found.reference_mm)
    in_force = selectors.study_in_force(
        organisation_id=request.actor.organisation_id,
        method=found.method,
        instrument_id=found.instrument_id,
    )
    context = {
        "study": found,
        "line": _Line(found),
        "mean": plain(round(again.mean_mm, 4)),
        "upper": plain(round(again.upper_mm, 4)),
        "counts": in_force is not None and in_force.pk == found.pk,
    }
    return render(request, "people/study.html", context)


@require_POST
@acting_required
def withdraw(request: ActingRequest, code: str) -> HttpResponse:
    """Take a study back."""
    services.study_withdraw(actor=request.actor, code=code, at=clock.now())
    messages.success(
        request, _("Withdrawn. What was judged with it keeps its figures.")
    )
    return redirect("studies")
