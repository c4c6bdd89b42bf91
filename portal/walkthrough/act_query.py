"""Second act: receipt, the query, the conversation, the outsider, the answer."""

from uuid import uuid4

from portal.walkthrough.job import MEANING, PATIENT, Job

__all__ = ["answer", "check", "flag", "messages", "outsider", "receive", "refused"]

QUESTION = (
    "The lingual cusps are short for ceramic: the 1.5 strip is held. There is wall "
    "height enough for a second preparation; or choose another material."
)
# A code no row has: what is not yours must look exactly like it.
NOWHERE = "0000000000"


def receive(job: Job) -> None:
    """The parcel arrives; a change must name the version it means."""
    who, path = job.cast.technician, f"cases/{job.code}/receive"
    body = {"contents": ["impression", "jaw_record"], "pan_number": "W1"}
    with job.report.step("Receive at the laboratory", who, job.state) as step:
        version = job.version(who)
        step.expect(who.post(path, body), 428, "without If-Match it is refused")
        stale = who.post(path, body, match=version - 1)
        step.expect(stale, 412, "with an old version it is refused")
        step.verify(job.version(who) == version, "neither changed the case")
        received = step.expect(
            who.post(path, body, match=version), 200, "with the current one it is done"
        )
        step.verify(
            received["pan_number"] == "W1" and received["version"] > version,
            "pan number and a new version stand in the answer",
        )
        job.arrived(step, "at_check")


def check(job: Job) -> None:
    """The technician sees at once what is short."""
    who = job.cast.technician
    with job.report.step("Look at the check", who, job.state) as step:
        body = step.expect(who.get(f"cases/{job.code}/check"), 200, "it is there")
        short = [
            (unit["tooth"], site["site"])
            for unit in body["units"]
            for site in unit["sites"]
            if site["verdict"] == "insufficient"
        ]
        step.verify(
            short == [("36", "lingual_cusps")],
            "insufficient at the lingual cusps of 36 and nowhere else",
            short,
        )
        gate = job.case(who, step)["gate"]
        step.verify(len(gate) == 1, "the release gate names that one reason", gate)


def flag(job: Job) -> None:
    """One query, although it is sent twice."""
    who, key = job.cast.technician, str(uuid4())
    path = f"cases/{job.code}/flags"
    body = {"reasons": ["clearance"], "text": QUESTION}
    with job.report.step("Raise the query", who, job.state) as step:
        version = job.version(who)
        first = who.post(path, body, match=version, key=key)
        raised = step.expect(first, 201, "the query is raised")
        job.flag = raised["code"]
        sites = [(site["tooth"], site["site"]) for site in raised["sites"]]
        step.verify(sites == [("36", "lingual_cusps")], "it is about the short site")
        twin = who.post(path, body, match=version, key=key)
        step.verify(
            (twin.status, twin.body) == (first.status, first.body),
            "sent again under the same Idempotency-Key: the same answer",
            twin,
        )
        step.verify(
            twin.headers.get("idempotency-replayed") == "true",
            "which says that it is a replay",
        )
        other = who.post(path, {**body, "text": "Else."}, match=version, key=key)
        step.expect(other, 422, "the same key for something else is refused")
        flags = job.case(job.cast.clinician, step)["flags"]
        step.verify(len(flags) == 1, "the clinic sees one query", len(flags))
        job.arrived(step, "on_hold")


def messages(job: Job) -> None:
    """Both sides write; a note within the laboratory stays there."""
    lab, clinic = job.cast.technician, job.cast.assistant
    path = f"cases/{job.code}/messages"
    with job.report.step("Write both ways", f"{lab} and {clinic}", job.state) as step:
        key, note = str(uuid4()), {"body": "The bench is kept free on Thursday."}
        one = step.expect(lab.post(path, note, key=key), 201, "the laboratory writes")
        two = step.expect(lab.post(path, note, key=key), 201, "and repeats it")
        step.verify(one["code"] == two["code"], "the repetition is the same message")
        inside = {"body": "Ask about the night splint.", "internal": True}
        step.expect(lab.post(path, inside), 201, "a note within the laboratory")
        reply = {"body": "The patient can come on Thursday morning."}
        step.expect(clinic.post(path, reply), 201, "the clinic replies")
        step.expect(clinic.post(path, inside), 403, "a clinic has no such notes")
        heard = [m["body"] for m in clinic.get(path).json()["items"]]
        step.verify(
            heard == [note["body"], reply["body"]],
            "the clinic reads both messages once, and not the note",
            heard,
        )
        kept = [m["internal"] for m in lab.get(path).json()["items"]]
        step.verify(kept == [False, True, False], "the laboratory reads all three")


def outsider(job: Job) -> None:
    """For another clinic the case does not exist."""
    who = job.cast.outsider
    with job.report.step("Try as another clinic", who, job.state) as step:
        parts = ("", "/check", "/timeline", "/messages", "/attachments")
        for part in parts:
            seen = who.get(f"cases/{job.code}{part}")
            none = who.get(f"cases/{NOWHERE}{part}")
            step.verify(
                seen.status == none.status == 404 and seen.body == none.body,
                f"GET cases/…{part}: 404, byte for byte as for a code nobody has",
                seen,
            )
        for path in (
            f"cases/{job.code}/cancel",
            f"flags/{job.flag}/answer",
            f"flags/{job.flag}/answer/preview",
        ):
            verb = path.split("/", 2)[2]
            step.expect(who.post(path, {}, match=1), 404, f"POST …/{verb}")
        found = who.get(f"cases?search={PATIENT}").json()["items"]
        step.verify(found == [], "searching the patient reference finds nothing")


def refused(job: Job) -> None:
    """Nothing is released while the query is open."""
    who = job.cast.technician
    with job.report.step("Try to release on hold", who, job.state) as step:
        for verb in ("clear", "release"):
            answer = job.do(who, verb)
            step.expect(answer, 409, f"{verb} is refused")
            step.verify(bool(answer.problem), f"{verb}: as problem details (RFC 9457)")
        orders = job.case(who, step)["work_orders"]
        step.verify(orders == [], "there is no work order")


def answer(job: Job) -> None:
    """The clinician chooses re-preparation and signs it."""
    who, path = job.cast.clinician, f"flags/{job.flag}/answer"
    choice = {
        "kind": "re_preparation",
        "grounds": "Agreed: I stop when the 1.5 strip slides.",
    }
    with job.report.step("Answer and sign", who, job.state) as step:
        signature = job.granted(who, step, path, choice)
        changed = {**choice, "grounds": "Something else.", "signature": signature}
        other = who.post(path, changed, match=job.version(who))
        step.expect(other, 409, "the grant does not sign another content")
        signature = job.granted(who, step, path, choice)
        settled = step.expect(
            who.post(path, {**choice, "signature": signature}, match=job.version(who)),
            200,
            "the answer is signed",
        )
        given = settled["answers"][0]
        step.verify(settled["status"] == "settled", "the query is settled")
        step.verify(
            given["parameters"]["depth_mm"]
            == {"36": {"lingual_cusps": {"low": 0.0, "high": 0.5}}},
            "the depth to remove stands in it as an interval per site",
            given["parameters"],
        )
        step.verify(given["signature"]["meaning"] == MEANING, "with its meaning")
        job.arrived(step, "awaiting_records")
