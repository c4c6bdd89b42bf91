"""Third act: new records, clearance, the work order and its document."""

import hashlib
import time
from collections.abc import Callable

from portal.walkthrough.client import Answer, fetch
from portal.walkthrough.job import PATIENT, Job, reading
from portal.walkthrough.proofs import attached_digests, content_digest

__all__ = ["clear", "document", "receive_again", "records", "release", "verification"]

RENDER_PATIENCE = 90.0  # seconds for the worker, on a busy machine


def wait_for(found: Callable[[], bool], patience: float) -> bool:
    """Ask until it is so or patience ends."""
    deadline = time.monotonic() + patience
    while not found():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.25)
    return True


def records(job: Job) -> None:
    """The assistant sends what the answer asked for."""
    who = job.cast.assistant
    rows = [
        {"tooth": "36", **row}
        for row in (
            reading("buccal_cusps", passes_mm=2.0),
            reading("lingual_cusps", passes_mm=1.5),
            reading("central_fossa", passes_mm=1.5),
        )
    ]
    with job.report.step("Send new records", who, job.state) as step:
        due = job.case(who, step)["records_due"]
        step.verify(
            due == ["impression", "jaw_record", "readings"],
            "impression, jaw record and readings are due",
            due,
        )
        lacking = job.do(who, "records", {"readings": rows, "sent": ["impression"]})
        faults = step.expect(lacking, 422, "without the jaw record: refused")["errors"]
        step.verify(
            [fault["pointer"] for fault in faults] == ["/sent"],
            "and the fault points at what is missing",
            faults,
        )
        body = {"readings": rows, "sent": due[:2], "note": "The 1.5 strip slides."}
        sent = step.expect(job.do(who, "records", body), 200, "all of it is sent")
        step.verify(sent["round"] == 2, "a second round began", sent["round"])
        job.arrived(step, "submitted")


def receive_again(job: Job) -> None:
    """The new impression arrives; now every site is sufficient."""
    who = job.cast.technician
    with job.report.step("Receive the new records", who, job.state) as step:
        step.expect(
            job.do(who, "receive", {"contents": ["impression", "jaw_record"]}),
            200,
            "received",
        )
        body = who.get(f"cases/{job.code}/check").json()
        step.verify(body["verdict"] == "sufficient", "the check now says sufficient")
        first = job.case(who, step)["readings"]
        rounds = {row["round"] for row in first}
        step.verify(rounds == {1, 2}, "the readings of both rounds are kept", rounds)
        job.arrived(step, "at_check")


def clear(job: Job) -> None:
    """The technician clears the case."""
    who = job.cast.technician
    with job.report.step("Clear for fabrication", who, job.state) as step:
        gate = job.case(who, step)["gate"]
        step.verify(gate == [], "the release gate has no reason left", gate)
        step.expect(job.do(who, "clear"), 200, "cleared")
        job.arrived(step, "cleared")


def release(job: Job) -> None:
    """The technician releases the work order; its content is frozen."""
    who = job.cast.technician
    with job.report.step("Release the work order", who, job.state) as step:
        made = step.expect(job.do(who, "release"), 201, "released")
        job.order = made["code"]
        step.verify(
            content_digest(made["content"]) == made["content_sha256"],
            "its digest is the SHA-256 of its frozen content",
        )
        asked = [query["kind"] for query in made["content"]["queries"]]
        step.verify(asked == ["re_preparation"], "query and answer stand in it", asked)
        step.verify(made["status"] == "active", "it is in force", made["status"])
        hidden = job.cast.outsider.get(f"work-orders/{job.order}")
        step.expect(hidden, 404, "another clinic does not see it")
        job.arrived(step, "in_fabrication")


def document(job: Job) -> bytes:
    """The worker renders the document; return its bytes."""
    who, path = job.cast.technician, f"work-orders/{job.order}.pdf"
    with job.report.step("Download the document", who, job.state) as step:
        answers: list[Answer] = []

        def made() -> bool:
            answers.append(who.get(path))
            return answers[-1].status != 503

        came = wait_for(made, RENDER_PATIENCE)
        waited = [answer for answer in answers if answer.status == 503]
        if waited:
            step.verify(
                all(answer.headers.get("retry-after") for answer in waited),
                f"503 with Retry-After while the worker renders ({len(waited)} times)",
            )
        step.verify(came, "the worker has rendered it", answers[-1])
        pdf = answers[-1]
        step.expect(pdf, 200, "it is there")
        step.verify(
            pdf.headers.get("content-type") == "application/pdf"
            and pdf.body.startswith(b"%PDF-"),
            f"it is a PDF of {len(pdf.body)} bytes",
            pdf.headers.get("content-type"),
        )
        record = who.get(f"work-orders/{job.order}").json()
        step.verify(
            hashlib.sha256(pdf.body).hexdigest() == record["pdf_sha256"],
            "its SHA-256 is that of the work order's record",
            record["pdf_sha256"],
        )
        step.verify(
            attached_digests(pdf.body) == [record["content_sha256"]],
            "the case is attached inside as JSON with the printed digest",
        )
        other = job.cast.clinician.get(path)
        step.verify(other.body == pdf.body, "the clinic gets the same bytes")
        step.expect(job.cast.outsider.get(path), 404, "another clinic gets nothing")
    return pdf.body


def verification(job: Job) -> None:
    """Whoever holds the paper may ask whether it is genuine, without signing in."""
    record = job.cast.technician.get(f"work-orders/{job.order}").json()
    digest = record["content_sha256"]
    with job.report.step("Verify the paper", "anybody", job.state) as step:
        page = _page(job, digest)
        step.verify(
            page.status == 200 and b"Genuine and current." in page.body,
            "the page behind the QR code says genuine and current",
            page.status,
        )
        told = [term for term in _private(job) if term in page.body.decode()]
        step.verify(not told, "and nothing about patient, clinic or work", told)
        wrong = _page(job, digest[::-1])
        step.verify(b"Not genuine." in wrong.body, "another digest: not genuine")


def _page(job: Job, digest: str) -> Answer:
    return fetch(f"{job.cast.base_url}/verify/{job.order}/{digest}/")


def _private(job: Job) -> list[str]:
    """Return words the page may not hold."""
    who = job.cast.clinician
    return [PATIENT, job.code, who.name, who.organisation, "ceramic", "lingual"]
