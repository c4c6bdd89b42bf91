"""Start child processes that never outlive us, and stop them politely."""

import ctypes
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import Account

__all__ = ["end_group", "run", "spawn", "stop", "tail"]

PR_SET_PDEATHSIG = 1  # linux/prctl.h


def _die_with_parent(number: int) -> Callable[[], None] | None:
    """Return what the child runs before its program starts (Linux only)."""
    if sys.platform != "linux":
        return None
    libc = ctypes.CDLL(None)  # loaded before the fork: the child must not allocate
    parent = os.getpid()

    def before_exec() -> None:
        libc.prctl(PR_SET_PDEATHSIG, number)
        if os.getppid() != parent:  # the parent died between fork and prctl
            os._exit(1)

    return before_exec


def spawn(
    arguments: Sequence[str],
    *,
    environment: Mapping[str, str],
    log: Path,
    account: Account | None = None,
    death_signal: signal.Signals = signal.SIGTERM,
    feed: bytes | None = None,
    folder: Path = Path("/"),
) -> subprocess.Popen[bytes]:
    """Start a program in its own session, with its output appended to a log.

    Its own session, because Ctrl-C in a terminal reaches every process of ours
    and the order of stopping is the supervisor's. ``feed`` goes to its standard
    input (secrets must not stand on a command line).

    Raises:
        EmbeddedError: called outside the main thread (the death signal is tied
            to the thread that forks), or the program cannot be started.
    """
    if threading.current_thread() is not threading.main_thread():
        raise EmbeddedError("processes are started from the main thread only")
    with log.open("ab") as output:
        try:
            child = subprocess.Popen(  # noqa: S603 -- arguments are our own
                list(arguments),
                env=dict(environment),
                stdin=subprocess.PIPE if feed is not None else subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                cwd=folder,
                start_new_session=True,
                preexec_fn=_die_with_parent(death_signal),
                user=account.uid if account else None,
                group=account.gid if account else None,
                extra_groups=[] if account else None,
            )
        except OSError as error:
            raise EmbeddedError(f"{arguments[0]} cannot be started: {error}") from None
    if feed is not None and child.stdin:
        # A program that died at once breaks the pipe; whoever waits reports its log.
        with suppress(BrokenPipeError), child.stdin as pipe:
            pipe.write(feed)
    return child


def stop(
    process: subprocess.Popen[bytes],
    number: signal.Signals = signal.SIGTERM,
    *,
    patience: float = 10.0,
) -> None:
    """Ask a process to stop, and kill it when it has not after ``patience`` s."""
    if process.poll() is not None:
        return
    process.send_signal(number)
    try:
        process.wait(patience)
    except subprocess.TimeoutExpired:
        end_group(process)
        process.wait()


def end_group(process: subprocess.Popen[bytes]) -> None:
    """Kill a process with whatever it has started and not yet ended."""
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)


def run(
    arguments: Sequence[str], *, environment: Mapping[str, str], folder: Path
) -> int:
    """Run a program to its end with our own output; return its exit status."""
    child = subprocess.Popen(  # noqa: S603 -- arguments are our own
        list(arguments),
        env=dict(environment),
        stdin=subprocess.DEVNULL,
        cwd=folder,
        preexec_fn=_die_with_parent(signal.SIGTERM),
    )
    try:
        return child.wait()
    finally:
        stop(child)


def tail(log: Path, size: int = 2000) -> str:
    """Return the end of a log, for a message about why something did not start."""
    try:
        return log.read_bytes()[-size:].decode(errors="replace")
    except OSError:
        return ""
