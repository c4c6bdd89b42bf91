"""The containers' health checks, asked against what they really look at."""

import os
import time
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

import pytest

from portal import healthcheck


class Site(HTTPServer):
    """A web server of our own with a status to give."""

    status = 200
    asked = ""


class Answering(BaseHTTPRequestHandler):
    """Answers with the site's status and remembers under which name."""

    server: Site

    def do_GET(self):
        self.server.asked = self.headers["Host"]
        self.send_response(self.server.status)
        self.end_headers()

    def log_message(self, *arguments):
        """Say nothing."""


@pytest.fixture
def site(monkeypatch):
    running = Site(("127.0.0.1", 0), Answering)
    port = running.server_address[1]
    monkeypatch.setattr(healthcheck, "WEB", f"http://127.0.0.1:{port}/health/ready")
    thread = Thread(target=running.serve_forever)
    thread.start()
    yield running
    running.shutdown()
    thread.join()
    running.server_close()


def test_the_web_server_is_asked_under_an_allowed_name(site, monkeypatch):
    monkeypatch.setenv("ALLOWED_HOSTS", "portal.example, other.example")

    assert healthcheck.main("web") == 0
    assert site.asked == "portal.example"


def test_a_web_server_without_its_database_is_not_healthy(site, capsys):
    site.status = 503

    assert healthcheck.main("web") == 1
    assert "503" in capsys.readouterr().err


def test_a_silent_web_server_is_not_healthy(monkeypatch, capsys):
    monkeypatch.setattr(healthcheck, "WEB", "http://127.0.0.1:9/health/ready")

    assert healthcheck.main("web") == 1
    assert "refused" in capsys.readouterr().err


@pytest.mark.parametrize(("age", "status"), [(0, 0), (599, 0), (601, 1)])
def test_beat_is_healthy_while_it_writes_its_schedule(
    tmp_path, monkeypatch, age, status
):
    monkeypatch.setattr(healthcheck, "BEAT_SCHEDULE", tmp_path / "beat.db")
    # What shelve makes of the name depends on the machine: here a suffix.
    written = tmp_path / "beat.db.dat"
    written.touch()
    then = time.time() - age
    os.utime(written, (then, then))

    assert healthcheck.main("beat") == status


def test_a_beat_that_never_wrote_is_not_healthy(tmp_path, monkeypatch):
    monkeypatch.setattr(healthcheck, "BEAT_SCHEDULE", tmp_path / "beat.db")

    assert healthcheck.main("beat") == 1
