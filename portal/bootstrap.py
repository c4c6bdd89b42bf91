"""Make ``.venv`` and the system libraries on a machine that has only Python.

Standard library only, and nothing newer than Python 3.8 in its syntax: it must be
read by whatever ``python3`` is there, if only to say that it is too old. Every
failure is a ``Problem`` with the line to type, never a traceback.
"""

from __future__ import annotations

import fcntl
import hashlib
import importlib.util
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from portal.machine import Machine, Problem, apt_install, apt_line, say, this_machine

ROOT = Path(__file__).resolve().parent.parent
OLDEST = (3, 11)
MARKER = "chairbench-lock"
REEXECUTED = "CHAIRBENCH_BOOTSTRAPPED"

# soname -> Debian package. WeasyPrint cannot draw without the first two; the
# third makes fonts small, and the same PDF everywhere needs it everywhere.
PANGO = {
    "libpango-1.0.so.0": "libpango-1.0-0",
    "libpangoft2-1.0.so.0": "libpangoft2-1.0-0",
    "libharfbuzz-subset.so.0": "libharfbuzz-subset0",
}
# Playwright's own driver needs it and Debian's minimal install lacks it.
ATOMIC = {"libatomic.so.1": "libatomic1"}
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def fingerprint(root: Path) -> str:
    """Return what the environment must be made from, as one digest."""
    digest = hashlib.sha256()
    for name in ("pyproject.toml", "uv.lock"):
        digest.update((root / name).read_bytes())
    return digest.hexdigest()


def is_current(root: Path) -> bool:
    """Whether ``.venv`` was made by us from the lock as it is now."""
    try:
        made_from = (root / ".venv" / MARKER).read_text()
    except OSError:
        return False
    return made_from == fingerprint(root)


@contextmanager
def taking_turns(root: Path) -> Iterator[None]:
    """Let one bootstrap at a time touch ``.venv``."""
    folder = root / ".cache"
    folder.mkdir(exist_ok=True)
    with (folder / "bootstrap.lock").open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            say("waiting for another start to finish making .venv")
            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def make_environment(machine: Machine, root: Path) -> None:
    """Bring ``.venv`` to the committed lock; costs nothing when it is.

    Raises:
        Problem: this Python is too old, or a step failed.
    """
    if machine.version < OLDEST:
        raise Problem(
            "Python 3.11 or newer is needed, this is {}.{}; start again with a "
            "newer one, such as python3.11".format(*machine.version)
        )
    wanted = fingerprint(root)  # a damaged checkout ends here, before any download
    with taking_turns(root):
        if is_current(root):
            return
        _make_venv(machine, root)
        _install_uv(machine, root)
        say("3 of 3: installing what uv.lock names")
        uv = str(root / ".venv" / "bin" / "uv")
        command = [uv, "sync", "--frozen", "--project", str(root)]
        if not sys.stdout.isatty():
            command.append("--quiet")  # no bars there, only a list of packages
        if machine.run(command, {"UV_COMPILE_BYTECODE": "1"}):
            raise Problem("'uv sync' failed, see above; start again when it can work")
        (root / ".venv" / MARKER).write_text(wanted)


def _make_venv(machine: Machine, root: Path) -> None:
    python = root / ".venv" / "bin" / "python"
    if python.exists() and machine.run([str(python), "-c", "import pip"], {}) == 0:
        return
    if importlib.util.find_spec("ensurepip") is None:
        apt_install(machine, ["python3-venv"], "Python's venv module")
    say("1 of 3: making .venv")
    command = [sys.executable, "-m", "venv", "--clear", str(root / ".venv")]
    if machine.run(command, {}):
        raise Problem(
            "'python3 -m venv' failed, see above. On Debian and Ubuntu: "
            + apt_line(machine, ["python3-venv"])
        )


def _install_uv(machine: Machine, root: Path) -> None:
    folder = root / ".venv" / "bin"
    if (folder / "uv").exists():
        return
    say("2 of 3: installing uv")
    command = [str(folder / "python"), "-m", "pip", "install", "--quiet"]
    if machine.run([*command, "--disable-pip-version-check", "uv>=0.9,<1"], {}):
        raise Problem("'pip install uv' failed, see above; is there a network?")


def missing_pango(machine: Machine) -> list[str]:
    """Return the packages WeasyPrint still needs."""
    return [name for soname, name in PANGO.items() if not machine.has_library(soname)]


def missing_browser(machine: Machine) -> list[str]:
    """Return the packages the browser tests still need."""
    wanted = [] if any(map(machine.which, BROWSERS)) else ["chromium"]
    return wanted + [
        name for soname, name in ATOMIC.items() if not machine.has_library(soname)
    ]


def provide_libraries(machine: Machine, arguments: Sequence[str]) -> None:
    """Have the system libraries that a command needs.

    The demo goes on without Pango, saying that documents wait for it; the tests
    and the walkthrough check those very documents and stop.

    Raises:
        Problem: something needed is missing and may not be installed.
    """
    command = arguments[0] if arguments else ""
    if command not in {"demo", "walkthrough", "test"}:
        return
    if packages := missing_pango(machine):
        try:
            apt_install(machine, packages, "Pango, which draws the PDF documents,")
        except Problem as problem:
            if command != "demo":
                raise
            say(f"going on without PDF documents. {problem}")
    if command == "test" and "not browser" not in " ".join(arguments[1:]):
        _provide_browser(machine)


def _provide_browser(machine: Machine) -> None:
    packages = missing_browser(machine)
    if not packages:
        return
    try:
        apt_install(machine, packages, "Chromium, which the browser tests drive,")
    except Problem as problem:
        raise Problem(
            f"{problem}\nOr leave those tests out: "
            "python3 manage.py test -m 'not browser'"
        ) from None


def in_own_environment(root: Path) -> bool:
    """Whether this Python is the one of ``.venv``."""
    return Path(sys.prefix).resolve() == (root / ".venv").resolve()


def enter(arguments: Sequence[str]) -> None:
    """Return when this Python can run the portal, else start it in ``.venv``.

    An environment of the user's own that has Django (a container, a shared
    environment) is left alone; so is a ``.venv`` that somebody else made.
    """
    machine = this_machine()
    try:
        own = in_own_environment(ROOT)
        ours = (ROOT / ".venv" / MARKER).exists()
        has_django = importlib.util.find_spec("django") is not None
        if (own and ours) or not has_django:
            make_environment(machine, ROOT)
        provide_libraries(machine, arguments)
        if not has_django:
            _start_again(own)
    except Problem as problem:
        sys.exit(f"chairbench: {problem}")
    except OSError as error:
        sys.exit(f"chairbench: {error}")
    except KeyboardInterrupt:
        sys.exit("chairbench: stopped; the next start goes on from here")


def _start_again(own: bool) -> None:
    if own or os.environ.get(REEXECUTED):
        raise Problem(
            "Django is missing from .venv although uv.lock was installed; "
            "remove the folder .venv and start again"
        )
    python = str(ROOT / ".venv" / "bin" / "python")
    os.environ[REEXECUTED] = "1"
    sys.stdout.flush()
    os.execv(python, [python, *sys.argv])  # noqa: S606 -- our own interpreter


def main(arguments: Sequence[str]) -> None:
    """Prepare for a command without running it (``.ci/run`` does this first)."""
    machine = this_machine()
    try:
        make_environment(machine, ROOT)
        provide_libraries(machine, arguments)
    except Problem as problem:
        sys.exit(f"chairbench: {problem}")


if __name__ == "__main__":
    main(sys.argv[1:])
