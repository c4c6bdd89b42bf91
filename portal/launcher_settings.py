"""Settings of the commands that start things and read no database themselves.

``demo``, ``walkthrough``, ``test`` and their like run before there is a server or
a secret; what they start runs with ``portal.settings``.
"""

import secrets

SECRET_KEY = secrets.token_urlsafe(50)
INSTALLED_APPS = ["portal"]
DATABASES: dict[str, dict[str, object]] = {}
BROKER_URL = "memory://"
USE_TZ = True
