"""First act: at the chair, the draft, the signature."""

from datetime import UTC, datetime, timedelta

from portal.walkthrough.job import MEANING, PATIENT, Job, short_unit

__all__ = ["at_the_chair", "draft", "submit"]


def at_the_chair(job: Job) -> None:
    """The clinician checks before the impression; nothing is stored.

    The expected numbers are the reference values of the shipped rule set:
    metal-ceramic needs 2.0 at the functional cusp, 1.5 at the non-functional one
    and the fossa (common practice, no source).
    """
    who = job.cast.clinician
    with job.report.step("Check at the chair", who, job.state) as step:
        answer = who.post("check", {"units": [short_unit()]})
        body = step.expect(answer, 200, "the check answers")
        step.verify(body["verdict"] == "insufficient", "the verdict is insufficient")
        sites = {site["site"]: site for site in body["units"][0]["sites"]}
        needs = {name: site["need_mm"] for name, site in sites.items()}
        step.verify(
            needs == {"buccal_cusps": 2.0, "lingual_cusps": 1.5, "central_fossa": 1.5},
            "the needs are those of metal-ceramic: 2.0, 1.5, 1.5 mm",
            needs,
        )
        short = sites["lingual_cusps"]
        step.verify(
            short["verdict"] == "insufficient"
            and short["shortage_mm"] == {"low": 0.0, "high": 0.5},
            "the lingual cusps are short by 0.0 to 0.5 mm",
            short,
        )
        options = body["units"][0]["options"]
        depths = [o["depth_mm"] for o in options if o["kind"] == "re_preparation"]
        step.verify(
            depths == [{"lingual_cusps": {"low": 0.0, "high": 0.5}}],
            "re-preparation is offered: up to 0.5 mm at the lingual cusps only",
            depths,
        )
        fits = {o.get("material") for o in options if o["feasible"]}
        step.verify("zirconia_3y" in fits, "a material that fits is offered", fits)


def draft(job: Job) -> None:
    """The assistant prepares the case; only the clinic sees it."""
    who = job.cast.assistant
    with job.report.step("Prepare the draft", who, job.state) as step:
        listed = step.expect(who.get("cases"), 200, "the clinic's cases are listed")
        wanted = datetime.now(UTC).date() + timedelta(days=14)
        body = {
            "laboratory": listed["items"][0]["laboratory"]["code"],
            "patient": {"reference": PATIENT, "age_band": "40-64"},
            "prescription": {"shade": "Tab 5", "disinfection": "immersion"},
            "units": [short_unit()],
            "wanted_on": wanted.isoformat(),
        }
        answer = who.post("cases", body)
        made = step.expect(answer, 201, "the draft is stored")
        job.code = made["code"]
        step.verify(
            answer.headers.get("location") == f"/api/v1/cases/{job.code}",
            "Location names the new case",
            answer.headers.get("location"),
        )
        step.verify(made["state"] == "draft", "it is a draft", made["state"])
        again = who.get(f"cases/{job.code}", If_None_Match=answer.headers["etag"])
        step.verify(again.status == 304, "its ETag spares a second transfer (304)")
        hidden = job.cast.technician.get(f"cases/{job.code}")
        step.expect(hidden, 404, "the laboratory sees no draft")
        refused = who.post(f"cases/{job.code}/submit/preview", {})
        step.expect(refused, 403, "an assistant cannot sign it")
        job.state = step.after = "draft"


def submit(job: Job) -> None:
    """The clinician signs with a grant; a token alone never signs."""
    who, path = job.cast.clinician, f"cases/{job.code}/submit"
    with job.report.step("Sign and submit", who, job.state) as step:
        bare = job.do(who, "submit")
        step.verify(
            (bare.status, bare.problem) == (403, "reauthentication-required"),
            "without a grant: 403 reauthentication-required",
            bare,
        )
        foreign = {"grant": "0" * 43, "meaning": MEANING}
        step.expect(
            job.do(who, "submit", {"signature": foreign}),
            403,
            "an invented grant is refused",
        )
        signature = job.granted(who, step, path, {})
        sent = step.expect(
            job.do(who, "submit", {"signature": signature}), 200, "signed and sent"
        )
        signed = sent["prescription"]["signature"]
        step.verify(
            (signed["name"], signed["meaning"]) == (who.name, MEANING),
            "the signature carries printed name and meaning",
            signed,
        )
        used = job.do(who, "submit", {"signature": signature})
        step.verify(used.status == 409, "it cannot be submitted twice (409)", used)
        job.arrived(step, "submitted")
