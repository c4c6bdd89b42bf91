"""Folders short enough for sockets and open enough for the server's account."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


def _made() -> Iterator[Path]:
    path = Path(tempfile.mkdtemp(prefix="cb-"))
    path.chmod(0o711)
    yield path
    shutil.rmtree(path, ignore_errors=True)


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder of its own directly below /tmp (pytest's are closed to others)."""
    yield from _made()


@pytest.fixture(scope="module")
def shared_folder() -> Iterator[Path]:
    """The same for what a whole module may share."""
    yield from _made()
