"""The invented scenario: complete, made once, with secrets of this machine only."""

import json
import re
import statistics
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client

from cases import clock, outbox
from cases.canonical import secret_hash
from cases.lifecycle import CaseState, whose_move
from cases.management.demo.cast import CAST, COMPANIES
from cases.management.demo.days import Days
from cases.management.demo.history import MONTHS, REFERENCE, load_history
from cases.management.demo.load import load_scenario, write_credentials
from cases.management.volume.verify import sample_faults
from cases.models import (
    Answer,
    Attachment,
    AuditFact,
    Case,
    Flag,
    Instrument,
    Message,
    Notice,
    Organisation,
    RepeatabilityStudy,
    RuleSetDraft,
    RuleSetImpact,
    RuleSetPublication,
    User,
    WorkOrder,
)
from cases.selectors.cases import CaseFilters, case_page
from cases.selectors.identity import actors_of, by_token
from cases.tenancy import acting, operator
from rules.difference import differences
from rules.loader import ruleset_by_digest, shipped_rule_set
from rules.parse import parse_rule_set
from tests.database import superuser

ROOT = Path(__file__).resolve().parent.parent.parent
TECHNICIAN = "orrix@wobblebench.example"
CLINICIANS = (
    "velka@quillfern.example",
    "ildo@mossgallop.example",
    "tarka@tanglewhisk.example",
)


class Started:
    """What one start of the demo made and wrote."""

    def __init__(self, folder: Path):
        self.people_file = folder / "people.json"
        self.file = folder / "credentials.json"
        self.first = False

    def start(self) -> dict[str, dict]:
        """Load or find; return the people of the credentials by address."""
        now = clock.now()
        players, self.first = load_scenario(self.people_file, now=now)
        write_credentials(
            self.file, base_url="http://localhost:8123", players=players, at=now
        )
        return self.people()

    def people(self) -> dict[str, dict]:
        written = json.loads(self.file.read_text())
        return {person["email"]: person for person in written["people"]}


def actor_for(email: str):
    return actors_of(User.objects.get(email=email))[0]


def all_cases() -> list[Case]:
    """Every case, as the clinic it belongs to sees it."""
    found = []
    for email in CLINICIANS:
        with acting(actor_for(email)):
            found += list(Case.objects.select_related("remake_of"))
    return found


@pytest.fixture
def demo(db, tmp_path, settings) -> Started:
    settings.DEMO_PEOPLE_FILE = str(tmp_path / "people.json")
    return Started(tmp_path)


def test_the_scenario_covers_every_state_and_its_conversations(demo):
    demo.start()
    cases = all_cases()
    assert demo.first
    assert {case.state for case in cases} == set(CaseState)
    assert 12 <= len(cases) <= 20
    at_check = {c.verdict for c in cases if c.state == CaseState.AT_CHECK}
    assert at_check == {"insufficient", "undecided"}
    with acting(actor_for(TECHNICIAN)):
        held = Flag.objects.filter(case__state=CaseState.ON_HOLD)
        assert set(held.values_list("status", flat=True)) == {"open", "countersign_due"}
        kinds = set(Answer.objects.values_list("kind", flat=True))
        assert kinds == {"re_preparation", "change_material", "accept_risk", "refer"}
        told = Message.objects.filter(internal=False).values_list("side", flat=True)
        assert set(told) == {"clinic", "laboratory"}
        assert Message.objects.filter(internal=True).exists()
        assert Attachment.objects.get().kind == "photo"
        numbers = WorkOrder.objects.order_by("number").values_list("number", flat=True)
        assert list(numbers) == [1, 2, 3, 4, 5]


def test_the_laboratory_works_by_its_own_set_and_a_stricter_one_waits(demo):
    demo.start()
    with acting(actor_for("brum@wobblebench.example")):
        published = RuleSetPublication.objects.get()
        waiting = RuleSetDraft.objects.get(status="proposed")
        impact = RuleSetImpact.objects.get(draft=waiting)
        judged = set(Case.objects.values_list("rule_set_digest", flat=True))
        changed = [
            line.text()
            for line in differences(
                ruleset_by_digest(published.digest), parse_rule_set(waiting.document)
            )
        ]
    assert published.edited_by_name != published.approved_by_name
    # Cases from before its day keep the shipped set.
    assert judged == {published.digest, shipped_rule_set().digest}
    assert any("1.8" in line for line in changed)
    assert impact.total >= 10
    with acting(actor_for("pim@quillfern.example")):
        assert Instrument.objects.count() == 2
        study = RepeatabilityStudy.objects.get()
    # Sample standard deviation by the standard library; it rounds up.
    values = [Decimal(value) for value in study.values]
    assert study.repeatability_mm >= Decimal(str(round(statistics.stdev(values), 4)))


def test_its_remake_is_linked_and_its_dates_lie_where_they_must(demo):
    demo.start()
    now = clock.now()
    cases = all_cases()
    remade = [case for case in cases if case.remake_of]
    assert [case.state for case in remade] == [CaseState.DRAFT]
    assert [case.remake_of.state for case in remade if case.remake_of] == [
        CaseState.NOT_FITTED
    ]
    for case in cases:
        assert now - timedelta(days=100) < case.created_at < now
        assert case.created_at <= case.moved_at < now
        ended = case.state in ("fitted", "not_fitted", "cancelled", "deferred")
        if case.wanted_on and not ended:
            assert case.wanted_on > now.date()
        if case.state == CaseState.DEFERRED:
            assert case.review_on is not None
            assert case.review_on > now.date()


def test_a_second_start_finds_it_and_only_reissues_the_tokens(demo):
    before = demo.start()
    codes = {case.code for case in all_cases()}

    after = demo.start()

    assert not demo.first
    assert {case.code for case in all_cases()} == codes
    at = clock.now()
    for email, person in after.items():
        old = before[email].pop("token")
        new = person.pop("token")
        assert person == before[email]
        assert by_token(token_hash=secret_hash(old), at=at) is None
        holder = by_token(token_hash=secret_hash(new), at=at)
        assert holder is not None
        assert (holder.user.email, holder.actor.role) == (email, person["role"])


def test_with_the_people_file_gone_a_start_sets_passwords_that_work(demo):
    before = demo.start()
    demo.people_file.unlink()

    after = demo.start()

    for email, person in after.items():
        assert person["password"] != before[email]["password"]
        assert User.objects.get(email=email).check_password(person["password"])
        assert bool(person["totp_secret"]) == bool(before[email]["totp_secret"])


def test_credentials_have_the_agreed_shape_and_only_the_owner_reads_them(demo):
    people = list(demo.start().values())

    assert json.loads(demo.file.read_text())["base_url"] == "http://localhost:8123"
    keys = {"role", "organisation", "name", "email", "password", "totp_secret", "token"}
    assert all(set(person) == keys for person in people)
    assert {person["role"] for person in people} == {
        "clinician",
        "assistant",
        "clinic_manager",
        "technician",
        "lab_manager",
    }
    assert sum(person["totp_secret"] is not None for person in people) == 1
    assert len({person["password"] for person in people}) == len(people)
    for file in (demo.people_file, demo.file):
        assert file.stat().st_mode & 0o777 == 0o600
    assert "token" not in demo.people_file.read_text()


def test_everybody_signs_in_with_what_the_first_page_shows(demo, settings):
    settings.REQUIRE_SECOND_FACTOR = False
    people = demo.start().values()
    page = Client().get("/account/login/").content.decode()
    assert "This is an invented scenario" in page
    for person in people:
        assert person["email"] in page
        assert person["password"] in page
        client = Client()
        answer = client.post(
            "/account/login/",
            {"login": person["email"], "password": person["password"]},
        )
        assert answer.status_code == 302
        asked = "second-factor" in answer["Location"]
        assert asked == (person["totp_secret"] is not None)


def test_the_sign_in_page_of_a_real_installation_shows_nobody(demo, settings):
    shown = demo.start()
    settings.DEMO_PEOPLE_FILE = ""
    page = Client().get("/account/login/").content.decode()
    assert "nvented" not in page
    assert not any(email in page for email in shown)


def test_everything_says_that_it_is_invented(demo):
    demo.start()
    with operator():
        names = list(Organisation.objects.values_list("name", flat=True))
    assert sorted(names) == sorted(company.name for company in COMPANIES)
    assert all("(invented)" in name for name in names)
    # RFC 2606, section 2: nobody can ever own an address under .example.
    assert all(company.domain.endswith(".example") for company in COMPANIES)
    clinicians = [part for part in CAST if part.role == "clinician"]
    assert all(part.licence_number.startswith("INVENTED") for part in clinicians)


def test_no_password_stands_in_the_sources():
    literal = re.compile(
        r"""(?:password|secret|token)["']?\s*[:=]\s*f?["'][^"'{]{8,}"""
    )
    sources = [
        path
        for folder in ("cases/management", "portal/management", "portal/walkthrough")
        for path in (ROOT / folder).rglob("*.py")
    ]
    assert len(sources) > 15
    assert [p.name for p in sources if literal.search(p.read_text())] == []


@pytest.mark.parametrize(
    "today", [datetime(2026, 5, 4 + d, 7, 0, tzinfo=UTC) for d in range(7)]
)
def test_working_days_skip_weekends_and_stay_in_order(today):
    days = Days(today)
    counted = [days.date(ago) for ago in range(12, -13, -1) if ago]
    assert all(day.weekday() < 5 for day in counted)
    assert counted == sorted(set(counted))
    assert days.at(1, "17:59") < today


@pytest.mark.django_db
def test_a_real_installation_is_refused(settings):
    settings.DEMO_PEOPLE_FILE = ""
    with pytest.raises(CommandError, match="this is not a demo"):
        call_command("load_demo")
    assert not User.objects.exists()


@pytest.mark.django_db(transaction=True, databases=["default", "relay", "owner"])
def test_the_command_leaves_documents_made_and_old_notices_read(
    tmp_path, settings, mailoutbox
):
    settings.DEMO_PEOPLE_FILE = str(tmp_path / "people.json")
    call_command("load_demo", "--credentials", str(tmp_path / "credentials.json"))

    assert {path.name for path in tmp_path.iterdir()} == {
        "people.json",
        "credentials.json",
    }
    technician = actor_for(TECHNICIAN)
    with acting(technician):
        scenes = WorkOrder.objects.exclude(
            case__patient__reference__startswith=f"{REFERENCE}-"
        )
        assert scenes.count() == 5
        assert not scenes.filter(pdf_sha256="").exists()
        assert not Notice.objects.filter(channel="mail", sent_at__isnull=True).exists()
        mine = Notice.objects.filter(
            channel="portal", membership_id=technician.membership_id
        )
        assert 0 < mine.filter(read_at__isnull=True).count() < mine.count() / 2
    assert len(mailoutbox) > 50


@pytest.fixture
def quiet(monkeypatch) -> None:
    """No worker is woken after a commit."""
    monkeypatch.setattr(outbox, "_nudge", [])


def _with_history(folder, now):
    return load_scenario(
        folder / "people.json", now=now, before=partial(load_history, now=now)
    )


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_behind_the_scenes_lies_a_history_of_ended_cases(tmp_path, settings, quiet):
    settings.REQUIRE_SECOND_FACTOR = False
    now = clock.now()
    players, _first = _with_history(tmp_path, now)

    manager = players["brum"].actor
    with acting(manager):
        told = Case.objects.filter(patient__reference__startswith=f"{REFERENCE}-")
        assert set(told.values_list("state", flat=True)) == {"fitted", "not_fitted"}
        assert told.count() > 550
        assert all(case.moved_at < now for case in told)
        # The scenes' orders follow on.
        orders = WorkOrder.objects.order_by("number").values_list("number", flat=True)
        assert list(orders) == list(range(1, told.count() + 6))
        months = AuditFact.objects.values_list("month", flat=True).distinct()
        assert MONTHS <= months.count() <= MONTHS + 1
        assert AuditFact.objects.values("clinic").distinct().count() == 3
        open_states = tuple(s.value for s in CaseState if whose_move(s) != "nobody")
        page = case_page(actor=manager, filters=CaseFilters(states=open_states))
        assert page.rows
        assert not [r for r in page.rows if r.patient.startswith(REFERENCE)]
    with superuser() as connection:
        numbers = [pk for (pk,) in connection.execute("SELECT id FROM cases_case")]
        assert sample_faults(connection, numbers) == []
    for key in ("brum", "jorv", "velka"):
        client = Client()
        client.force_login(User.objects.get(pk=players[key].actor.user_id))
        assert client.get("/audit/").status_code == 200


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_start_that_was_cut_off_is_taken_up(tmp_path, quiet):
    now = clock.now()
    with pytest.raises(KeyboardInterrupt):
        load_scenario(tmp_path / "people.json", now=now, before=_cut_off)
    assert User.objects.count() == len(CAST)

    players, first = _with_history(tmp_path, now)
    again, second = _with_history(tmp_path, now)

    assert (first, second) == (True, False)
    assert again["brum"] == players["brum"]
    with acting(players["brum"].actor):
        assert Case.objects.filter(state="fitted").count() > 400


def _cut_off(_players):
    raise KeyboardInterrupt
