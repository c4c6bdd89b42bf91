"""What the bootstrap asks of a machine, and how it installs Debian packages.

Standard library only, and read by Pythons back to 3.8, as portal/bootstrap.py.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

__all__ = ["Machine", "Problem", "apt_install", "apt_line", "say", "this_machine"]


class Problem(Exception):
    """Something only a person can settle; the message says how."""


class Machine(NamedTuple):
    """What the bootstrap asks of the machine; tests hand in their own."""

    run: Callable[[Sequence[str], Mapping[str, str]], int]
    which: Callable[[str], str | None]
    has_library: Callable[[str], bool]
    is_root: bool
    version: tuple[int, int]


def _run(command: Sequence[str], extra: Mapping[str, str]) -> int:
    environment = {**os.environ, **extra}
    # Another environment's variable would send uv there.
    environment.pop("VIRTUAL_ENV", None)
    # dpkg tells of every package; only its errors are worth a line here.
    quiet = subprocess.DEVNULL if command[0] == "apt-get" else None
    return subprocess.call(  # noqa: S603 -- the bootstrap's own commands
        list(command), env=environment, stdin=subprocess.DEVNULL, stdout=quiet
    )


def _has_library(soname: str) -> bool:
    if sys.platform != "linux":
        return bool(ctypes.util.find_library(soname[3:].split(".so")[0]))
    try:
        ctypes.CDLL(soname)
    except OSError:
        return False
    return True


def this_machine() -> Machine:
    """Return the machine we run on."""
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    return Machine(_run, shutil.which, _has_library, is_root, sys.version_info[:2])


def say(text: str) -> None:
    """Show progress at once, also through a pipe."""
    print(f"chairbench: {text}", flush=True)  # noqa: T201 -- a terminal is all there is


def apt_line(machine: Machine, packages: Sequence[str]) -> str:
    """Return the line a person types to install Debian packages."""
    prefix = "" if machine.is_root else "sudo "
    line = f"{prefix}apt-get install -y --no-install-recommends "
    return line + " ".join(packages)


def apt_install(machine: Machine, packages: Sequence[str], purpose: str) -> None:
    """Install Debian packages when we may.

    Raises:
        Problem: we may not or it failed; names the exact line.
    """
    line = apt_line(machine, packages)
    if not machine.is_root or not machine.which("apt-get"):
        raise Problem(f"{purpose} is missing. On Debian and Ubuntu: {line}")
    say(f"installing {' '.join(packages)} with apt-get ({purpose})")
    quiet = {"DEBIAN_FRONTEND": "noninteractive"}
    wait = ["-qq", "-o", "DPkg::Lock::Timeout=300", "-o", "Dpkg::Use-Pty=0"]
    # A stale or absent package list is the usual reason to fail: always renewed.
    updated = machine.run(["apt-get", "update", *wait], quiet) == 0
    install = ["apt-get", "install", "-y", "--no-install-recommends", *wait]
    if machine.run([*install, *packages], quiet):
        hint = "" if updated else "apt-get update && "
        raise Problem(f"{purpose} could not be installed. Try: {hint}{line}")
