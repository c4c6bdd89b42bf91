"""The outbox: told once in the portal, mailed again only under the same id."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import DatabaseError, connections

from cases import clock, outbox, tasks
from cases.models import Case, IdempotencyKey, Notice, OutboxRow
from cases.tenancy import acting
from tests.play import Play, build_world, unit

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "relay"])


@pytest.fixture
def submitted() -> Play:
    play = Play(build_world())
    play.submit(play.draft(unit()))
    return play


def _notices(play: Play, channel: str) -> list[Notice]:
    with acting(play.world.technician):
        return list(Notice.objects.filter(channel=channel).order_by("recipient_id"))


def _waiting(play: Play) -> OutboxRow:
    with acting(play.world.technician):
        return OutboxRow.objects.get()


def test_the_laboratory_is_told_in_the_portal_and_by_mail(submitted: Play):
    assert tasks.relay_outbox() == 1
    assert [n.kind for n in _notices(submitted, "portal")] == ["case.submitted"] * 2
    assert all(n.sent_at for n in _notices(submitted, "mail"))
    assert len(mail.outbox) == 2
    assert tasks.relay_outbox() == 0
    assert len(mail.outbox) == 2


def test_a_mail_holds_code_and_link_and_no_health_data(submitted: Play):
    with acting(submitted.world.dentist):
        code = Case.objects.get().code
    tasks.relay_outbox()
    for message in mail.outbox:
        text = f"{message.subject}\n{message.body}"
        assert code in text
        for secret in ("P-100", "36", "metal", "Clinic A", "Dentist", "lingual"):
            assert secret not in text.replace(code, "")


def test_a_dead_mail_server_delays_and_doubles_nothing(submitted: Play, monkeypatch):
    def refuse(self, messages):
        raise ConnectionRefusedError

    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", refuse)
        tasks.relay_outbox()
    assert len(_notices(submitted, "portal")) == 2
    row = _waiting(submitted)
    assert (row.done_at, row.attempts, row.last_error) == (
        None,
        1,
        "ConnectionRefusedError",
    )
    assert outbox.claim(at=clock.now()) == []
    later = clock.now() + timedelta(minutes=5)
    (claimed,) = outbox.claim(at=later)
    tasks.handle(*claimed)
    assert len(mail.outbox) == 2
    assert len(_notices(submitted, "portal")) == 2
    assert _waiting(submitted).done_at is not None


def test_a_crash_between_sending_and_marking_repeats_the_message_id(
    submitted: Play, monkeypatch
):
    with monkeypatch.context() as broken:

        def crash(**_ignored):
            raise RuntimeError("killed")

        broken.setattr("cases.notifications.notice_mail_sent", crash)
        tasks.relay_outbox()
    (claimed,) = outbox.claim(at=clock.now() + timedelta(minutes=5))
    tasks.handle(*claimed)
    ids = [m.extra_headers["Message-ID"] for m in mail.outbox]
    assert len(ids) == 3
    assert len(set(ids)) == 2


def test_a_worker_that_died_gives_the_row_back_after_its_lease(submitted: Play):
    at = clock.now()
    (first,) = outbox.claim(at=at)
    assert outbox.claim(at=at) == []
    (again,) = outbox.claim(at=at + outbox.LEASE + timedelta(seconds=1))
    assert again == first


def test_after_eight_tries_a_row_is_dead_and_stays(submitted: Play, monkeypatch):
    def refuse(self, messages):
        raise ConnectionRefusedError

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)
    at = clock.now()
    for day in range(outbox.MAX_ATTEMPTS):
        for claimed in outbox.claim(at=at + timedelta(days=day)):
            tasks.handle(*claimed)
    row = _waiting(submitted)
    assert row.dead_at is not None
    assert outbox.claim(at=at + timedelta(days=99)) == []


def test_the_relay_sees_ids_only_and_nothing_else(submitted: Play):
    with connections["relay"].cursor() as cursor:
        cursor.execute("SELECT count(*) FROM cases_outboxrow")
        assert cursor.fetchone() == (1,)
        with pytest.raises(DatabaseError):
            cursor.execute("SELECT count(*) FROM cases_case")


def test_the_sweep_forgets_kept_answers_after_a_day(submitted: Play):
    who = submitted.world.outsider

    def kept(key: str, age: timedelta) -> None:
        IdempotencyKey.objects.create(
            organisation_id=who.organisation_id,
            user_id=who.user_id,
            route="/x",
            key=key,
            body_sha256="0" * 64,
            body={"patient": "P-1"},
            created_at=clock.now() - age,
        )

    with acting(who):
        kept("old", timedelta(hours=25))
        kept("young", timedelta(hours=23))
    tasks.sweep()
    with acting(who):
        assert [row.key for row in IdempotencyKey.objects.all()] == ["young"]
