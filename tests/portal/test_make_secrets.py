"""``make_secrets``: fresh secrets, once."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from portal.management.commands.make_secrets import fresh_secrets


def make(folder):
    output = StringIO()
    call_command(
        "make_secrets", str(folder), "--email-url", "smtp://mail.example", stdout=output
    )
    return output.getvalue()


def test_the_folder_is_closed_and_complete(tmp_path):
    folder = tmp_path / "secrets"

    said = make(folder)

    assert said == f"SECRETS_DIR={folder}\n"
    assert folder.stat().st_mode & 0o777 == 0o700
    assert {file.name for file in folder.iterdir()} == set(fresh_secrets("smtp://x"))
    assert (folder / "email_url").read_text() == "smtp://mail.example"
    assert len((folder / "secret_key").read_text()) >= 50


def test_secrets_in_use_are_never_replaced(tmp_path):
    folder = tmp_path / "secrets"
    make(folder)
    before = {file.name: file.read_text() for file in folder.iterdir()}

    with pytest.raises(CommandError, match="exists; name a new folder"):
        make(folder)

    assert {file.name: file.read_text() for file in folder.iterdir()} == before
