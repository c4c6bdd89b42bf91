"""Start page, health and the pages about signing in."""

from cases.services.people import password_reset_path
from tests.permissions.shape import Row, Target
from tests.personas import Personas


def reset_key(personas: Personas) -> Target:
    """Take the clinician's reset link apart."""
    uidb36, _, key = (
        password_reset_path(personas.clinician.user).split("/")[-2].partition("-")
    )
    return Target(kwargs={"uidb36": uidb36, "key": key})


def wrong_password(personas: Personas) -> Target:
    """Fill the sign-in form wrongly."""
    return Target(data={"login": "nobody@example.org", "password": "wrong"})


# In the order of PERSONAS:
#      clinic A          | laboratory L | B   M   operator  anonymous
ROWS = (
    Row("home", "GET", "302 302 302 302 302 302 302 302 302"),
    Row("health_live", "GET", "200 200 200 200 200 200 200 200 200"),
    Row("health_ready", "GET", "200 200 200 200 200 200 200 200 200"),
    Row("account_login", "GET", "302 302 302 302 302 302 302 302 200"),
    Row("account_login", "POST", "302 302 302 302 302 302 302 302 422", wrong_password),
    Row("account_logout", "GET", "200 200 200 200 200 200 200 200 302"),
    Row("account_logout", "POST", "302 302 302 302 302 302 302 302 302"),
    Row("account_inactive", "GET", "200 200 200 200 200 200 200 200 200"),
    Row("account_reauthenticate", "GET", "200 200 200 200 200 200 200 200 302"),
    Row("account_change_password", "GET", "200 200 200 200 200 200 200 200 302"),
    Row("account_reset_password", "GET", "200 200 200 200 200 200 200 200 200"),
    Row("account_reset_password_done", "GET", "200 200 200 200 200 200 200 200 200"),
    # The clinician has signed in since, so their own link no longer works.
    Row(
        "account_reset_password_from_key",
        "GET",
        "200 302 302 302 302 302 302 302 302",
        reset_key,
    ),
    Row(
        "account_reset_password_from_key_done",
        "GET",
        "200 200 200 200 200 200 200 200 200",
    ),
    Row("mfa_index", "GET", "200 200 200 200 200 200 200 200 302"),
    Row("mfa_authenticate", "GET", "302 302 302 302 302 302 302 302 302"),
    Row("mfa_reauthenticate", "GET", "200 200 200 200 200 200 200 200 302"),
    # Everybody has an authenticator: to the confirmation, then to its removal.
    Row("mfa_activate_totp", "GET", "302 302 302 302 302 302 302 302 302"),
    Row("mfa_deactivate_totp", "GET", "302 302 302 302 302 302 302 302 302"),
    Row("mfa_deactivate_totp", "POST", "302 302 302 302 302 302 302 302 302"),
    Row("mfa_view_recovery_codes", "GET", "404 404 404 404 404 404 404 404 302"),
    Row("mfa_generate_recovery_codes", "GET", "302 302 302 302 302 302 302 302 302"),
    Row("mfa_generate_recovery_codes", "POST", "302 302 302 302 302 302 302 302 302"),
    Row("mfa_download_recovery_codes", "GET", "404 404 404 404 404 404 404 404 302"),
)
