"""Strip sets, calipers and other instruments of one's organisation."""

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

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
from cases.enums import InstrumentKind
from cases.errors import Conflict, Invalid
from cases.forms.commands import LOOK, MORE
from cases.forms.faults import add_faults
from cases.forms.instruments import InstrumentForm, RetireForm
from cases.selectors import instruments as selectors
from cases.services import instruments as services
from cases.views.access import ActingRequest, acting_required
from cases.views.paging import Slice, slice_of
from rules.readings import plain

if TYPE_CHECKING:
    from cases.models import Instrument

__all__ = ["edit", "instruments", "new", "retire", "use"]

RIGHT = "instruments"
both = require_http_methods(["GET", "HEAD", "POST"])
_FIELDS = ("label", "resolution_mm", "u_mm", "most_uses", "uses", "note")


def length(value: Decimal) -> str:
    """Return a length as it is said: one decimal at least ("1.0", "0.125")."""
    text = plain(value)
    return text if "." in text else f"{text}.0"


@dataclass(frozen=True, slots=True)
class _Line:
    """An instrument as the list shows it."""

    row: "Instrument"

    @property
    def strips(self) -> list[dict[str, str]]:
        """Every strip: what is written on it, what it measures."""
        return [
            {
                "nominal": length(strip.nominal_mm),
                "measured": ""
                if strip.measured_mm is None
                else plain(strip.measured_mm),
            }
            for strip in self.row.strips.all()
        ]

    @property
    def resolution(self) -> str:
        """The resolution, empty where unknown."""
        return "" if self.row.resolution_mm is None else plain(self.row.resolution_mm)

    @property
    def certificate(self) -> str:
        """The certificate's u, empty where there is none."""
        return "" if self.row.u_mm is None else plain(self.row.u_mm)

    @property
    def worn(self) -> bool:
        """Whether the uses it was made for are reached."""
        most = self.row.most_uses
        return most is not None and self.row.uses >= most


@require_safe
@acting_required
def instruments(request: ActingRequest) -> HttpResponse:
    """List the instruments in use, or the retired ones (``?retired=1``)."""
    policies.require_right(request.actor, RIGHT)
    retired = request.GET.get("retired") == "1"
    rows = selectors.instruments(actor=request.actor, retired=retired)
    page: Slice[Instrument] = slice_of(
        rows, request, keep={"retired": "1"} if retired else {}
    )
    lines = [_Line(row) for row in page.rows]
    context = {
        "lines": lines,
        "page": page,
        "retired": retired,
        "worn": [line for line in lines if line.worn and not retired],
    }
    return render(request, "people/instruments.html", context)


def _page(
    request: ActingRequest,
    form: InstrumentForm,
    *,
    instrument: "Instrument | None" = None,
    status: int = 200,
) -> HttpResponse:
    context: dict[str, Any] = {
        "form": form,
        "kind": form.kind,
        "kind_label": InstrumentKind(form.kind).label,
        "kinds": InstrumentKind.choices,
        "instrument": instrument,
        "problems": form.problems,
    }
    return render(request, "people/instrument_edit.html", context, status=status)


def _save(
    request: ActingRequest, kind: str, instrument: "Instrument | None"
) -> HttpResponse:
    form = InstrumentForm(request.POST, kind=kind)
    if request.POST.get(LOOK) == MORE:
        kept = InstrumentForm(
            initial={name: request.POST.get(name, "") for name in _FIELDS}, kind=kind
        )
        kept.show(request.POST, more=3)
        return _page(request, kept, instrument=instrument)
    form.show(request.POST)
    if not form.is_valid():
        return _page(request, form, instrument=instrument, status=422)
    given = {name: form.cleaned_data.get(name, "") for name in _FIELDS}
    try:
        services.instrument_save(
            actor=request.actor,
            code=instrument.code if instrument else None,
            kind=kind,
            strips=form.strips(),
            at=clock.now(),
            **given,
        )
    except Invalid as error:
        form.place(error)
        return _page(request, form, instrument=instrument, status=422)
    messages.success(request, _("Stored. Readings may name it from now on."))
    return redirect("instruments")


@both
@acting_required
def new(request: ActingRequest) -> HttpResponse:
    """Enter an instrument; ``kind`` says which form."""
    policies.require_right(request.actor, RIGHT)
    asked = (request.POST if request.method == "POST" else request.GET).get("kind", "")
    kind = asked if asked in InstrumentKind.values else InstrumentKind.STRIPS.value
    if request.method == "POST":
        return _save(request, kind, None)
    form = InstrumentForm(kind=kind)
    form.show({}, more=4)
    return _page(request, form)


@both
@acting_required
def edit(request: ActingRequest, code: str) -> HttpResponse:
    """Change an instrument in use; a retired one is only shown in the list."""
    instrument = selectors.instrument_get(actor=request.actor, code=code)
    policies.require_right(request.actor, RIGHT)
    if instrument.retired_at is not None:
        raise Conflict("This instrument was retired; it stays as it was.")
    if request.method == "POST":
        return _save(request, instrument.kind, instrument)
    form = InstrumentForm(initial=_initial(instrument), kind=instrument.kind)
    form.show(_strip_texts(instrument), more=1)
    return _page(request, form, instrument=instrument)


def _initial(instrument: "Instrument") -> dict[str, str]:
    found = {}
    for name in _FIELDS:
        value = getattr(instrument, name)
        found[name] = plain(value) if isinstance(value, Decimal) else value
    return found


def _strip_texts(instrument: "Instrument") -> dict[str, str]:
    texts = {}
    for row, strip in enumerate(instrument.strips.all()):
        texts[f"strips-{row}-nominal_mm"] = length(strip.nominal_mm)
        if strip.measured_mm is not None:
            texts[f"strips-{row}-measured_mm"] = plain(strip.measured_mm)
    return texts


@require_POST
@acting_required
def use(request: ActingRequest, code: str) -> HttpResponse:
    """Count one use or sterilisation more; a second press of one page counts once."""
    seen = request.POST.get("seen", "")
    try:
        found = services.instrument_used(
            actor=request.actor,
            code=code,
            at=clock.now(),
            # 9 digits are more than any count.
            seen=int(seen) if seen.isdecimal() and len(seen) <= 9 else None,
        )
    except Conflict as error:
        messages.warning(request, _(error.message).format(**error.params))
        return redirect("instruments")
    told = _("Counted: {label} was used {uses} times.")
    messages.success(request, told.format(label=found.label, uses=found.uses))
    return redirect("instruments")


@both
@acting_required
def retire(request: ActingRequest, code: str) -> HttpResponse:
    """Ask why, then take an instrument out of use."""
    instrument = selectors.instrument_get(actor=request.actor, code=code)
    policies.require_right(request.actor, RIGHT)
    if instrument.retired_at is not None:
        raise Conflict("This instrument was retired already.")
    form = RetireForm(request.POST or None)
    status = 200
    if request.method == "POST":
        form = RetireForm(request.POST)
        status = 422
        if form.is_valid():
            try:
                services.instrument_retire(
                    actor=request.actor,
                    code=code,
                    reason=form.cleaned_data["reason"],
                    at=clock.now(),
                )
            except Invalid as error:
                add_faults(form, error)
            else:
                messages.success(
                    request, _("Taken out of use. Readings keep its name.")
                )
                return redirect("instruments")
    context = {"form": form, "instrument": instrument}
    return render(request, "people/instrument_retire.html", context, status=status)
