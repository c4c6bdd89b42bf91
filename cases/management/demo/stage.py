"""Plays one case through the real services, at times of the past.

Each method is one command by one person, inside that person's tenant, exactly as
a page or the API would call it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeVar

from cases.canonical import canonical_json, sha256_hex
from cases.management.demo.people import Player
from cases.models import Case, Flag, Organisation
from cases.services import (
    answers,
    bench,
    drafts,
    flags,
    outcome,
    posting,
    readings,
    release,
    submission,
)
from cases.services.answers import AnswerInput
from cases.services.drafts import DraftInput, PatientInput, PrescriptionInput
from cases.services.outcome import FitInput
from cases.services.signing import SignatureInput
from cases.tenancy import acting

__all__ = ["AUTHORISED", "CHOSEN", "Story"]

T = TypeVar("T")
AUTHORISED = "I authorise this work as prescribed."
CHOSEN = "This is my decision on the laboratory's query."
COUNTERSIGNED = "I have read the grounds and will build this as documented."
EVERYTHING = ("impression", "opposing", "jaw_record", "disinfection_stated")


def _signed(player: Player, meaning: str, content: Mapping[str, Any]) -> SignatureInput:
    return SignatureInput(
        meaning=meaning,
        password=player.password,
        content_sha256=sha256_hex(canonical_json(dict(content))),
    )


@dataclass(slots=True)
class Story:
    """One case: its people, and where it stands after what was played."""

    laboratory: Organisation
    clinician: Player
    assistant: Player
    technician: Player
    responsible: Player
    code: str = ""
    flag: str = ""
    written: int = field(default=0)
    measured: bool = field(default=False)

    def _do(self, player: Player, command: Callable[..., T], **more: Any) -> T:
        with acting(player.actor):
            return command(actor=player.actor, code=self.code, version=None, **more)

    def draft(
        self,
        at: datetime,
        reference: str,
        units: Sequence[Mapping[str, Any]],
        *,
        wanted_on: date | None,
        age_band: str = "40-64",
        **texts: str,
    ) -> "Story":
        """The assistant types what the clinician calls."""
        usual = {"disinfection": "immersion", "occlusal_scheme": "canine guidance"}
        with acting(self.assistant.actor):
            case = drafts.case_create(
                actor=self.assistant.actor,
                laboratory=self.laboratory.code,
                draft=DraftInput(
                    patient=PatientInput(reference=reference, age_band=age_band),
                    prescription=PrescriptionInput(**{**usual, **texts}),
                    units=units,
                    wanted_on=wanted_on,
                ),
                at=at,
            )
        self.code = case.code
        return self

    def submit(self, at: datetime, *, again: bool = False) -> "Story":
        """The clinician signs the prescription and sends it."""
        command = submission.case_resubmit if again else submission.case_submit
        with acting(self.clinician.actor):
            content = submission.submission_content(Case.objects.get(code=self.code))
        signature = _signed(self.clinician, AUTHORISED, content)
        self._do(self.clinician, command, signature=signature, at=at)
        return self

    def receive(
        self,
        at: datetime,
        pan: str,
        promised_on: date | None = None,
        contents: Sequence[str] = EVERYTHING,
    ) -> "Story":
        """The parcel arrives at the bench."""
        self._do(
            self.technician,
            submission.case_receive,
            contents=contents,
            pan_number=pan,
            promised_on=promised_on,
            at=at,
        )
        return self

    def incomplete(self, at: datetime, missing: str) -> "Story":
        """The technician sends it back and says what is missing."""
        self._do(self.technician, submission.case_incomplete, missing=missing, at=at)
        return self

    def ask(self, at: datetime, text: str, reasons: Sequence[str] = ()) -> "Story":
        """The technician raises one query about every short site.

        After own readings die and mounting were verified first.
        """
        flag = self._do(
            self.technician,
            flags.flag_raise,
            reasons=["clearance", *reasons],
            text=text,
            sites=None,
            verified=self.measured,
            at=at,
        )
        self.flag = flag.code
        return self

    def answer(self, at: datetime, choice: AnswerInput) -> "Story":
        """The clinician chooses a way out and signs it."""
        with acting(self.clinician.actor):
            content = answers.answer_preview(
                case=Case.objects.get(code=self.code),
                flag=Flag.objects.get(code=self.flag),
                answer=choice,
                at=at,
            )
            answers.flag_answer(
                actor=self.clinician.actor,
                code=self.flag,
                version=None,
                answer=choice,
                signature=_signed(self.clinician, CHOSEN, content),
                at=at,
            )
        return self

    def countersign(self, at: datetime) -> "Story":
        """The responsible technician accepts the documented risk."""
        with acting(self.responsible.actor):
            flag = Flag.objects.get(code=self.flag)
            content = answers.countersign_content(
                case=Case.objects.get(code=self.code),
                flag=flag,
                answer=answers.pending_answer(flag),
            )
            answers.flag_countersign(
                actor=self.responsible.actor,
                code=self.flag,
                version=None,
                accept=True,
                reason="",
                signature=_signed(self.responsible, COUNTERSIGNED, content),
                at=at,
            )
        return self

    def records(
        self, at: datetime, rows: Sequence[Mapping[str, Any]], note: str
    ) -> "Story":
        """The clinic sends new readings, impression and jaw record."""
        self._do(
            self.assistant,
            readings.records_send,
            readings=rows,
            sent=["impression", "jaw_record", "opposing_impression"],
            note=note,
            at=at,
        )
        return self

    def measure(self, at: datetime, rows: Sequence[Mapping[str, Any]]) -> "Story":
        """The technician adds readings of the mounted models."""
        self._do(self.technician, readings.readings_add, readings=rows, at=at)
        self.measured = True
        return self

    def clear(self, at: datetime, within: Sequence[tuple[str, str]] = ()) -> "Story":
        """The technician clears the case for fabrication."""
        self._do(self.technician, release.case_clear, within_uncertainty=within, at=at)
        return self

    def release(self, at: datetime) -> "Story":
        """The technician releases the work order."""
        self._do(self.technician, release.work_order_release, at=at)
        return self

    def try_in(self, at: datetime, note: str) -> "Story":
        """The work goes to the clinic for a try-in."""
        self._do(self.technician, bench.case_try_in, note=note, at=at)
        return self

    def dispatch(self, at: datetime, note: str) -> "Story":
        """The finished work leaves the laboratory."""
        self._do(self.technician, bench.case_dispatch, note=note, at=at)
        return self

    def receipt(self, at: datetime, note: str = "") -> "Story":
        """The clinic has it in hand."""
        self._do(self.assistant, bench.case_receipt, note=note, at=at)
        return self

    def fit(self, at: datetime, report: FitInput) -> "Story":
        """The clinician reports what happened in the mouth."""
        self._do(self.clinician, outcome.fit_report, report=report, at=at)
        return self

    def remake(self, at: datetime, cause: str, attribution: str, note: str) -> "Story":
        """The clinic opens a remake: a linked new draft."""
        self._do(
            self.clinician,
            outcome.remake_open,
            cause=cause,
            attribution=attribution,
            note=note,
            at=at,
        )
        return self

    def cancel(self, at: datetime, reason: str) -> "Story":
        """The prescriber cancels."""
        self._do(self.clinician, bench.case_cancel, reason=reason, at=at)
        return self

    def say(
        self,
        at: datetime,
        player: Player,
        body: str,
        *,
        internal: bool = False,
        photo: bytes | None = None,
    ) -> "Story":
        """Somebody writes in the thread, perhaps with a photo."""
        self.written += 1
        with acting(player.actor):
            posting.message_send(
                actor=player.actor,
                code=self.code,
                body=body,
                internal=internal,
                client_id=f"demo-{self.written}",
                file=("upper-arch-drawing.png", photo) if photo else None,
                at=at,
            )
        return self
