"""Settings of the tests: the portal's own, quick and without a network.

The environment is fixed here, so that a developer's variables change no result;
the database URLs come from tests/plugin_postgres.py.
"""

import os

from tests.plugin_postgres import files_folder

os.environ.update(
    SECRET_KEY="tests-only-" + "0123456789" * 5,
    ALLOWED_HOSTS="localhost,127.0.0.1,testserver",
    BASE_URL="http://localhost:8000",
    # Nothing listens here: a nudge to the broker fails at once, as in an outage.
    BROKER_URL="redis+socket:///nonexistent/valkey.sock",
    DEBUG="false",
    SECURE="false",
    EMAIL_URL="",
    STORAGE_ROOT=str(files_folder()),
    DEMO_PEOPLE_FILE="",
)
# Type checking and migration checks import the settings without a server.
os.environ.setdefault(
    "DATABASE_URL", "postgresql://chairbench_app@/chairbench?host=/nonexistent"
)

from portal.settings import *  # noqa: F403 -- the environment above comes first

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
# Look files up when asked: scanning every static folder costs each test client
# some tens of milliseconds.
WHITENOISE_AUTOREFRESH = True
