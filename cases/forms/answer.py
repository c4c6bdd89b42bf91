"""The clinician's answer: one choice among the ways out, with what its kind needs.

Nothing is chosen beforehand. What is barred cannot be chosen.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from cases.forms.commands import CommandForm, ProseField
from cases.forms.signing import SigningForm
from cases.forms.vocabulary import Choices
from cases.lifecycle import AnswerKind
from cases.services.answers import ROWS, AnswerInput
from cases.services.units import UNIT_TEXTS
from rules.terms import Referral, label

__all__ = [
    "OTHER",
    "REFERRAL_WORDS",
    "AnswerForm",
    "ChoiceForm",
    "WayOut",
    "variant_of",
]

# The choice whose material is picked in a list of its own.
OTHER = "change"
CHANGING = (AnswerKind.CHANGE_MATERIAL, AnswerKind.CHANGE_DESIGN)

REFERRAL_WORDS: dict[str, Promise] = {r.value: _(label(r)) for r in Referral}


@dataclass(frozen=True, slots=True)
class WayOut:
    """One way out as it stands on the page.

    ``removal`` says how much sound tissue it takes; ``changes`` tooth → unit keys.
    """

    key: str
    kind: AnswerKind
    title: str
    feasible: bool = True
    figures: tuple[str, ...] = ()
    consequences: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    caution: str = ""
    changes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    offered: bool = False
    removal: str = ""

    @property
    def needs_grounds(self) -> bool:
        """Whether grounds must be written."""
        return ROWS[self.kind].needs_grounds

    @property
    def needs_consent(self) -> bool:
        """Whether the patient's consent must be confirmed."""
        return ROWS[self.kind].needs_consent

    @property
    def countersigned(self) -> bool:
        """Whether it waits for the laboratory's responsible technician."""
        return ROWS[self.kind].countersigned


def variant_of(value: str) -> dict[str, str]:
    """Return the unit keys of a listed variant ("material|surface|cementation")."""
    keys = ("material", "occlusal_surface", "cementation")
    return {k: v for k, v in zip(keys, value.split("|"), strict=False) if v}


# What a query about shade or margin is answered with, beside the material.
_TEXTS = {
    "shade": _("Shade, %(tooth)s"),
    "finish_line": _("Finish line, %(tooth)s"),
}


class ChoiceForm(CommandForm):
    """The choice and everything a kind may need beside it."""

    choice = forms.ChoiceField(
        label=_("Your decision"),
        widget=forms.RadioSelect,
        error_messages={
            "required": _("Choose one of the ways out."),
            "invalid_choice": _("Choose one of the ways out that are possible."),
        },
    )
    referral = forms.ChoiceField(
        label=_("What comes first"),
        required=False,
        choices=[("", "–"), *REFERRAL_WORDS.items()],
    )
    review_on = forms.DateField(
        label=_("Review on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": _("Enter a date like 2026-05-31.")},
    )
    grounds = ProseField(
        label=_("Grounds, or a word to the laboratory"),
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"max_length": _("Write at most 4000 characters.")},
    )
    consent = forms.BooleanField(
        label=_("The patient was informed and consented"), required=False
    )

    def __init__(
        self,
        *args: Any,
        ways: Sequence[WayOut],
        variants: Mapping[str, Choices],
        words: Mapping[str, str],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.ways = {way.key: way for way in ways}
        possible = [(way.key, way.title) for way in ways if way.feasible]
        self.fields["choice"].choices = possible  # type: ignore[attr-defined]  # -- a ChoiceField
        self.teeth = tuple(variants)
        for tooth, listed in variants.items():
            self.fields[f"changes-{tooth}"] = forms.ChoiceField(
                label=words[tooth],
                required=False,
                choices=[("", _("as prescribed")), *listed],
            )
            for key, text in _TEXTS.items():
                self.fields[f"{key}-{tooth}"] = forms.CharField(
                    label=text % {"tooth": words[tooth]},
                    required=False,
                    max_length=UNIT_TEXTS[key],
                    widget=forms.TextInput(
                        attrs={"placeholder": _("as prescribed"), "autocomplete": "off"}
                    ),
                    error_messages={"max_length": _("Write a shorter text.")},
                )

    @property
    def way(self) -> WayOut | None:
        """The way out that was chosen, if one was."""
        return self.ways.get(str(self["choice"].value() or ""))

    @property
    def change_fields(self) -> list[forms.BoundField]:
        """The lists of materials, and shade and finish line, tooth by tooth."""
        return [
            self[f"{key}-{tooth}"]
            for tooth in self.teeth
            for key in ("changes", *_TEXTS)
        ]

    def _changes(self, way: WayOut) -> dict[str, dict[str, str]]:
        found = {tooth: dict(keys) for tooth, keys in way.changes.items()}
        for tooth in self.teeth:
            value = self.cleaned_data.get(f"changes-{tooth}")
            if value and tooth not in found:
                found[tooth] = variant_of(value)
            for key in _TEXTS:
                if text := self.cleaned_data.get(f"{key}-{tooth}"):
                    found.setdefault(tooth, {})[key] = text
        return found

    def answer(self) -> AnswerInput:
        """Return what the service takes; the form must be valid."""
        way = self.ways[self.cleaned_data["choice"]]
        changing = way.kind in CHANGING
        return AnswerInput(
            kind=way.kind,
            grounds=self.cleaned_data["grounds"],
            consent=self.cleaned_data["consent"] and way.needs_consent,
            changes=self._changes(way) if changing else {},
            review_on=self.cleaned_data["review_on"]
            if way.kind is AnswerKind.REFER
            else None,
            referral=self.cleaned_data["referral"]
            if way.kind is AnswerKind.REFER
            else "",
        )


class AnswerForm(SigningForm, ChoiceForm):
    """The same, signed."""

    purpose: ClassVar[str] = "answer"
