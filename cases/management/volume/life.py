"""One case as its rows: what every step writes, in the shape the services give it.

The chain of the timeline is computed here, by the same rule as the database's trigger:
SHA-256 of the previous hash, the position and the canonical text.
"""

from dataclasses import dataclass, field
from hashlib import sha256

from cases.canonical import sha256_hex
from cases.enums import OrganisationKind
from cases.lifecycle import CaseState
from cases.management.volume.cuts import DISINFECTION, SCHEME, SHADE, Cut
from cases.management.volume.draw import Lot
from cases.management.volume.houses import Laboratory, Person
from cases.management.volume.plan import Plan
from cases.management.volume.samples import Sample
from cases.management.volume.sheets import Sheets
from cases.management.volume.text import NULL, escaped, iso, quoted
from cases.timeline import SCHEMA
from rules.requirements import RuleSet

__all__ = ["DAY", "Ink", "Life", "Signed"]

DAY = 1440
CLINIC, LABORATORY = OrganisationKind.CLINIC.value, OrganisationKind.LABORATORY.value
_EMPTY = "0" * 64


@dataclass(slots=True)
class Ink:
    """What all cases are written with."""

    plan: Plan
    rule_set: RuleSet
    sheets: Sheets
    enough: dict[tuple[str, tuple[str, ...]], Sample]
    orders: dict[int, int] = field(default_factory=dict)
    cuts: dict[int, Cut] = field(default_factory=dict)
    told: int = 0

    def cut(self, sample: Sample) -> Cut:
        """Return a sample's fragments."""
        found = self.cuts.get(id(sample))
        if found is None:
            found = self.cuts[id(sample)] = Cut(sample, self.rule_set)
        return found

    def order_number(self, laboratory: Laboratory) -> int:
        """Return the laboratory's next work order number."""
        last = self.orders.get(laboratory.pk, laboratory.last_number)
        self.orders[laboratory.pk] = last + 1
        return last + 1


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature that was written: its number, and what a document prints of it."""

    pk: int
    digest: str
    shown: str


class Life:
    """Where one case stands, and the rows of what just happened."""

    def __init__(self, ink: Ink, lot: Lot, sample: Sample) -> None:
        sheets = ink.sheets
        self.ink, self.lot, self.sheets = ink, lot, sheets
        self.cut = ink.cut(sample)
        self.pk, self.code = sheets.number("cases_case"), sheets.code()
        self.state: str = CaseState.DRAFT
        self.version, self.round, self.revision = 1, 1, 0
        self.check = 0
        self.verdict, self.held_from, self.hold_targets = "", "", "[]"
        self.records_due = "[]"
        self.submitted_at = self.received_at = self.moved_at = 0
        self.created_at = 0
        self.wanted_on = self.promised_on = NULL
        self.pan = self.contents = ""
        self.remake_of = NULL
        self.reference = self.patient = ""
        self.position, self.head = 0, _EMPTY
        self.prescription_signature: Signed | None = None
        self.judged: list[tuple[Sample, list[int]]] = []
        self.checked_at = 0
        self.taken: tuple[Person, int] = (lot.clinician, 0)
        self.queries: list[str] = []
        self.grounds: list[str] = []
        self.answer: int | None = None
        self.coverages: dict[int, int] = {}
        self.uncertain = False

    def late(self, at: int) -> bool:
        """Tell whether this has not happened yet on the plan's last day."""
        return at > self.ink.plan.end_minute

    def entry(
        self,
        event: str,
        at: int,
        who: Person,
        side: str,
        after: str,
        content: str,
        *,
        internal: bool = False,
    ) -> None:
        """Append to the timeline and move the case; ``content`` is canonical JSON."""
        salt = self.sheets.salt()
        bound = sha256(f"{salt}\n{content}".encode()).hexdigest()
        when, inside = iso(at), "true" if internal else "false"
        canonical = (
            f'{{"actor":{who.membership},"after":"{after}","at":"{when}",'
            f'"before":"{self.state}","case":"{self.code}","content":"{bound}",'
            f'"event":"{event}","internal":{inside},"schema":{SCHEMA},"side":"{side}"}}'
        )
        self.position += 1
        before, self.head = self.head, _hashed(self.head, self.position, canonical)
        pk = self.sheets.number("cases_timelineentry")
        self.sheets.add(
            "cases_timelineentry",
            f"{pk}\t{self.pk}\t{self.position}\t{event}\t{when}\t{who.membership}\t{side}"
            f"\t{self.state}\t{after}\t{inside}\t{bound}\t{escaped(canonical)}\t{before}"
            f"\t{self.head}",
        )
        self.sheets.add(
            "cases_timelinecontent", f"{self.pk}\t{pk}\t{salt}\t{escaped(content)}"
        )
        self.version += 1
        if after != self.state:
            self.state, self.moved_at = after, at

    def signed(
        self, who: Person, purpose: str, meaning: str, content: str, at: int
    ) -> Signed:
        """Write a signature over canonical JSON."""
        pk, digest = self.sheets.number("cases_signature"), sha256_hex(content.encode())
        self.sheets.add(
            "cases_signature",
            f"{pk}\t{self.pk}\t{who.membership}\t{who.user}\t{who.name}\t{who.role}\t"
            f"\t{purpose}\t{meaning}\tpassword\t{escaped(content)}\t{digest}\t{iso(at)}",
        )
        shown = (
            f'{{"content_sha256":"{digest}","meaning":{quoted(meaning)},'
            f'"method":"password","name":{quoted(who.name)},"role":"{who.role}",'
            f'"signed_at":"{iso(at)}","signed_for":""}}'
        )
        return Signed(pk, digest, shown)

    def prescribed(self, revision: int) -> str:
        """Return the content of a prescription revision, as it would be signed now."""
        lot = self.lot
        wanted = "null" if self.wanted_on == NULL else f'"{self.wanted_on}"'
        return self.cut.prescription(self.round).filled(
            {
                "case": f'"{self.code}"',
                "revision": str(revision),
                "round": str(self.round),
                "clinic": lot.clinic.named,
                "laboratory": lot.laboratory.named,
                "prescriber": lot.clinician.prescribes,
                "patient": f'"{self.patient}"',
                "wanted_on": wanted,
            }
        )

    def prescribe(self, content: str, digest: str, signature: int, at: int) -> None:
        """Write the next prescription revision, signed, with its units."""
        self.revision += 1
        pk, when = self.sheets.number("cases_prescription"), iso(at)
        self.sheets.add(
            "cases_prescription",
            f"{pk}\t{self.pk}\t{self.revision}\t{SHADE}\t\t{SCHEME}\t{DISINFECTION}\t\t"
            f"{self.cut.connectors}\t{self.wanted_on}\t{NULL}\t{escaped(content)}\t"
            f"{digest}\t{signature}\t{when}",
        )
        for tail in self.cut.units:
            self.sheets.add("cases_unit", f"{pk}\t{self.pk}\t{tail}\t{when}")

    def read(self, who: Person, taken_at: int, sent_at: int) -> None:
        """Write the readings of the current round."""
        self.taken = (who, taken_at)
        ends = f"{who.membership}\t{who.name}\t{iso(taken_at)}\t{iso(sent_at)}\t{NULL}"
        nothing = f"\t{NULL}\t\t{NULL}\t\t{NULL}"
        for tail in self.cut.readings:
            self.sheets.add(
                "cases_reading", f"{self.pk}\t{self.round}\t{tail}\t{ends}\t{nothing}"
            )

    def judge(self, at: int) -> None:
        """Write the check of this revision and round."""
        cut, digest = self.cut, self.ink.rule_set.digest
        self.check, self.checked_at = self.sheets.number("cases_check"), at
        self.sheets.add(
            "cases_check",
            f"{self.check}\t{self.pk}\t{self.revision}\t{self.round}\t{digest}\t"
            f"{cut.checked}\t{iso(at)}",
        )
        numbers: list[int] = []
        self.judged.append((cut.sample, numbers))
        for tail in cut.sites:
            pk = self.sheets.number("cases_siteverdict")
            numbers.append(pk)
            self.sheets.add(
                "cases_siteverdict", f"{pk}\t{self.pk}\t{self.check}\t{tail}"
            )
        self.verdict = cut.sample.verdict

    def new_round(self, cause: str, mounting: int, at: int) -> None:
        """Write a round of records; the caller has counted it."""
        self.sheets.add(
            "cases_round",
            f"{self.pk}\t{self.round}\t{cause}\t{mounting}\tf\t{iso(at)}",
        )

    def close(self) -> None:
        """Write the case as it stands now, its parties and the head of its chain."""
        lot, sheets = self.lot, self.sheets
        received = iso(self.received_at) if self.received_at else NULL
        sheets.add(
            "cases_case",
            f"{self.pk}\t{self.code}\t{lot.clinic.pk}\t{lot.laboratory.pk}\t"
            f"{lot.clinician.user}\t{lot.clinic.assistant.membership}\t{self.state}\t"
            f"{self.version}\t{self.round}\t{self.revision}\t{self.ink.rule_set.digest}\t"
            f"{self.check}\t{self.verdict}\t{self.held_from}\t{self.hold_targets}\t"
            f"{self.records_due}\t\t{NULL}\t{self.pan}\t{self.contents or '[]'}\t"
            f"{self.wanted_on}\t{self.promised_on}\t{NULL}\t\t{self.remake_of}\t"
            f"{iso(self.created_at)}\t{iso(self.submitted_at)}\t{received}\t"
            f"{iso(self.moved_at)}",
        )
        sheets.add("cases_caseparty", f"{self.pk}\t{lot.clinic.pk}\tclinic")
        sheets.add("cases_caseparty", f"{self.pk}\t{lot.laboratory.pk}\tlaboratory")
        sheets.add("cases_timelinehead", f"{self.pk}\t{self.position}\t{self.head}")


def _hashed(before: str, position: int, canonical: str) -> str:
    return sha256(f"{before}\n{position}\n{canonical}".encode()).hexdigest()
