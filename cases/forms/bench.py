"""The filters of a list of cases; they live in the address of the page."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.forms.words import STATES
from cases.lifecycle import Mover
from cases.selectors.cases import CaseFilters
from rules.terms import Verdict, label

__all__ = ["FilterForm"]

_ANY = ("", _("All"))


class FilterForm(forms.Form):
    """What narrows a list; a value that is none of the choices narrows nothing."""

    whose = forms.ChoiceField(
        required=False,
        choices=[("", ""), *((mover.value, mover.value) for mover in Mover)],
        widget=forms.HiddenInput,
    )
    state = forms.ChoiceField(
        label=_("State"), required=False, choices=[_ANY, *STATES.items()]
    )
    verdict = forms.ChoiceField(
        label=_("Verdict"),
        required=False,
        choices=[_ANY, *((v.value, _(label(v))) for v in Verdict)],
    )
    partner = forms.ChoiceField(label=_("Clinic"), required=False)
    due = forms.DateField(
        label=_("Due by"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    order = forms.ChoiceField(
        label=_("Order"),
        required=False,
        choices=[("", _("By due date")), ("newest", _("Newest first"))],
    )
    search = forms.CharField(
        label=_("Case code, pan or patient reference"),
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"type": "search", "data-key": "/"}),
    )

    def __init__(
        self, *args: Any, partners: Sequence[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if partners:
            self.fields["partner"].choices = [_ANY, *partners]  # type: ignore[attr-defined]  # -- a ChoiceField
        else:
            del self.fields["partner"]

    def filters(self) -> CaseFilters:
        """Return the filters that hold; one that cannot be read does not."""
        self.is_valid()
        found = {k: v for k, v in self.cleaned_data.items() if v}
        return CaseFilters(
            states=(found["state"],) if "state" in found else (),
            whose=found.get("whose", ""),
            clinic=found.get("partner", ""),
            verdict=found.get("verdict", ""),
            due_before=found.get("due"),
            search=found.get("search", "").replace("\x00", ""),
            by_due=found.get("order") != "newest",
        )

    @property
    def narrowed(self) -> bool:
        """Whether anything narrows the list."""
        return any(v for k, v in self.cleaned_data.items() if k != "order")

    @property
    def opened(self) -> bool:
        """Whether one of the folded filters is in use."""
        shown = ("whose", "search")
        return any(v for k, v in self.cleaned_data.items() if k not in shown)
