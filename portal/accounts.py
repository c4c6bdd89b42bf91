"""How allauth behaves here: no open sign-up, mail through the outbox, own words.

Sign-in is throttled by allauth's counts in the cache; portal.cache keeps them per
process while the cache server is away.
"""

import logging
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import wraps
from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.auth_backends import AuthenticationBackend
from allauth.account.internal.flows.login import get_authentication_records
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext_lazy as _

from cases import clock
from cases.services import people

__all__ = ["AccountAdapter", "MfaAdapter", "honest_status"]

logger = logging.getLogger(__name__)

_FRESH = timedelta(seconds=settings.ACCOUNT_REAUTHENTICATION_TIMEOUT)


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # -- allauth has no stubs
    """Accounts are made by invitation or by the first-run command only."""

    error_messages = {
        **DefaultAccountAdapter.error_messages,
        "email_password_mismatch": _(
            "This e-mail address and password do not belong together. Check both; "
            "the password is case-sensitive."
        ),
        "too_many_login_attempts": _(
            "Too many tries in a short time. Wait a few minutes, then try again."
        ),
        "incorrect_password": _("This password is not right."),
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Return False: nobody signs up unasked."""
        return False

    def get_client_ip(self, request: HttpRequest) -> str:
        """Return the address tries are counted by; one name for a local socket."""
        try:
            return str(super().get_client_ip(request))
        except PermissionDenied:
            return "local"

    def reauthenticate(self, user: AbstractBaseUser, password: str) -> bool:
        """Return whether the password is this person's, counting wrong ones."""
        found = self.authenticate(
            self.request, email=getattr(user, "email", ""), password=password
        )
        return found is not None and found.pk == user.pk

    def is_reauthentication_required(self, *, app: str, **kwargs: Any) -> bool:
        """Return whether to ask again; a fresh sign-in may set up a second factor.

        One that was there before that sign-in is touched only after asking.
        """
        user, now = self.request.user, clock.now()
        signed_in = [
            datetime.fromtimestamp(record["at"], UTC)
            for record in get_authentication_records(self.request, user)
            if record.get("method") == "password"
        ]
        if signed_in and now - signed_in[-1] < _FRESH:
            earlier = Authenticator.objects.filter(
                user_id=user.pk, created_at__lt=signed_in[-1]
            )
            if not earlier.exists():
                return False
        return bool(super().is_reauthentication_required(app=app, **kwargs))

    def authenticate(self, request: HttpRequest, **credentials: Any) -> Any:
        """Return the active person; an inactive one is like a wrong password."""
        found = super().authenticate(request, **credentials)
        AuthenticationBackend.unstash_authenticated_user()
        return found if found is not None and found.is_active else None

    def send_password_reset_mail(
        self, user: AbstractBaseUser, email: str, context: dict[str, Any]
    ) -> None:
        """Leave the link to the outbox, so that a mail outage loses nothing.

        An operator without membership has no tenant to keep the row; their mail
        goes out at once, and a mail server that is away shows in the log.
        """
        if people.password_reset_enqueue(user_id=user.pk, at=clock.now()):
            return
        try:
            super().send_password_reset_mail(user, email, context)
        except OSError:  # SMTPException is one
            logger.exception("a password reset mail could not be sent")

    def format_email_subject(self, subject: str) -> str:
        """Return the subject as it is; there is no site name to prefix."""
        return subject


class MfaAdapter(DefaultMFAAdapter):  # type: ignore[misc]  # -- allauth has no stubs
    """The second factor names the portal and the person."""

    error_messages = {
        **DefaultMFAAdapter.error_messages,
        "incorrect_code": _(
            "This code is not right. Enter the newest one your authenticator shows; "
            "each code works once."
        ),
    }

    def get_totp_label(self, user: Any) -> str:
        """Return the label shown in an authenticator application."""
        return str(user.email)


def honest_status(
    view: Callable[..., HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """Answer 422 when allauth shows a refused form again (it answers 200)."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        response = view(request, *args, **kwargs)
        shown = getattr(response, "context_data", None) or {}
        form = shown.get("form")
        posted = request.method == "POST" and response.status_code == 200
        if posted and form is not None and form.is_bound and form.errors:
            response.status_code = 422
        return response

    return wrapped
