"""The one abstraction over file storage."""

import os
import re
from pathlib import Path
from typing import ClassVar

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, Storage, default_storage

from cases import storage
from cases.errors import DomainError, StorageUnavailable


@pytest.fixture(autouse=True)
def folder(settings, tmp_path: Path) -> Path:
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path / "files")},
        },
    }
    return tmp_path / "files"


def files_in(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def test_put_keeps_the_bytes_under_a_random_key(folder):
    keys = {storage.put("pdf", b"one"), storage.put("pdf", b"one")}

    assert len(keys) == 2
    assert all(re.fullmatch(r"pdf/([0-9a-f]{2})/\1[0-9a-f]{30}", key) for key in keys)
    assert [storage.get(key) for key in keys] == [b"one", b"one"]
    assert files_in(folder) == sorted(keys)


def test_put_flushes_the_file_and_every_folder_that_names_it(monkeypatch, folder):
    flushed = []
    real = os.fsync

    def fsync(descriptor: int) -> None:
        flushed.append(os.readlink(f"/proc/self/fd/{descriptor}"))
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    key = storage.put("file", b"x" * 100_000)

    path = folder / key
    assert flushed == [
        str(place) for place in (path, path.parent, path.parent.parent, folder)
    ]


def test_delete_removes_and_may_be_repeated(folder):
    key = storage.put("file", b"x")
    storage.delete(key)
    storage.delete(key)

    assert files_in(folder) == []
    with pytest.raises(StorageUnavailable):
        storage.get(key)


def test_get_says_unavailable_for_what_is_not_there():
    with pytest.raises(StorageUnavailable) as caught:
        storage.get("pdf/ab/ab" + "0" * 30)

    assert caught.value.status == 503
    assert isinstance(caught.value, DomainError)


@pytest.mark.parametrize(
    "key",
    [
        "",
        "/etc/passwd",
        "../secret",
        "pdf/../../etc/passwd",
        "pdf/ab/cd" + "0" * 30,
        "pdf/ab/ab" + "0" * 31,
        "pdf/ab/ab" + "0" * 29 + "\n",
        "pdf/ab/ab" + "0" * 30 + "\n",
        "PDF/ab/ab" + "0" * 30,
        "pdf\\ab\\ab" + "0" * 30,
    ],
)
def test_no_path_from_outside_reaches_the_storage(key):
    with pytest.raises(ValueError, match="not a key"):
        storage.get(key)
    with pytest.raises(ValueError, match="not a key"):
        storage.delete(key)


@pytest.mark.parametrize("kind", ["", "a/b", "..", "A", "a" * 17, "pdf\n"])
def test_put_takes_only_short_words_of_our_own(kind, folder):
    with pytest.raises(ValueError, match="kind"):
        storage.put(kind, b"x")
    assert not folder.exists()


def test_put_refuses_a_file_kept_short(monkeypatch, folder):
    monkeypatch.setattr(FileSystemStorage, "size", lambda self, name: 1)

    with pytest.raises(StorageUnavailable):
        storage.put("pdf", b"more than one byte")
    assert files_in(folder) == []


def test_put_touches_nothing_else_when_the_storage_renames(monkeypatch, folder):
    taken = storage.put("pdf", b"somebody's")
    monkeypatch.setattr("cases.storage.secrets.token_hex", lambda size: taken[-32:])

    with pytest.raises(StorageUnavailable):
        storage.put("pdf", b"other")
    assert storage.get(taken) == b"somebody's"
    assert files_in(folder) == [taken]


def test_put_says_unavailable_when_the_disk_refuses(monkeypatch, folder):
    def refuse(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(StorageUnavailable):
        storage.put("pdf", b"x")
    assert files_in(folder) == []


class Bucket(Storage):
    """A storage without a local path, as a bucket is."""

    kept: ClassVar[dict[str, bytes]] = {}

    def _save(self, name, content):
        self.kept[name] = content.read()
        return name

    def _open(self, name, mode="rb"):
        return ContentFile(self.kept[name])

    def exists(self, name):
        return name in self.kept

    def size(self, name):
        return len(self.kept[name])

    def delete(self, name):
        self.kept.pop(name, None)


@pytest.mark.parametrize(
    "backend",
    [f"{__name__}.Bucket", "django.core.files.storage.InMemoryStorage"],
)
def test_put_works_where_the_storage_is_no_local_folder(settings, backend):
    settings.STORAGES = {**settings.STORAGES, "default": {"BACKEND": backend}}
    key = storage.put("pdf", b"somewhere else")

    assert storage.get(key) == b"somewhere else"
    storage.delete(key)
    assert not default_storage.exists(key)
