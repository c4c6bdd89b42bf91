"""Forms about people and organisations: shape only, services decide."""

import zoneinfo
from typing import Any, cast

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from cases.enums import OrganisationKind, Role, Side, ToothSystem

__all__ = [
    "AcceptForm",
    "DelegationForm",
    "InviteForm",
    "JoinForm",
    "ManagerForm",
    "OrganisationForm",
    "OrganisationMakeForm",
    "PartnerForm",
    "TokenForm",
    "roles_of",
]

_SIDES: dict[str, tuple[Role, ...]] = {
    Side.CLINIC: (Role.CLINICIAN, Role.ASSISTANT, Role.CLINIC_MANAGER),
    Side.LABORATORY: (Role.TECHNICIAN, Role.LAB_MANAGER),
}


def roles_of(side: str) -> list[tuple[str, str]]:
    """Return the roles of a side as choices."""
    return [(role.value, str(role.label)) for role in _SIDES[side]]


def _email() -> forms.EmailField:
    return forms.EmailField(
        label=_("E-mail address"),
        max_length=254,
        error_messages={
            "required": _("Enter the e-mail address, like name@example.org."),
            "invalid": _("Enter an e-mail address, like name@example.org."),
        },
    )


class InviteForm(forms.Form):
    """Whom to invite to which role."""

    email = _email()
    role = forms.ChoiceField(
        label=_("Role"),
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose what the person does here.")},
    )
    responsible_technician = forms.BooleanField(
        label=_("Responsible technician: may countersign an accepted risk"),
        required=False,
    )

    def __init__(self, *args: Any, side: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ChoiceField, self.fields["role"]).choices = roles_of(side)
        if side == Side.CLINIC:
            del self.fields["responsible_technician"]


class PartnerForm(forms.Form):
    """The code of the organisation to work with."""

    code = forms.CharField(
        label=_("Their code"),
        max_length=20,
        help_text=_("Ten letters and digits, like K7Q4MZ2R9T."),
        error_messages={"required": _("Enter the code the other side gave you.")},
    )


class DelegationForm(forms.Form):
    """Who signs for the clinician, on which days, and why."""

    delegate = forms.TypedChoiceField(
        label=_("Clinician who may sign for you"),
        coerce=int,
        error_messages={"required": _("Choose a clinician of your clinic.")},
    )
    starts_on = forms.DateField(
        label=_("First day"),
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={
            "required": _("Enter the first day."),
            "invalid": _("Enter a date, like 2031-05-27."),
        },
    )
    ends_on = forms.DateField(
        label=_("Last day"),
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={
            "required": _("Enter the last day."),
            "invalid": _("Enter a date, like 2031-05-27."),
        },
    )
    note = forms.CharField(
        label=_("What may be signed for you, and why"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": _("Write what may be signed for you, and why.")},
    )

    def __init__(
        self, *args: Any, delegates: list[tuple[int, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ChoiceField, self.fields["delegate"]).choices = [
            ("", _("Choose")),
            *delegates,
        ]


class TokenForm(forms.Form):
    """What a token is for and how long it lives."""

    name = forms.CharField(
        label=_("What it is for"),
        max_length=80,
        help_text=_("Such as the program that will use it."),
        error_messages={"required": _("Enter what the token is for.")},
    )
    days = forms.TypedChoiceField(
        label=_("Valid for"),
        coerce=int,
        choices=[
            (30, _("30 days")),
            (90, _("90 days")),
            (180, _("180 days")),
            (365, _("365 days")),
        ],
        initial=90,
        error_messages={"required": _("Choose how long it is valid.")},
    )


class OrganisationForm(forms.Form):
    """How an organisation is named and shown things."""

    name = forms.CharField(
        label=_("Name"),
        max_length=120,
        error_messages={"required": _("Enter the organisation's name.")},
    )
    address = forms.CharField(
        label=_("Address"),
        max_length=500,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("As it is printed on work orders."),
    )
    time_zone = forms.ChoiceField(label=_("Time zone"))
    tooth_system = forms.ChoiceField(
        label=_("Tooth numbering"),
        choices=ToothSystem.choices,
        help_text=_("How teeth are shown to you. Work orders also print ISO 3950."),
    )
    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = sorted(zoneinfo.available_timezones())
        cast(forms.ChoiceField, self.fields["time_zone"]).choices = [
            (zone, zone) for zone in zones
        ]


class OrganisationMakeForm(forms.Form):
    """A new organisation and the address of its first manager."""

    kind = forms.ChoiceField(
        label=_("Kind"),
        choices=OrganisationKind.choices,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose clinic or laboratory.")},
    )
    name = forms.CharField(
        label=_("Name"),
        max_length=120,
        error_messages={"required": _("Enter the organisation's name.")},
    )
    email = _email()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["email"].label = _("E-mail address of the first manager")


class ManagerForm(forms.Form):
    """Where to send the first manager's invitation again."""

    email = _email()


class JoinForm(forms.Form):
    """What a person who has an account adds to join."""

    licence_number = forms.CharField(
        label=_("Licence number"),
        max_length=60,
        help_text=_("Printed where you sign."),
        error_messages={"required": _("Enter your licence number.")},
    )

    def __init__(self, *args: Any, licensed: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not licensed:
            del self.fields["licence_number"]


class AcceptForm(JoinForm):
    """What an invited person without account enters."""

    name = forms.CharField(
        label=_("Your name"),
        max_length=120,
        help_text=_("As it is printed where you sign."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": _("Enter your name.")},
    )
    password = forms.CharField(
        label=_("Password"),
        max_length=256,
        strip=False,
        help_text=_("At least 12 characters. A sentence is easy to remember."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        error_messages={"required": _("Choose a password.")},
    )
    field_order = ("name", "licence_number", "password")
