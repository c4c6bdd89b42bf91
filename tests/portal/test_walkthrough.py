"""The walkthrough: a real run, and that it fails loudly when something is not so."""

import hashlib
import json
import subprocess
import sys
import tempfile
import threading
from copy import deepcopy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import rfc8785
from django.core.management import call_command
from django.core.management.base import CommandError
from pypdf import PdfReader

from portal.embedded.children import ROOT
from portal.walkthrough.cast import cast_from
from portal.walkthrough.proofs import attached_digests, chain_breaks
from portal.walkthrough.report import NotVerified, Report
from tests.portal.test_demo import plain_environment

RUN_PATIENCE = 400  # seconds, on a busy machine
PEOPLE = (
    ("technician", "L (invented)"),
    ("clinician", "A (invented)"),
    ("assistant", "B (invented)"),
    ("assistant", "A (invented)"),
    ("clinician", "B (invented)"),
)


def leftovers() -> set[Path]:
    return set(Path(tempfile.gettempdir()).glob("chairbench-walk-*"))


@pytest.mark.stack
def test_the_whole_job_is_played_and_every_step_verified(tmp_path):
    before = leftovers()
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "walkthrough", "--out", tmp_path],
        env=plain_environment(),
        capture_output=True,
        text=True,
        timeout=RUN_PATIENCE,
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "summary.txt",
        "timeline.json",
        "work-order.pdf",
    ]
    summary = (tmp_path / "summary.txt").read_text()
    assert "all verified from outside" in summary
    assert "NOT VERIFIED" not in summary
    for state in ("draft", "submitted", "on_hold", "awaiting_records", "fitted"):
        assert f"-> {state}\n" in summary
    timeline = json.loads((tmp_path / "timeline.json").read_text())
    assert timeline["items"][-1]["after"] == "fitted"
    assert chain_breaks(timeline["items"]) == []
    released = next(
        entry["content"]
        for entry in timeline["items"]
        if entry["event"] == "work_order.released"
    )
    pdf = tmp_path / "work-order.pdf"
    assert released["content_sha256"] in attached_digests(pdf.read_bytes())
    text = "".join(page.extract_text() for page in PdfReader(pdf).pages)
    assert "WALK-0001" in text
    assert leftovers() == before


class Silly(BaseHTTPRequestHandler):
    """A server that answers everything alike, and wrong."""

    status, answer = 500, b"{}"

    def do_GET(self):
        self.send_response(self.status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(self.answer)))
        self.end_headers()
        self.wfile.write(self.answer)

    def do_POST(self):
        self.rfile.read(int(self.headers["Content-Length"]))
        self.do_GET()

    def log_message(self, *args):
        """Say nothing."""


@pytest.fixture
def silly():
    server = ThreadingHTTPServer(("127.0.0.1", 0), Silly)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


def credentials(folder: Path, base_url: str, people=PEOPLE) -> Path:
    entries = [
        {
            "role": role,
            "organisation": organisation,
            "name": f"{role} of {organisation}",
            "email": f"{role}{number}@invented.example",
            "password": "-",
            "totp_secret": None,
            "token": "-",
        }
        for number, (role, organisation) in enumerate(people)
    ]
    file = folder / "credentials.json"
    file.write_text(json.dumps({"base_url": base_url, "people": entries}))
    return file


def walk(tmp_path: Path, base_url: str) -> str:
    """Run against a server that is not ours; return the summary of the failure."""
    file = credentials(tmp_path, base_url)
    out = tmp_path / "out"
    with pytest.raises(CommandError, match="not verified: step 1") as refused:
        call_command("walkthrough", out=out, credentials=file, mail=tmp_path)
    assert refused.value.returncode == 1
    assert {path.name for path in out.iterdir()} == {"summary.txt"}
    return (out / "summary.txt").read_text()


@pytest.mark.parametrize(
    ("status", "answer", "told"),
    [
        (500, b"{}", "the check answers (200): not so, but 500"),
        (200, b'{"verdict": "sufficient"}', "the verdict is insufficient: not so"),
        (200, b"[]", "an answer of another kind than promised"),
        (200, b"not json", "an answer of another kind than promised"),
    ],
)
def test_a_wrong_answer_is_a_failed_step_that_the_summary_names(
    tmp_path, silly, monkeypatch, status, answer, told
):
    monkeypatch.setattr(Silly, "status", status)
    monkeypatch.setattr(Silly, "answer", answer)
    summary = walk(tmp_path, silly)
    assert f"NOT VERIFIED: step 1 (Check at the chair): {told}" in summary
    assert "all verified from outside" not in summary


def test_a_server_that_is_away_is_a_failed_step(tmp_path, silly, monkeypatch):
    nobody = silly.rsplit(":", 1)[0] + ":1"
    assert "Connection refused" in walk(tmp_path, nobody)


def test_old_files_do_not_outlive_a_failed_play(tmp_path, silly):
    out = tmp_path / "out"
    out.mkdir()
    (out / "work-order.pdf").write_bytes(b"%PDF- of yesterday")
    walk(tmp_path, silly)


def test_the_cast_is_one_clinic_its_laboratory_and_a_stranger(tmp_path):
    cast = cast_from(credentials(tmp_path, "http://localhost:1/"))
    assert cast.base_url == "http://localhost:1"
    assert cast.clinician.organisation == cast.assistant.organisation == "A (invented)"
    assert cast.outsider.organisation == "B (invented)"
    assert "token" not in repr(cast.clinician)


@pytest.mark.parametrize("missing", range(len(PEOPLE)))
def test_a_lacking_person_is_said(tmp_path, missing):
    people = [one for number, one in enumerate(PEOPLE) if number != missing]
    file = credentials(tmp_path, "http://localhost:1", people)
    if PEOPLE[missing] == ("assistant", "B (invented)"):
        assert cast_from(file).assistant.organisation == "A (invented)"
        return
    with pytest.raises(ValueError, match="lack a person"):
        cast_from(file)


def test_credentials_without_a_mail_folder_are_refused(tmp_path):
    with pytest.raises(CommandError, match="go together"):
        call_command("walkthrough", out=tmp_path, credentials=tmp_path / "c.json")


def test_a_file_that_is_no_credentials_file_is_said(tmp_path):
    file = tmp_path / "c.json"
    file.write_text("{}")
    with pytest.raises(CommandError, match="no credentials file"):
        call_command("walkthrough", out=tmp_path, credentials=file, mail=tmp_path)


def chain(count: int = 4) -> list[dict]:
    """A timeline as the API tells it, computed here from the documented rule."""
    entries: list[dict] = []
    previous = "0" * 64
    for position in range(1, count + 1):
        content = {"step": position}
        salt = f"{position:032x}"
        bound = hashlib.sha256(salt.encode() + b"\n" + rfc8785.dumps(content))
        canonical = rfc8785.dumps({"content": bound.hexdigest(), "schema": 1}).decode()
        text = f"{previous}\n{position}\n{canonical}"
        digest = hashlib.sha256(text.encode()).hexdigest()
        entries.append(
            {
                "position": position,
                "content": content,
                "salt": salt,
                "content_commitment": bound.hexdigest(),
                "canonical": canonical,
                "prev_hash": previous,
                "hash": digest,
            }
        )
        previous = digest
    return entries


def test_an_unbroken_chain_has_no_breaks_also_across_what_is_withheld():
    entries = chain()
    assert chain_breaks(entries) == []
    for gone in range(4):
        rest = [entry for entry in entries if entry["position"] != gone + 1]
        assert chain_breaks(rest, [gone + 1]) == []
        assert gone == 3 or chain_breaks(rest) != []


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("content", {"step": 9}),
        ("salt", "f" * 32),
        ("content_commitment", "e" * 64),
        ("canonical", "{}"),
        ("prev_hash", "d" * 64),
        ("hash", "c" * 64),
        ("position", 3),
    ],
)
def test_any_change_of_an_entry_breaks_the_chain(key, value):
    entries = deepcopy(chain())
    entries[1][key] = value
    assert chain_breaks(entries) != []


def test_entries_in_another_order_break_the_chain():
    one, two, *rest = chain()
    assert chain_breaks([two, one, *rest]) != []


def test_a_report_is_a_failure_until_the_play_has_ended():
    report = Report("server: none", say=lambda text: None)
    with report.step("First", "somebody", "draft") as step:
        step.verify(True, "it holds")
    assert "NOT VERIFIED: the play did not come to its end" in report.text()
    report.done()
    assert "1 steps, 1 facts, all verified" in report.text()


def test_a_step_that_verifies_nothing_is_a_fault_of_the_play():
    report = Report("server: none", say=lambda text: None)
    with pytest.raises(AssertionError), report.step("Idle", "somebody", "draft"):
        pass
    with pytest.raises(NotVerified, match="it holds: not so, but 7"):
        report.steps[0].verify(False, "it holds", 7)
