"""The case in question: what everybody sees of it, and how commands are sent."""

from dataclasses import dataclass
from typing import Any

from portal.walkthrough.cast import Cast
from portal.walkthrough.client import Answer, Person
from portal.walkthrough.proofs import content_digest
from portal.walkthrough.report import Report, Step

__all__ = ["MEANING", "PATIENT", "Job", "reading", "short_unit"]

PATIENT = "WALK-0001"
MEANING = "I have read what is shown and sign it."
_MI = "maximal_intercuspation"


def reading(site: str, **lengths: float) -> dict[str, Any]:
    """Return a reading by thickness strip, in millimetres."""
    return {"site": site, "position": _MI, "method": "strip", **lengths}


def short_unit() -> dict[str, Any]:
    """Return a metal-ceramic crown on 36, short over the lingual cusps."""
    return {
        "tooth": "36",
        "kind": "crown",
        "material": "metal_ceramic",
        "occlusal_surface": "ceramic",
        "relation": "normal",
        "antagonist": "natural",
        "wall_heights_mm": {"facial": 4.6, "lingual": 4.8},
        "base_width_mm": 10,
        "readings": [
            reading("buccal_cusps", passes_mm=2.0),
            reading("lingual_cusps", passes_mm=1.0, held_mm=1.5),
            reading("central_fossa", passes_mm=1.5),
        ],
    }


@dataclass(slots=True)
class Job:
    """One play: the cast, the report, and the codes found on the way."""

    cast: Cast
    report: Report
    code: str = ""
    flag: str = ""
    order: str = ""
    state: str = "no case"

    def case(self, person: Person, step: Step) -> dict[str, Any]:
        """Return the case as a person sees it."""
        seen: dict[str, Any] = step.expect(
            person.get(f"cases/{self.code}"), 200, f"{person.role} sees the case"
        )
        return seen

    def version(self, person: Person) -> int:
        """Return the version of the case now (its ETag)."""
        answer = person.get(f"cases/{self.code}")
        return int(answer.headers.get("etag", '"0"').strip('"'))

    def do(
        self, person: Person, verb: str, body: dict[str, Any] | None = None
    ) -> Answer:
        """Send a command of the case on its current version."""
        return person.post(
            f"cases/{self.code}/{verb}", body, match=self.version(person)
        )

    def arrived(self, step: Step, state: str) -> None:
        """Verify for both sides that the case is in a state, and remember it."""
        for person in (self.cast.clinician, self.cast.technician):
            seen = person.get(f"cases/{self.code}").json()
            step.verify(
                seen.get("state") == state,
                f"{person.role} now sees the state {state}",
                seen.get("state"),
            )
        self.state = step.after = state

    def granted(
        self, person: Person, step: Step, path: str, body: dict[str, Any]
    ) -> dict[str, str]:
        """Look at what would be signed, prove its digest, and get a grant for it."""
        shown = step.expect(
            person.post(f"{path}/preview", body), 200, "what would be signed is shown"
        )
        step.verify(
            content_digest(shown["content"]) == shown["content_sha256"],
            "the digest to sign is the SHA-256 of the content shown",
        )
        asked = {key: shown[key] for key in ("purpose", "target", "content_sha256")}
        issued = step.expect(
            person.post("signing-grants", {**asked, "password": person.password}),
            201,
            "the password, shown again, gives a signing grant",
        )
        return {"grant": issued["grant"], "meaning": MEANING}
