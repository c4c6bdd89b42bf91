"""Last act: dispatch, receipt, fit, and what is left for others to verify."""

import re
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from portal.walkthrough.act_bench import wait_for
from portal.walkthrough.job import PATIENT, Job
from portal.walkthrough.proofs import chain_breaks

__all__ = ["dispatch", "fit", "notices", "receipt", "timeline"]

MAIL_PATIENCE = 60.0
EVENTS = [
    "case.submitted",
    "case.received",
    "flag.raised",
    "message.posted",
    "message.posted",
    "message.posted",
    "answer.signed",
    "records.sent",
    "case.received",
    "case.cleared",
    "work_order.released",
    "case.dispatched",
    "case.receipt",
    "fit.reported",
]
# Words a mail may not hold: it is read on any telephone.
HEALTH = re.compile(
    rf"{PATIENT}|\b36\b|metal|ceramic|lingual|clearance|crown|tooth|query|strip", re.I
)


def dispatch(job: Job) -> None:
    """The finished work leaves the laboratory."""
    who = job.cast.technician
    with job.report.step("Dispatch", who, job.state) as step:
        sent = job.do(who, "dispatch", {"note": "By the afternoon round"})
        step.expect(sent, 200, "dispatched")
        job.arrived(step, "dispatched")


def receipt(job: Job) -> None:
    """The clinic has it in hand."""
    who = job.cast.assistant
    with job.report.step("Confirm receipt", who, job.state) as step:
        step.expect(job.do(who, "receipt"), 200, "confirmed")
        job.arrived(step, "dispatched")


def fit(job: Job) -> None:
    """What happened in the mouth."""
    who = job.cast.clinician
    body = {"fitted": True, "findings": ["as_delivered"], "minutes": 12}
    with job.report.step("Report the fit", who, job.state) as step:
        done = step.expect(job.do(who, "fit", body), 200, "reported")
        step.verify(
            done["fit_reports"][0]["findings"] == ["as_delivered"], "as delivered"
        )
        step.verify(done["whose_move"] == "nobody", "nobody has to move any more")
        step.expect(job.do(who, "fit", body), 409, "a second report is refused")
        job.arrived(step, "fitted")


def timeline(job: Job) -> dict[str, Any]:
    """Recompute the chain from its text; return the laboratory's timeline."""
    lab, clinic = job.cast.technician, job.cast.clinician
    with job.report.step(
        "Verify the timeline", f"{lab} and {clinic}", job.state
    ) as step:
        path = f"cases/{job.code}/timeline"
        whole = step.expect(lab.get(path), 200, "the laboratory's timeline")
        told = [e["event"] for e in whole["items"] if not _rendering(e)]
        step.verify(told == EVENTS, "it tells every step, in order, once", told)
        broken = chain_breaks(whole["items"], whole["withheld"])
        step.verify(
            whole["withheld"] == [] and broken == [],
            f"all {len(whole['items'])} hashes and contents recomputed: unbroken",
            broken,
        )
        forged = [{**e, "canonical": e["canonical"] + " "} for e in whole["items"][:1]]
        step.verify(chain_breaks(forged) != [], "and one changed letter would show")
        part = step.expect(clinic.get(path), 200, "the clinic's timeline")
        broken = chain_breaks(part["items"], part["withheld"])
        step.verify(
            len(part["withheld"]) == 1 and broken == [],
            "it lacks the laboratory's one note, and its chain holds too",
            broken or part["withheld"],
        )
        heads = {body["items"][-1]["hash"] for body in (whole, part)}
        step.verify(len(heads) == 1, "both end in the same hash", heads)
    return dict(whole)


def _rendering(entry: dict[str, Any]) -> bool:
    return bool(entry["event"] == "work_order.rendered")


def notices(job: Job, folder: Path) -> None:
    """Everybody was told by mail what the other side did, and no health data.

    A mail may repeat after a crash, but only under the same Message-ID: distinct
    ones are counted.
    """
    expected = {
        job.cast.clinician.email: 7,
        job.cast.assistant.email: 7,
        job.cast.technician.email: 6,
        job.cast.outsider.email: 0,
    }

    def arrived() -> bool:
        return all(
            len(_distinct(folder, job.code, address)) >= count
            for address, count in expected.items()
        )

    with job.report.step("Look into the mails", "the mail server", job.state) as step:
        wait_for(arrived, MAIL_PATIENCE)
        for address, count in expected.items():
            found = len(_distinct(folder, job.code, address))
            step.verify(found == count, f"{address} got {count} mails", found)
            told = [
                word
                for mail in _mails(folder, job.code, address)
                for word in _told(mail, job.code)
            ]
            step.verify(not told, f"{address}: no health data in any", told)


def _distinct(folder: Path, code: str, address: str) -> set[str]:
    return {str(mail["Message-ID"]) for mail in _mails(folder, code, address)}


def _mails(folder: Path, code: str, address: str) -> list[EmailMessage]:
    """Return the mails about a case to an address, as the mail folder holds them."""
    found = []
    for file in sorted(folder.iterdir()):
        for raw in file.read_bytes().split(b"\n" + b"-" * 79 + b"\n"):
            if code.encode() in raw:
                mail = message_from_bytes(raw, policy=policy.default)
                if mail["To"] == address:
                    found.append(mail)
    return found


def _told(mail: EmailMessage, code: str) -> list[str]:
    body = mail.get_body()
    text = f"{mail['Subject']}\n{body.get_content() if body else ''}"
    return HEALTH.findall(text.replace(code, ""))
