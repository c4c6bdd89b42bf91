"""Celery: an executor only. The outbox table is the truth, the broker a nudge."""

import os

from celery import Celery
from celery.schedules import crontab
from django.conf import settings

__all__ = ["app"]

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")

VISIBILITY_TIMEOUT = 900  # seconds; no task may run longer, or it would run twice
HARD_LIMIT = 600
SOFT_LIMIT = 540

app = Celery("chairbench")
# For every thread: a request is served by another one than that which imports this,
# and would speak to a broker on nobody's machine.
app.set_default()
app.conf.update(
    broker_url=settings.BROKER_URL,
    broker_connection_retry_on_startup=True,
    broker_transport_options={
        "visibility_timeout": VISIBILITY_TIMEOUT,
        # With kombu's defaults a killed worker's task came back after 106 s, with
        # these after 17 s (measured at a visibility timeout of 10 s).
        "unacked_restore_interval": 5,
        "unacked_restore_throttle": 1,
        # A nudge with the broker away fails at once (6 s with kombu's default of
        # connecting again): nobody waits for it, the sweep comes anyway. Worker
        # and beat come back by rules of their own.
        "max_retries": 0,
        "socket_connect_timeout": 2,
        "socket_timeout": 30,
    },
    # A task is acknowledged when it is done; a killed pool process gives it back.
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    task_ignore_result=True,
    task_soft_time_limit=SOFT_LIMIT,
    task_time_limit=HARD_LIMIT,
    worker_cancel_long_running_tasks_on_connection_loss=True,
    # JSON only: a pickled message would run as code.
    accept_content=["json"],
    task_serializer="json",
    timezone="UTC",
    beat_schedule={
        # The nudge after commit is usually there first; this finds what it missed.
        "relay": {
            "task": "cases.tasks.relay_outbox",
            "schedule": 1.0,
            "options": {"expires": 5},
        },
        "sweep": {
            "task": "cases.tasks.sweep",
            "schedule": 30.0,
            "options": {"expires": 30},
        },
        # Once is enough; every hour of ten days, because a machine may be off on the
        # first, and what fails or takes too long is tried again. By the second the
        # month before the last was followed up everywhere.
        "audit_digests": {
            "task": "cases.tasks.audit_digests",
            "schedule": crontab(minute=20, day_of_month="1-10"),
            "options": {"expires": 1800},
        },
    },
)
app.autodiscover_tasks(["cases"])
