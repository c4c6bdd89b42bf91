"""A clinic, another clinic, two laboratories, and a case at any point of its life."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.utils.crypto import get_random_string

from cases.canonical import canonical_json, sha256_hex
from cases.lifecycle import AnswerKind
from cases.models import Case, Membership, Organisation, Partnership, User
from cases.selectors.identity import actors_of
from cases.services import answers, drafts, flags, readings, release, submission
from cases.services.answers import AnswerInput
from cases.services.drafts import DraftInput, PatientInput
from cases.services.signing import SignatureInput
from cases.tenancy import Actor, acting, operator, tenant

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
# Pages and the API sign by the real clock: the due date must lie ahead of it.
WANTED = date(2099, 3, 16)
PASSWORD = "a-long-password-of-tests"


@dataclass(frozen=True)
class World:
    """Everybody who plays a part; each is an Actor."""

    dentist: Actor
    colleague: Actor
    assistant: Actor
    outsider: Actor
    technician: Actor
    responsible: Actor
    other_laboratory: Actor


def _organisation(kind: str, name: str) -> Organisation:
    with operator():
        return Organisation.objects.create(kind=kind, name=name)


def _person(organisation: Organisation, role: str, name: str, **more) -> Actor:
    user = User.objects.create_user(
        f"{name.lower()}.{get_random_string(6).lower()}@example.org",
        PASSWORD,
        name=name,
        licence_number="L-1" if role == "clinician" else "",
    )
    with tenant(organisation.pk):
        Membership.objects.create(
            organisation=organisation, user=user, role=role, **more
        )
    return actors_of(user)[0]


def build_world() -> World:
    clinic = _organisation("clinic", "Clinic A")
    other = _organisation("clinic", "Clinic B")
    laboratory = _organisation("laboratory", "Laboratory L")
    second = _organisation("laboratory", "Laboratory M")
    for one in (clinic, other):
        with tenant(one.pk):
            made = Partnership.objects.create(
                clinic=one, laboratory=laboratory, asked_by=one, asked_at=AT
            )
        with tenant(laboratory.pk):
            made.accepted_at = AT
            made.save(update_fields=["accepted_at"])
    return World(
        dentist=_person(clinic, "clinician", "Dentist"),
        colleague=_person(clinic, "clinician", "Colleague"),
        assistant=_person(clinic, "assistant", "Assistant"),
        outsider=_person(other, "clinician", "Outsider"),
        technician=_person(laboratory, "technician", "Technician"),
        responsible=_person(
            laboratory, "technician", "Responsible", responsible_technician=True
        ),
        other_laboratory=_person(second, "technician", "Elsewhere"),
    )


def reading(site: str, position: str = "maximal_intercuspation", **values) -> dict:
    return {"site": site, "position": position, "method": "strip", **values}


def unit(**changes) -> dict:
    """A metal-ceramic crown on 36, short over the lingual cusps."""
    body = {
        "tooth": "36",
        "kind": "crown",
        "material": "metal_ceramic",
        "occlusal_surface": "ceramic",
        "relation": "normal",
        "antagonist": "natural",
        "readings": [
            reading("buccal_cusps", passes_mm="2.0"),
            reading("lingual_cusps", passes_mm="1.0", held_mm="1.5"),
            reading("central_fossa", passes_mm="1.5"),
        ],
    }
    return {**body, **changes}


def sufficient_unit(**changes) -> dict:
    rows = [
        reading("buccal_cusps", passes_mm="2.0"),
        reading("lingual_cusps", passes_mm="1.5"),
        reading("central_fossa", passes_mm="1.5"),
    ]
    return unit(readings=rows, **changes)


def draft_of(*units: dict, **more) -> DraftInput:
    return DraftInput(
        patient=PatientInput(reference="P-100"),
        units=units,
        wanted_on=WANTED,
        **more,
    )


def signature_over(content: dict) -> SignatureInput:
    return SignatureInput(
        meaning="I authorise this work.",
        password=PASSWORD,
        content_sha256=sha256_hex(canonical_json(content)),
    )


class Play:
    """Plays a case forward; every step is the real service."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.at = AT

    def tick(self) -> datetime:
        self.at += timedelta(minutes=10)
        return self.at

    def draft(self, *units: dict, **more) -> Case:
        who = self.world.dentist
        with acting(who):
            laboratory = Organisation.objects.get(
                pk=self.world.technician.organisation_id
            )
            return drafts.case_create(
                actor=who,
                laboratory=laboratory.code,
                draft=draft_of(*units, **more),
                at=self.tick(),
            )

    def submit(self, case: Case) -> Case:
        who = self.world.dentist
        with acting(who):
            fresh = Case.objects.get(pk=case.pk)
            return submission.case_submit(
                actor=who,
                code=case.code,
                version=fresh.version,
                signature=signature_over(submission.submission_content(fresh)),
                at=self.tick(),
            )

    def submit_shown(self, case: Case) -> Case:
        """Submit as the page does: what is signed is asked for at that moment."""
        who, at = self.world.dentist, self.tick()
        with acting(who):
            fresh = Case.objects.get(pk=case.pk)
            content = submission.submission_content(fresh, at=at)
            return submission.case_submit(
                actor=who,
                code=case.code,
                version=fresh.version,
                signature=signature_over(content),
                at=at,
            )

    def receive(self, case: Case) -> Case:
        who = self.world.technician
        with acting(who):
            return submission.case_receive(
                actor=who,
                code=case.code,
                version=None,
                contents=["impression"],
                pan_number="7",
                promised_on=None,
                at=self.tick(),
            )

    def at_check(self, *units: dict) -> Case:
        return self.receive(self.submit(self.draft(*units)))

    def at_check_of(self, case: Case) -> Case:
        return self.receive(self.submit_shown(case))

    def flag(self, case: Case, **more):
        who = self.world.technician
        with acting(who):
            return flags.flag_raise(
                actor=who,
                code=case.code,
                version=None,
                reasons=["clearance"],
                text="Short over the lingual cusps.",
                sites=None,
                at=self.tick(),
                **more,
            )

    def answer(self, flag, kind: AnswerKind, **more):
        who = self.world.dentist
        with acting(who):
            chosen = AnswerInput(kind=kind, **more)
            content = answers.answer_preview(
                case=Case.objects.get(pk=flag.case_id),
                flag=type(flag).objects.get(pk=flag.pk),
                answer=chosen,
                at=self.at,
            )
            return answers.flag_answer(
                actor=who,
                code=flag.code,
                version=None,
                answer=chosen,
                signature=signature_over(content),
                at=self.tick(),
            )

    def records(self, case: Case, rows: list[dict]) -> Case:
        who = self.world.assistant
        with acting(who):
            return readings.records_send(
                actor=who,
                code=case.code,
                version=None,
                readings=rows,
                sent=["impression", "jaw_record", "opposing_impression"],
                note="",
                at=self.tick(),
            )

    def clear(self, case: Case, sites=()) -> Case:
        who = self.world.technician
        with acting(who):
            return release.case_clear(
                actor=who,
                code=case.code,
                version=None,
                within_uncertainty=sites,
                at=self.tick(),
            )

    def release(self, case: Case):
        who = self.world.technician
        with acting(who):
            return release.work_order_release(
                actor=who, code=case.code, version=None, at=self.tick()
            )

    def fresh(self, case: Case) -> Case:
        with acting(self.world.dentist):
            return Case.objects.get(pk=case.pk)
