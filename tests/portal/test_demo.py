"""``manage.py demo`` as its user runs it: a process, a port, a folder, Ctrl-C."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

import pytest

from portal.embedded.children import HEALTH, ROOT
from portal.embedded.folders import command_line
from portal.env import OPTIONS

pytestmark = pytest.mark.stack

START_PATIENCE = 300  # seconds; the scenario takes a minute on a busy machine
STOP_PATIENCE = 20


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def plain_environment():
    """Ours without what the test run has set: the demo brings its own."""
    ours = {option.name for option in OPTIONS} | {"DJANGO_SETTINGS_MODULE"}
    return {name: value for name, value in os.environ.items() if name not in ours}


def ask(port):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{HEALTH}", timeout=5) as got:
        return got.status


def eventually(condition, patience):
    deadline = time.monotonic() + patience
    while True:
        found = condition()
        if found or time.monotonic() > deadline:
            return found
        time.sleep(0.1)


class Demo:
    """One demo's folder and port, started as often as wanted."""

    def __init__(self, folder):
        self.data = folder / "data"
        self.port = free_port()
        self.credentials = folder / "people.json"
        self.output = folder / "output"

    def command(self, *, data=None, port=None):
        return [
            *(sys.executable, str(ROOT / "manage.py"), "demo"),
            *("--data", str(data or self.data), "--port", str(port or self.port)),
        ]

    def start(self):
        self.credentials.unlink(missing_ok=True)
        with self.output.open("wb") as output:
            process = subprocess.Popen(
                [*self.command(), "--credentials", str(self.credentials)],
                env=plain_environment(),
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                # As a shell starts a background job; SIGINT must end it anyway.
                preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_IGN),
            )

        def settled():
            return self.credentials.exists() or process.poll() is not None

        assert eventually(settled, START_PATIENCE), self.output.read_text()
        assert process.poll() is None, self.output.read_text()
        return process

    def try_to_start(self, **other):
        return subprocess.run(
            self.command(**other),
            env=plain_environment(),
            capture_output=True,
            text=True,
            timeout=START_PATIENCE,
        )

    def processes(self):
        """Everything that runs from this demo's folder or on its port."""
        address = f"127.0.0.1:{self.port}"
        numbers = [int(p.name) for p in Path("/proc").iterdir() if p.name.isdigit()]
        return [
            pid
            for pid in numbers
            if any(str(self.data) in a or a == address for a in command_line(pid))
        ]


@pytest.fixture
def folder():
    path = Path(tempfile.mkdtemp(prefix="cb-"))
    path.chmod(0o711)
    yield path
    shutil.rmtree(path, ignore_errors=True)


@pytest.fixture
def demo(folder):
    made = Demo(folder)
    yield made
    for pid in made.processes():
        os.kill(pid, signal.SIGKILL)


def test_the_demo_runs_repairs_itself_and_stops_on_ctrl_c(demo):
    process = demo.start()

    assert ask(demo.port) == 200
    assert demo.credentials.stat().st_mode & 0o777 == 0o600
    written = json.loads(demo.credentials.read_text())
    assert written["base_url"] in {
        f"http://localhost:{demo.port}",
        f"http://127.0.0.1:{demo.port}",  # on a machine that lacks the name
    }
    shown = demo.output.read_text()
    for person in written["people"]:
        assert person["email"] in shown
        assert person["password"] in shown
    assert [name.name for name in demo.data.parent.glob(".people.json*")] == []

    second = demo.try_to_start(port=free_port())
    assert second.returncode == 1
    assert f"Another Chairbench (process {process.pid}) already runs" in second.stderr
    assert "Traceback" not in second.stderr

    third = demo.try_to_start(data=demo.data.parent / "other")
    assert third.returncode == 1
    assert f"Port {demo.port} cannot be used" in third.stderr
    assert "--port" in third.stderr

    web = [pid for pid in demo.processes() if "gunicorn" in command_line(pid)]
    for pid in web:
        os.kill(pid, signal.SIGKILL)

    def answers():
        try:
            return ask(demo.port) == 200
        except OSError:
            return False

    assert eventually(answers, START_PATIENCE)
    assert "web ended" in demo.output.read_text()

    process.send_signal(signal.SIGINT)
    assert process.wait(STOP_PATIENCE) == 0
    assert demo.processes() == []
    assert demo.output.read_text().endswith("chairbench: stopped\n")


def test_after_kill_9_nothing_is_left_and_the_next_start_recovers(demo):
    first = demo.start()
    first.kill()
    first.wait()
    # At once, while the orphans are still going: the usual impatient restart.
    second = demo.start()

    assert ask(demo.port) == 200
    second.terminate()
    assert second.wait(STOP_PATIENCE) == 0
    assert eventually(lambda: demo.processes() == [], STOP_PATIENCE)
