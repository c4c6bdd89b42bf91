"""Forms of the audit: what narrows it, and how it is set up. Shape only."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.audit.filters import AuditFilters
from cases.forms.audit_words import FILTERS, audit_words
from cases.forms.fields import WholeField

__all__ = [
    "FOLDED",
    "SHOWN",
    "FilterForm",
    "NoteForm",
    "SettingsForm",
    "ViewForm",
    "chosen_words",
]

Choices = Mapping[str, Sequence[tuple[str, str]]]

# In the order they stand; what only some viewers may choose by is left out for others.
SHOWN: Final = ("clinic", "clinician", "material", "tooth_class")
FOLDED: Final = ("technician", "kind", "method", "cause")
# Chosen by following a number, never from a list.
_FOLLOWED: Final = (
    "outcome",
    "flagged",
    "option",
    "first_verdict",
    "first_class",
    "built_class",
)
_WORDS_OF: Final = {"first_verdict": "verdict"}


def _month(label: Any) -> forms.CharField:
    """Return a month's field; a browser without a picker shows where to type."""
    return forms.CharField(
        label=label,
        required=False,
        max_length=20,
        widget=forms.TextInput(
            attrs={"type": "month", "placeholder": "2026-05", "autocomplete": "off"}
        ),
    )


def _offered(choices: Choices) -> dict[str, list[tuple[str, str]]]:
    """Return what each filter may be: names from the rows, the rest from the words."""
    words = audit_words()
    found = {name: list(pairs) for name, pairs in choices.items()}
    for name in ("kind", "tooth_class", "method"):
        found.setdefault(name, [(k, w) for k, w in words[name].items() if k])
    own = found.get("cause", [])
    known = {key for key, _label in own}
    builtin = [(k, w) for k, w in words["cause"].items() if k not in known]
    found["cause"] = builtin + own
    return found


def chosen_words(
    filters: AuditFilters, choices: Choices
) -> list[tuple[str, str, str, str]]:
    """Return (name, value, name in words, value in words) of every filter in force."""
    words, offered = audit_words(), _offered(choices)
    found = []
    for name, label in FILTERS.items():
        value = getattr(filters, name)
        if not value:
            continue
        said = dict(offered.get(name, ())) or words.get(_WORDS_OF.get(name, name), {})
        found.append((name, value, str(label), said.get(value, value)))
    return found


class FilterForm(forms.Form):
    """What narrows a page; ``choices`` says by what the viewer may choose.

    ``second`` adds the period to compare with.
    """

    use_required_attribute = False

    def __init__(
        self, data: Mapping[str, str], *, choices: Choices, second: bool = False
    ) -> None:
        super().__init__(data)
        self.fields["from"] = _month(_("From month"))
        self.fields["to"] = _month(_("To month"))
        if second:
            self.fields["from2"] = _month(_("Compared with: from"))
            self.fields["to2"] = _month(_("Compared with: to"))
        offered = _offered(choices)
        for name in (*SHOWN, *FOLDED):
            pairs = offered.get(name)
            if not pairs:
                continue
            value = data.get(name, "")
            if value and value not in dict(pairs):
                # A value of an old address is shown, or it would narrow unseen.
                pairs = [*pairs, (value[:60], value[:60])]
            self.fields[name] = forms.CharField(
                label=str(FILTERS[name]),
                required=False,
                widget=forms.Select(choices=[("", _("All")), *pairs]),
            )
        for name in _FOLLOWED:
            if data.get(name):
                self.fields[name] = forms.CharField(
                    required=False, widget=forms.HiddenInput
                )

    def _fields(self, names: Sequence[str]) -> list[forms.BoundField]:
        return [self[name] for name in names if name in self.fields]

    @property
    def shown(self) -> list[forms.BoundField]:
        """The fields that stand open."""
        return self._fields(("from", "to", "from2", "to2", *SHOWN))

    @property
    def folded(self) -> list[forms.BoundField]:
        """The fields under "More filters"."""
        return self._fields(FOLDED)

    @property
    def opened(self) -> bool:
        """Whether one of the folded fields is in use or at fault."""
        return any(field.value() or field.errors for field in self.folded)


class SettingsForm(forms.Form):
    """How the organisation's audit is shown."""

    small_number = WholeField(
        minimum="1",
        maximum="1000",
        label=_("Smallest count that is shown"),
        help_text=_(
            "Counts from 1 up to below it are hidden, with everything they could be "
            "worked out from. Zero and the number of restorations are always shown."
        ),
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={"required": _("Enter a whole number, like 5.")},
    )
    least_cases = WholeField(
        minimum="1",
        maximum="1000",
        label=_("Fewest restorations a rate is shown for"),
        help_text=_("A rate of fewer says too little; its row says “too few”."),
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={"required": _("Enter a whole number, like 10.")},
    )
    compare_people = forms.BooleanField(
        label=_("Show tables that name people, and filters by person"),
        required=False,
    )
    currency = forms.CharField(
        label=_("Currency of what remakes cost"),
        max_length=10,
        help_text=_("Three letters, like EUR or CHF."),
        widget=forms.TextInput(attrs={"autocapitalize": "characters"}),
        error_messages={"required": _("Enter the three letters of the currency.")},
    )
    monthly_digest = forms.BooleanField(
        label=_("Send managers a monthly digest by e-mail"),
        help_text=_("Figures and findings only, nothing about a patient."),
        required=False,
    )

    def clean_small_number(self) -> int:
        """Return the threshold as a whole number."""
        return int(self.cleaned_data["small_number"])

    def clean_least_cases(self) -> int:
        """Return the least number of restorations as a whole number."""
        return int(self.cleaned_data["least_cases"])


class NoteForm(forms.Form):
    """What happened on a day, to stand on the charts."""

    on = forms.DateField(
        label=_("Day"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={
            "required": _("Enter the day."),
            "invalid": _("Enter a date, like 2031-05-27."),
        },
    )
    text = forms.CharField(
        label=_("What happened"),
        max_length=120,
        help_text=_("Such as a training held. No names of patients or people."),
        error_messages={"required": _("Write what happened.")},
    )


class ViewForm(forms.Form):
    """The name a selection is kept under."""

    name = forms.CharField(
        label=_("Name of the view"),
        max_length=60,
        error_messages={"required": _("Enter a name for this view.")},
    )
    rolling = forms.BooleanField(
        label=_("Always the last 12 months, instead of this period"),
        required=False,
    )
    page = forms.CharField(widget=forms.HiddenInput, required=False)
    query = forms.CharField(widget=forms.HiddenInput, required=False)

    def kept_query(self) -> str:
        """Return the query string to keep, without a period where it rolls."""
        query = cast(str, self.cleaned_data["query"])
        if not self.cleaned_data["rolling"]:
            return query
        pairs = query.split("&")
        return "&".join(p for p in pairs if not p.startswith(("from=", "to=")))
