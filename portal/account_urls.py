"""The pages of allauth that this portal uses; what is not here has no address.

There is no sign-up: accounts come from invitations and the first-run command.
"""

from allauth.account import views as account
from allauth.mfa.base import views as mfa
from allauth.mfa.recovery_codes import views as recovery
from allauth.mfa.totp import views as totp
from django.urls import path, re_path

from portal.accounts import honest_status

urlpatterns = [
    path("login/", honest_status(account.login), name="account_login"),
    path("logout/", account.logout, name="account_logout"),
    path("inactive/", account.account_inactive, name="account_inactive"),
    path(
        "reauthenticate/",
        honest_status(account.reauthenticate),
        name="account_reauthenticate",
    ),
    path(
        "password/change/",
        honest_status(account.password_change),
        name="account_change_password",
    ),
    path(
        "password/reset/",
        honest_status(account.password_reset),
        name="account_reset_password",
    ),
    path(
        "password/reset/done/",
        account.password_reset_done,
        name="account_reset_password_done",
    ),
    re_path(
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]{1,20})-(?P<key>[-\w]{1,120})/$",
        honest_status(account.password_reset_from_key),
        name="account_reset_password_from_key",
    ),
    path(
        "password/reset/key/done/",
        account.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    path("second-factor/", mfa.index, name="mfa_index"),
    path(
        "second-factor/code/", honest_status(mfa.authenticate), name="mfa_authenticate"
    ),
    path(
        "second-factor/confirm/",
        honest_status(mfa.reauthenticate),
        name="mfa_reauthenticate",
    ),
    path(
        "second-factor/set-up/",
        honest_status(totp.activate_totp),
        name="mfa_activate_totp",
    ),
    path(
        "second-factor/remove/",
        honest_status(totp.deactivate_totp),
        name="mfa_deactivate_totp",
    ),
    path(
        "second-factor/recovery-codes/",
        recovery.view_recovery_codes,
        name="mfa_view_recovery_codes",
    ),
    path(
        "second-factor/recovery-codes/new/",
        honest_status(recovery.generate_recovery_codes),
        name="mfa_generate_recovery_codes",
    ),
    path(
        "second-factor/recovery-codes/download/",
        recovery.download_recovery_codes,
        name="mfa_download_recovery_codes",
    ),
]
