"""What the web server runs."""

import os
from importlib import import_module

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")

application = get_wsgi_application()

# A commit that leaves something in the outbox wakes the worker. The tasks need
# the apps set up and the Celery application made, hence after the line above.
import_module("portal.celery")
import_module("cases.outbox").set_nudge(import_module("cases.tasks").nudge)
