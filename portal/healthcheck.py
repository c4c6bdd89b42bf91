"""``python -m portal.healthcheck web|worker|beat``: the containers' health checks.

Standard library only: it runs twice a minute beside the real work, and importing
the portal would cost seconds of processor time each time.
"""

import os
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

WEB = "http://127.0.0.1:8000/health/ready"
BEAT_SCHEDULE = Path("/tmp/beat.db")  # noqa: S108 -- a container's own tmpfs
# Beat writes its schedule every three minutes (celery.beat.Scheduler.sync_every).
BEAT_SILENCE = 600  # seconds


def web() -> bool:
    """Whether the web server answers and has its database."""
    # Asked under a name that ALLOWED_HOSTS accepts.
    host = os.environ.get("ALLOWED_HOSTS", "localhost").split(",")[0].strip()
    request = urllib.request.Request(WEB, headers={"Host": host})
    with urllib.request.urlopen(request, timeout=5) as answer:  # noqa: S310 -- fixed address
        return bool(answer.status == 200)


def worker() -> bool:
    """Whether this container's worker answers a ping through the broker."""
    me = f"celery@{os.uname().nodename}"
    command = ["celery", "-A", "portal.celery", "inspect", "ping", "-d", me]
    return subprocess.call(command, stdout=subprocess.DEVNULL) == 0  # noqa: S603 -- fixed command


def beat() -> bool:
    """Whether beat has written its schedule lately."""
    files = BEAT_SCHEDULE.parent.glob(f"{BEAT_SCHEDULE.name}*")
    newest = max((file.stat().st_mtime for file in files), default=0.0)
    return time.time() - newest < BEAT_SILENCE


def main(what: str) -> int:
    """Return the exit status of one check: 0 healthy, 1 not."""
    try:
        return 0 if {"web": web, "worker": worker, "beat": beat}[what]() else 1
    except OSError as error:
        print(error, file=sys.stderr)  # noqa: T201 -- shown by `docker inspect`
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
