"""The monthly digest: exactly once, without health data, stopped where it is unwanted."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import DatabaseError, transaction
from django.test import Client

from cases import clock, outbox, tasks
from cases.audit.filters import month_after
from cases.audit.over_time import is_complete
from cases.models import (
    AuditDigest,
    AuditDigestStop,
    AuditSettings,
    Notice,
    OutboxRow,
)
from cases.services import audit_digest, bench
from cases.services.audit_digest import (
    FOLLOWED_DAYS,
    digest_mail_key,
    digests_make,
    last_complete_month,
)
from cases.services.audit_report import audit_report
from cases.tenancy import acting, tenant
from tests import factories
from tests.cases.documents.audit_samples import SETUP
from tests.permissions.shape import play_of
from tests.personas import Personas
from tests.play import sufficient_unit

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "relay"])

# The tests' cases leave the laboratory in March 2026.
DUE = datetime(2026, 5, 3, 5, 20, tzinfo=UTC)
MARCH = date(2026, 3, 1)
REPORT = "cases.services.audit_digest.audit_report"


@pytest.fixture
def dispatched(personas: Personas) -> Personas:
    """One restoration of clinic A left laboratory L in March."""
    play = play_of(personas)
    case = play.at_check(sufficient_unit())
    play.clear(case)
    play.release(case)
    who = personas.technician.actor
    with acting(who):
        bench.case_dispatch(
            actor=who, code=case.code, version=None, note="", at=play.tick()
        )
    _drain()
    mail.outbox.clear()
    return personas


def _drain() -> None:
    """Hand out what the case itself told, so that only the digest is left."""
    while tasks.relay_outbox():
        pass


def _rows(personas: Personas, model: Any) -> list[Any]:
    found = []
    for one in (personas.clinic_a, personas.laboratory):
        with tenant(one.pk):
            found += list(model.objects.filter(organisation=one))
    return found


def _settings(personas: Personas, **values: Any) -> None:
    for one in (personas.clinic_a, personas.laboratory):
        with tenant(one.pk):
            AuditSettings.objects.update_or_create(
                organisation=one, defaults={"changed_at": DUE, **values}
            )


@pytest.mark.parametrize(
    ("today", "month"),
    [
        ("2026-05-01", "2026-03-01"),
        ("2026-05-03", "2026-03-01"),
        ("2026-05-29", "2026-03-01"),
        ("2026-05-30", "2026-04-01"),
        # Thirty days after 31 January is 2 March, in a leap year 1 March.
        ("2027-03-01", "2026-12-01"),
        ("2027-03-02", "2027-01-01"),
        ("2028-03-01", "2028-01-01"),
        ("2026-01-05", "2025-11-01"),
    ],
)
def test_the_last_month_that_was_followed_up(today, month):
    found = last_complete_month(date.fromisoformat(today))
    assert found == date.fromisoformat(month)


def test_the_digest_waits_as_long_as_the_pages():
    assert SETUP.follow_up_days == FOLLOWED_DAYS
    for day in range(1, 29):
        today = date(2026, 5, day)
        at = datetime(2026, 5, day, 12, tzinfo=UTC)
        setup = replace(SETUP, as_of=at)
        month = last_complete_month(today)
        assert is_complete(setup, month)
        assert not is_complete(setup, month_after(month))


def test_each_side_gets_one_and_a_second_run_makes_none(dispatched: Personas):
    assert digests_make(at=DUE) == 2
    assert digests_make(at=DUE + timedelta(hours=1)) == 0
    assert digests_make(at=DUE + timedelta(days=2)) == 0
    assert {row.month for row in _rows(dispatched, AuditDigest)} == {MARCH}
    tasks.relay_outbox()
    tasks.relay_outbox()
    told = [row for row in _rows(dispatched, Notice) if row.kind == audit_digest.KIND]
    assert {(row.recipient_id, row.channel) for row in told} == {
        (person.user.pk, channel)
        for person in (dispatched.clinic_manager, dispatched.lab_manager)
        for channel in ("portal", "mail")
    }
    assert len(told) == 4
    assert sorted(address for m in mail.outbox for address in m.to) == [
        "clinic_manager@example.org",
        "lab_manager@example.org",
    ]


def test_nothing_dispatched_is_no_digest(personas: Personas):
    assert digests_make(at=DUE) == 0
    assert _rows(personas, AuditDigest) == []


def test_another_month_is_no_digest(dispatched: Personas):
    assert digests_make(at=DUE + timedelta(days=60)) == 0


def test_switched_off_is_no_digest_and_switched_on_again_is_one(dispatched: Personas):
    _settings(dispatched, monthly_digest=False)
    assert digests_make(at=DUE) == 0
    _settings(dispatched, monthly_digest=True)
    assert digests_make(at=DUE) == 2


def test_what_fails_for_one_stops_no_other_and_comes_again(
    dispatched: Personas, monkeypatch
):
    def broken(**asked: Any) -> Any:
        if asked["actor"].is_clinic:
            raise RuntimeError("a fault of ours")
        return audit_report(**asked)

    with monkeypatch.context() as patched:
        patched.setattr(REPORT, broken)
        assert digests_make(at=DUE) == 1
    assert digests_make(at=DUE) == 1
    assert len(_rows(dispatched, AuditDigest)) == 2


def test_what_takes_too_long_is_left_to_the_next_run(dispatched: Personas):
    asked: list[int] = []

    def enough() -> bool:
        asked.append(len(asked))
        return len(asked) > 1

    # Organisations in order of their making: clinic A, then those without a case.
    assert digests_make(at=DUE, enough=enough) == 1
    assert digests_make(at=DUE) == 1
    assert tasks.audit_digests() == 0  # today, long after March


def test_the_mail_holds_counts_and_a_link_and_nothing_of_anybody(dispatched: Personas):
    digests_make(at=DUE)
    tasks.relay_outbox()
    assert len(mail.outbox) == 2
    for letter in mail.outbox:
        said = f"{letter.subject}\n{letter.body}"
        assert letter.subject == "Remake audit of March 2026"
        assert "1 restoration was dispatched." in said
        assert "0.0 % of them were reported on" in said
        assert "the numbers are too small" in said
        assert "/audit/?from=2025-04&to=2026-03" in said
        assert "This mail holds no health data." in said
        codes = r"\b[0-9A-HJKMNP-TV-Z]{10}\b"
        assert re.findall(codes, re.sub(r"https?://\S+", "", said)) == []
        for secret in (
            "P-100", "36", "metal", "crown", "Clinic A", "Laboratory L", "Test",
            "lingual", "Clinician",
        ):  # fmt: skip
            assert secret not in re.sub(r"https?://\S+", "", said), secret


def test_a_rate_is_told_with_its_interval(dispatched: Personas, monkeypatch):
    def enough(**asked: Any) -> Any:
        found = audit_report(**asked)
        (usual_row,) = (one for one in found.headline if one.key == "remade")
        row = replace(
            usual_row, n=605, count=31, rate=31 / 605, low=0.0363, high=0.0719,
            hidden="",
        )  # fmt: skip
        return replace(found, n=605, reported=540, headline=(row,))

    monkeypatch.setattr(REPORT, enough)
    digests_make(at=DUE)
    tasks.relay_outbox()
    said = mail.outbox[0].body
    assert "605 restorations were dispatched." in said
    assert "89.3 % of them" in said
    assert "Remade since: 31, which is 5.1 % (95 % interval 3.6 to 7.2 %)." in said


def test_a_mail_says_how_to_stop_it(dispatched: Personas):
    digests_make(at=DUE)
    tasks.relay_outbox()
    for letter in mail.outbox:
        (address,) = re.findall("<(.+)>", letter.extra_headers["List-Unsubscribe"])
        assert address in letter.body
        # RFC 8058, 3.1: exactly this field beside an https address.
        assert letter.extra_headers["List-Unsubscribe-Post"] == (
            "List-Unsubscribe=One-Click"
        )


def test_a_crash_between_sending_and_marking_repeats_the_message_id(
    dispatched: Personas, monkeypatch
):
    digests_make(at=clock.now().replace(year=2026, month=5, day=3))
    with monkeypatch.context() as broken:

        def crash(**_ignored):
            raise RuntimeError("killed")

        broken.setattr("cases.notifications.notice_mail_sent", crash)
        tasks.relay_outbox()
    first = {m.extra_headers["Message-ID"]: m.body for m in mail.outbox}
    for claimed in outbox.claim(at=clock.now() + timedelta(minutes=5)):
        tasks.handle(*claimed)
    again = {m.extra_headers["Message-ID"]: m.body for m in mail.outbox}
    assert len(mail.outbox) == 4
    assert first == again
    assert len(first) == 2


def test_with_the_mail_server_down_the_notice_stands_and_the_mail_waits(
    dispatched: Personas, monkeypatch
):
    digests_make(at=DUE)

    def refuse(self, messages):
        raise ConnectionRefusedError

    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", refuse)
        tasks.relay_outbox()
    told = [row for row in _rows(dispatched, Notice) if row.kind == audit_digest.KIND]
    assert len(told) == 4
    waiting = [r for r in _rows(dispatched, OutboxRow) if r.done_at is None]
    assert [r.last_error for r in waiting] == ["ConnectionRefusedError"] * 2
    for claimed in outbox.claim(at=clock.now() + timedelta(minutes=5)):
        tasks.handle(*claimed)
    assert len(mail.outbox) == 2


def test_with_the_broker_down_the_digest_is_made_and_waits(
    dispatched: Personas, monkeypatch
):
    """The tests' broker is a socket nobody listens at: the nudge fails, the row stays."""
    monkeypatch.setattr(outbox, "_nudge", [tasks.nudge])
    assert digests_make(at=DUE) == 2
    assert len(mail.outbox) == 0
    assert tasks.relay_outbox() == 2
    assert len(mail.outbox) == 2


def _address(personas: Personas, name: str = "lab_manager") -> str:
    persona = personas.named(name)
    key = digest_mail_key(
        organisation_id=persona.membership.organisation_id,
        membership_id=persona.membership.pk,
    )
    return f"/audit/digest-mail/{key}/"


def test_one_click_stops_the_mail_of_one_person_and_nobody_elses(dispatched: Personas):
    colleague = factories.make_user("second@example.org", "Second Manager")
    factories.make_membership(dispatched.laboratory, colleague, "lab_manager")
    address = _address(dispatched)
    stranger = Client(enforce_csrf_checks=True)
    answer = stranger.post(address, {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 204
    digests_make(at=DUE)
    tasks.relay_outbox()
    to = sorted(address for m in mail.outbox for address in m.to)
    assert to == ["clinic_manager@example.org", "second@example.org"]
    portal = [n for n in _rows(dispatched, Notice) if n.channel == "portal"]
    assert dispatched.lab_manager.user.pk in {
        n.recipient_id for n in portal if n.kind == audit_digest.KIND
    }


def test_looking_at_the_address_stops_nothing_and_what_was_stopped_comes_back(
    dispatched: Personas,
):
    address, client = _address(dispatched), Client()
    for _look in range(2):
        assert "Stop these mails" in client.get(address).content.decode()
    assert client.head(address).status_code == 200
    assert _rows(dispatched, AuditDigestStop) == []
    assert client.post(address).status_code == 302
    assert client.post(address, {"List-Unsubscribe": "One-Click"}).status_code == 204
    assert len(_rows(dispatched, AuditDigestStop)) == 1
    assert "You get no mail" in client.get(address).content.decode()
    assert client.post(address, {"again": "1"}).status_code == 302
    assert _rows(dispatched, AuditDigestStop) == []


def test_a_key_nobody_signed_or_of_who_left_opens_nothing(dispatched: Personas):
    address, client = _address(dispatched), Client()
    forged = (
        "/audit/digest-mail/1-1/",
        "/audit/digest-mail/1-1.forged/",
        address.replace(f"-{dispatched.lab_manager.membership.pk}.", "-1."),
        # A role that gets no digest has nothing to stop.
        _address(dispatched, "technician"),
    )
    for one in forged:
        assert client.get(one).status_code == 404, one
        assert client.post(one).status_code == 404, one
    with tenant(dispatched.laboratory.pk):
        dispatched.lab_manager.membership.ended_at = DUE
        dispatched.lab_manager.membership.save(update_fields=["ended_at"])
    assert client.post(address).status_code == 404
    assert _rows(dispatched, AuditDigestStop) == []


def test_the_database_lets_nobody_stop_the_mail_of_another(dispatched: Personas):
    other = dispatched.lab_manager.membership
    mine = dispatched.technician.membership
    with (
        tenant(dispatched.laboratory.pk, mine.pk),
        pytest.raises(DatabaseError),
        transaction.atomic(),
    ):
        AuditDigestStop.objects.create(
            membership=other, organisation=dispatched.laboratory, stopped_at=DUE
        )
