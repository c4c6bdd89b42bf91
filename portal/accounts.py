"""How allauth behaves here: no open sign-up, a local throttle as a backstop."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from django.http import HttpRequest

__all__ = ["AccountAdapter", "MfaAdapter"]


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc] -- allauth has no stubs
    """Accounts are made by invitation or by the first-run command only."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Return False: nobody signs up unasked."""
        return False


class MfaAdapter(DefaultMFAAdapter):  # type: ignore[misc] -- allauth has no stubs
    """The second factor names the portal and the person."""

    def get_totp_label(self, user: Any) -> str:
        """Return the label shown in an authenticator application."""
        return str(user.email)
