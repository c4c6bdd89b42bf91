"""The executor's settings: what a lost broker or worker may cost."""

import threading
import time

import pytest
from celery import current_app
from kombu.exceptions import OperationalError

from portal.celery import app


def test_with_the_broker_away_a_message_fails_at_once():
    """The tests' broker URL names a socket that does not exist."""
    began = time.monotonic()

    with pytest.raises(OperationalError):
        app.send_task("cases.tasks.relay_outbox", retry=False)

    assert time.monotonic() - began < 1


def test_no_task_may_outlive_the_time_after_which_it_is_given_to_another():
    visible = app.conf.broker_transport_options["visibility_timeout"]

    assert app.conf.task_soft_time_limit < app.conf.task_time_limit < visible


def test_only_json_is_read():
    assert app.conf.accept_content == ["json"]
    assert app.conf.task_serializer == "json"


def test_what_beat_sends_exists_and_does_not_pile_up():
    app.loader.import_default_modules()

    for entry in app.conf.beat_schedule.values():
        assert entry["task"] in app.tasks
        schedule, expires = entry["schedule"], entry["options"]["expires"]
        if isinstance(schedule, float):
            assert schedule <= expires <= 30
        else:
            # At most once an hour: gone before the next.
            assert len(schedule.minute) == 1
            assert expires < 3600


def test_the_digests_are_made_in_the_first_days_of_a_month():
    """Ten days: a machine that was off on the first makes them on another."""
    schedule = app.conf.beat_schedule["audit_digests"]["schedule"]
    assert schedule.day_of_month == set(range(1, 11))


def test_every_thread_of_the_web_server_speaks_to_our_broker():
    found: list[str] = []
    thread = threading.Thread(target=lambda: found.append(current_app.main))
    thread.start()
    thread.join()
    assert found == ["chairbench"]
