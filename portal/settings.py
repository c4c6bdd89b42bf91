"""Settings of the portal: one file, everything changeable declared in env.py."""

import os
import sys
from pathlib import Path
from urllib.parse import urlsplit

import dj_database_url
from csp.constants import NONCE, NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from portal.env import envbool, envint, envlist, envstr

# One thread for small matrices: with several, processes that share a machine wait for
# each other (a chain of 120 heights: 2 ms alone, 40 to 490 ms with two threads under
# load). Read by the library when it is first loaded, which is later.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

BASE_DIR = Path(__file__).resolve().parent.parent

DEBUG = envbool("DEBUG")
SECURE = envbool("SECURE")
SECRET_KEY = envstr("SECRET_KEY")
if len(SECRET_KEY) < 50:
    raise ImproperlyConfigured("SECRET_KEY must have at least 50 characters")
ALLOWED_HOSTS = envlist("ALLOWED_HOSTS")
BASE_URL = envstr("BASE_URL").rstrip("/")
CSRF_TRUSTED_ORIGINS = [BASE_URL]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "csp",
    "django_htmx",
    "rest_framework",
    "drf_spectacular",
    "portal",
    "rules",
    "cases",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "portal.middleware.PrivateAnswers",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "portal.middleware.WholeRequests",
    "portal.middleware.ActingMembership",
    "portal.middleware.RequireSecondFactor",
    "portal.middleware.DomainErrors",
]

ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"
APPEND_SLASH = False

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.debug",
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "django.template.context_processors.i18n",
                "portal.context.acting",
                "portal.demo.people",
            ],
        },
    }
]


def _database(option: str) -> dict[str, object]:
    config: dict[str, object] = dict(dj_database_url.parse(envstr(option)))
    config["CONN_MAX_AGE"] = 0
    config["TIME_ZONE"] = None
    return config


# "default" is the application's login. Migrations, the relay and maintenance
# log in as themselves; an alias whose URL is not given does not exist, so a web
# process without the owner's password cannot reach the owner's role.
DATABASES: dict[str, dict[str, object]] = {"default": _database("DATABASE_URL")}
DATABASES["default"]["ATOMIC_REQUESTS"] = True
for _alias in ("owner", "relay", "maintenance"):
    try:
        DATABASES[_alias] = _database(f"{_alias.upper()}_DATABASE_URL")
    except RuntimeError:
        continue
DATABASE_ROUTERS: list[str] = []
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

BROKER_URL = envstr("BROKER_URL")


def _cache_location() -> str:
    if url := envstr("CACHE_URL"):
        return url
    if BROKER_URL.startswith("redis+socket://"):
        return "unix://" + BROKER_URL.removeprefix("redis+socket://")
    return BROKER_URL


CACHES = {
    "default": {
        "BACKEND": "portal.cache.FailOpenRedisCache",
        "LOCATION": _cache_location(),
        "KEY_PREFIX": "chairbench",
        # A server that hangs must not hang every sign-in.
        "OPTIONS": {"socket_timeout": 1},
    }
}

AUTH_USER_MODEL = "cases.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {
        "NAME": "django.contrib.auth.password_validation."
        "UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_ADAPTER = "portal.accounts.AccountAdapter"
MFA_ADAPTER = "portal.accounts.MfaAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 300
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = False
ACCOUNT_EMAIL_NOTIFICATIONS = False
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes"]
MFA_TOTP_ISSUER = "Chairbench"
MFA_ALLOW_UNVERIFIED_EMAIL = True
REQUIRE_SECOND_FACTOR = envbool("REQUIRE_SECOND_FACTOR")
# Set by `manage.py demo` alone: the invented people the sign-in page shows.
DEMO_PEOPLE_FILE = envstr("DEMO_PEOPLE_FILE")
SECOND_FACTOR_URL = "mfa_activate_totp"
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_SESSION_REMEMBER = False
PASSWORD_RESET_TIMEOUT = 24 * 3600
CSRF_FAILURE_VIEW = "portal.views.csrf_failure"

SESSION_COOKIE_NAME = "__Host-chairbench" if SECURE else "chairbench"
CSRF_COOKIE_NAME = "__Host-chairbench-csrf" if SECURE else "chairbench-csrf"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 12 * 3600
SECURE_SSL_REDIRECT = False  # the proxy's job; plain-http API calls are refused
SECURE_HSTS_SECONDS = 31_536_000 if SECURE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = SECURE
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if envbool("TRUST_PROXY"):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    # Tries are counted per client: the last address the proxy wrote down.
    ALLAUTH_TRUSTED_PROXY_COUNT = 1
# The proxy redirects to HTTPS and whitelists it there, not Django.
SILENCED_SYSTEM_CHECKS = ["security.W002", "security.W008"]

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF, NONCE],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
        "frame-ancestors": [NONE],
    }
}

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English"))]
TIME_ZONE = "UTC"
USE_I18N = USE_TZ = True
FORMAT_MODULE_PATH = ["portal.formats"]

STATIC_URL = "/static/"
STATIC_ROOT = BASE_DIR / ".cache" / "static"
WHITENOISE_USE_FINDERS = True
STORAGE_ROOT = Path(envstr("STORAGE_ROOT") or BASE_DIR / ".demo" / "storage")
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {
            "location": str(STORAGE_ROOT),
            "base_url": None,
            "file_permissions_mode": 0o600,
            "directory_permissions_mode": 0o700,
        },
    },
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
MAX_ATTACHMENT_BYTES = 10 * 1024 * 1024
MAX_API_BYTES = 2 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = (
    envint("DATA_UPLOAD_MB", minimum=3, maximum=100) * 1024 * 1024
)
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000


def _email() -> None:
    url = urlsplit(envstr("EMAIL_URL"))
    module = sys.modules[__name__]
    values: dict[str, object]
    if url.scheme in {"", "file"}:
        folder = url.path or str(BASE_DIR / ".demo" / "mail")
        values = {
            "EMAIL_BACKEND": "django.core.mail.backends.filebased.EmailBackend",
            "EMAIL_FILE_PATH": folder,
        }
    elif url.scheme in {"smtp", "smtps"}:
        values = {
            "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
            "EMAIL_HOST": url.hostname or "localhost",
            "EMAIL_PORT": url.port or 25,
            "EMAIL_HOST_USER": url.username or "",
            "EMAIL_HOST_PASSWORD": url.password or "",
            "EMAIL_USE_TLS": url.scheme == "smtps",
            "EMAIL_TIMEOUT": 10,
        }
    else:
        raise ImproperlyConfigured(
            "EMAIL_URL must start with smtp://, smtps:// or file://"
        )
    for name, value in values.items():
        setattr(module, name, value)


_email()
DEFAULT_FROM_EMAIL = SERVER_EMAIL = envstr("EMAIL_FROM")

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["cases.api.authentication.ActingAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["cases.api.authentication.IsActing"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["cases.api.parsers.StrictJSONParser"],
    "EXCEPTION_HANDLER": "cases.api.errors.problem_response",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_THROTTLE_RATES": {"check": "1200/min", "grants": "20/min"},
    "UNAUTHENTICATED_USER": None,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Chairbench",
    "DESCRIPTION": "Settle the clearance of a tooth preparation before fabrication.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "INFO"},
    "loggers": {
        "weasyprint": {"level": "ERROR"},
        "fontTools": {"level": "ERROR"},
        "matplotlib": {"level": "WARNING"},
    },
}
