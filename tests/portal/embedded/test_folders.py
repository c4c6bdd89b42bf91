"""Folders, locks and who may walk where."""

import os
import subprocess
import sys

import pytest

from portal.embedded import folders
from portal.embedded.children import ROOT
from portal.embedded.errors import EmbeddedError
from portal.embedded.folders import FolderLock


def test_a_private_folder_is_closed_whatever_it_was(folder):
    (folder / "mine").mkdir(mode=0o777)

    made = folders.private_folder(folder / "mine")

    assert made.stat().st_mode & 0o777 == 0o700


def test_a_link_planted_in_its_place_is_refused(folder):
    (folder / "elsewhere").mkdir()
    (folder / "mine").symlink_to(folder / "elsewhere")

    with pytest.raises(EmbeddedError, match="is not a folder of"):
        folders.private_folder(folder / "mine")


def test_a_folder_below_a_closed_one_is_not_reachable(folder):
    inner = folder / "home" / "checkout"
    inner.mkdir(parents=True)
    for step in (folder / "home", inner):
        step.chmod(0o755)
    assert folders.reachable_by_others(inner)

    (folder / "home").chmod(0o700)

    assert not folders.reachable_by_others(inner)


def test_a_long_path_gets_a_short_socket_folder(folder):
    wanted = folder / ("long" * 20) / "run"

    given = folders.socket_folder(wanted)

    assert len(os.fsencode(given)) <= folders.MAX_SOCKET_FOLDER
    assert given.stat().st_mode & 0o777 == 0o700
    given.rmdir()


def test_the_second_holder_is_told_who_the_first_is(folder):
    first = FolderLock(folder)
    assert first.acquire() is False

    with pytest.raises(EmbeddedError) as caught:
        FolderLock(folder).acquire()

    assert str(caught.value) == (
        f"Another Chairbench (process {os.getpid()}) already runs on {folder}. "
        "Stop it, or choose another folder with --data."
    )
    first.release()
    second = FolderLock(folder)
    assert second.acquire() is False
    second.release()


def test_a_killed_holder_leaves_the_folder_free_and_is_noticed(folder):
    code = (
        "import os, signal, sys; from pathlib import Path;"
        "from portal.embedded.folders import FolderLock;"
        "lock = FolderLock(Path(sys.argv[1])); lock.acquire();"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    subprocess.run([sys.executable, "-c", code, str(folder)], cwd=ROOT)

    lock = FolderLock(folder)
    assert lock.acquire() is True
    lock.release()


def test_the_command_line_of_a_process_is_read():
    assert folders.command_line(os.getpid())[1:] == sys.orig_argv[1:]
    assert folders.command_line(2**22 + 1) == []
