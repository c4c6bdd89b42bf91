"""Folders, locks and the account that embedded servers run under.

PostgreSQL refuses to run as root, so under root its process runs as ``nobody``.
That account must reach its program and its data, while no other local user may
reach a socket.
"""

import fcntl
import hashlib
import os
import pwd
import stat
import subprocess
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from portal.embedded.errors import EmbeddedError

__all__ = [
    "MAX_SOCKET_FOLDER",
    "Account",
    "FolderLock",
    "command_line",
    "os_user",
    "private_folder",
    "public_place",
    "reachable_by_others",
    "server_account",
    "socket_folder",
]

# sun_path holds 107 bytes on Linux and 103 on macOS, and PostgreSQL adds
# "/.s.PGSQL.5432.lock"; the rest is for the folder.
MAX_SOCKET_FOLDER = 80


@dataclass(frozen=True, slots=True)
class Account:
    """An account of the machine that a server runs under."""

    name: str
    uid: int
    gid: int


def server_account() -> Account | None:
    """Return the account PostgreSQL must run under, None for our own.

    Raises:
        EmbeddedError: we are root and the machine has no ``nobody``.
    """
    if os.geteuid() != 0:
        return None
    try:
        entry = pwd.getpwnam("nobody")
    except KeyError:
        raise EmbeddedError(
            "PostgreSQL does not run as root and this machine has no user "
            "'nobody'. Start as a normal user, or set DATABASE_URL."
        ) from None
    return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)


def os_user() -> str:
    """Return the name of the user we run as, as peer authentication sees it.

    Raises:
        EmbeddedError: the user id has no name on this machine.
    """
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        raise EmbeddedError(
            f"User id {os.geteuid()} has no name on this machine, so PostgreSQL "
            "cannot tell who connects. Use a named user, or set DATABASE_URL."
        ) from None


def private_folder(
    path: Path, mode: int = 0o700, account: Account | None = None
) -> Path:
    """Make a folder with exactly this mode and owner, and return it.

    Raises:
        EmbeddedError: something else stands there, or another user owns it (a
            name planted in a shared folder).
    """
    path.mkdir(mode=0o700, parents=True, exist_ok=True)
    found = path.lstat()
    owner = account.uid if account else os.geteuid()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid not in {os.geteuid(), owner}:
        raise EmbeddedError(f"{path} is not a folder of {os_user()}; remove it.")
    if account and found.st_uid != account.uid:
        os.chown(path, account.uid, account.gid)
    path.chmod(mode)
    return path


def reachable_by_others(path: Path) -> bool:
    """Whether a user without rights of their own can walk down to a path."""
    return all(step.stat().st_mode & 0o001 for step in (path, *path.parents))


def public_place(purpose: str, key: str) -> Path:
    """Return a folder of our own in /var/tmp that every user can walk into.

    For what ``nobody`` must reach when the checkout lies in a closed home: the
    home stays closed, a copy or the data goes here.
    """
    digest = hashlib.sha256(key.encode()).hexdigest()[:12]
    return private_folder(Path("/var/tmp") / f"chairbench-{purpose}-{digest}", 0o711)  # noqa: S108 -- private_folder refuses a planted folder


def socket_folder(wanted: Path, account: Account | None = None) -> Path:
    """Return a closed folder for a Unix socket, short enough for the system."""
    if len(os.fsencode(wanted)) <= MAX_SOCKET_FOLDER:
        return private_folder(wanted, account=account)
    return private_folder(Path(tempfile.mkdtemp(prefix="cb-")), account=account)


class FolderLock:
    """One running demo per data folder, held until released or killed."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / "lock"
        self._file: IO[str] | None = None

    def acquire(self) -> bool:
        """Take the folder; return whether its last holder was killed.

        Raises:
            EmbeddedError: another process holds it; the message names both.
        """
        file = self._path.open("a+")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.seek(0)
            holder = file.read().strip() or "unknown"
            file.close()
            raise EmbeddedError(
                f"Another Chairbench (process {holder}) already runs on "
                f"{self._path.parent}. Stop it, or choose another folder with --data."
            ) from None
        file.seek(0)
        killed = bool(file.read().strip())
        file.truncate(0)
        file.write(str(os.getpid()))
        file.flush()
        self._file = file
        return killed

    def release(self) -> None:
        """Give the folder back."""
        if self._file:
            with suppress(OSError):
                self._file.truncate(0)
            self._file.close()
            self._file = None


def command_line(pid: int) -> list[str]:
    """Return the arguments a process was started with, [] when there is none."""
    try:
        raw = Path(f"/proc/{pid}/cmdline").read_bytes()
        return [os.fsdecode(part) for part in raw.split(b"\0") if part]
    except OSError:
        if Path("/proc/self").exists():
            return []
    found = subprocess.run(  # noqa: S603 -- fixed program, a number as argument
        ["/bin/ps", "-p", str(pid), "-o", "command="], capture_output=True, text=True
    )
    return found.stdout.split()
