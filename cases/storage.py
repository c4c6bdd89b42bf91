"""Files behind random keys: documents and attachments, local folder or S3.

One abstraction over Django's default storage. A key is made here and nowhere
else, and only a key of that form is read or deleted, so a path from outside
cannot reach the storage.
"""

import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from cases.errors import StorageUnavailable

__all__ = ["delete", "get", "put"]

_KIND = re.compile(r"[a-z]{1,16}", re.ASCII)
_KEY = re.compile(r"[a-z]{1,16}/([0-9a-f]{2})/\1[0-9a-f]{30}", re.ASCII)


@contextmanager
def _available() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise StorageUnavailable from error


def _known(key: str) -> str:
    if not _KEY.fullmatch(key):
        raise ValueError("not a key of this storage")
    return key


def _flush(path: Path) -> None:
    """Have a local file and the folders that name it on the disk."""
    root = Path(default_storage.path("")).resolve()
    for place in (path, *path.resolve().parents):
        descriptor = os.open(place, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        if place == root:
            break


def _local_path(key: str) -> Path | None:
    """Return the file of a key, or None where a service keeps it."""
    try:
        path = Path(default_storage.path(key))
    except NotImplementedError:
        return None
    return path if path.is_absolute() and path.is_file() else None


def put(kind: str, content: bytes) -> str:
    """Store the bytes and return their new random key, ``kind/ab/<32 hex>``.

    ``kind`` is a short lower-case word of our own ("pdf", "file"). Returns only
    when all bytes are there, on the disk where the storage is a local folder.

    Raises:
        StorageUnavailable: not written, or not completely; nothing is left.
        ValueError: ``kind`` is not such a word.
    """
    if not _KIND.fullmatch(kind):
        raise ValueError("a kind is 1 to 16 letters a to z")
    name = secrets.token_hex(16)
    key = f"{kind}/{name[:2]}/{name}"
    with _available():
        stored = default_storage.save(key, ContentFile(content))
        try:
            # Nothing had this name, so a storage that renames is a fault.
            if stored != key or default_storage.size(key) != len(content):
                raise OSError("the storage kept something else than it was given")
            if path := _local_path(key):
                _flush(path)
        except OSError:
            _discard(stored)
            raise
    return key


def _discard(key: str) -> None:
    try:
        default_storage.delete(key)
    except OSError:
        return  # an unreferenced file under a random name harms nobody


def get(key: str) -> bytes:
    """Return the bytes stored under a key.

    Raises:
        StorageUnavailable: the storage does not answer or has no such file.
        ValueError: not a key that ``put`` made.
    """
    _known(key)
    with _available(), default_storage.open(key, "rb") as stored:
        content: bytes = stored.read()
    return content


def delete(key: str) -> None:
    """Remove what is stored under a key; a second time changes nothing.

    Raises:
        StorageUnavailable: the storage does not answer.
        ValueError: not a key that ``put`` made.
    """
    _known(key)
    with _available():
        default_storage.delete(key)
