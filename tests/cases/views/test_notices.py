"""A person's notices: listed, counted in the header, marked read."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.models import Notice, Recipient
from cases.services.notices import notices_create
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import unit


def tell(desk: Desk, who: str, kind: str, case=None, event: str = "e"):
    person = desk.personas.named(who)
    with acting(person.actor):
        notices_create(
            organisation_id=person.actor.organisation_id,
            people=[
                Recipient(
                    user_id=person.actor.user_id,
                    membership_id=person.actor.membership_id,
                    email=person.user.email,
                    language="en",
                )
            ],
            kind=kind,
            event=f"{event}-{kind}",
            case_id=case.pk if case else None,
            at=desk.play.tick(),
        )


def unread(desk: Desk, who: str) -> int:
    actor = desk.personas.named(who).actor
    with acting(actor):
        return Notice.objects.filter(
            membership_id=actor.membership_id, channel="portal", read_at__isnull=True
        ).count()


def test_they_are_listed_counted_and_lead_to_the_case(desk: Desk):
    case = desk.play.at_check(unit())
    tell(desk, "technician", "answer.signed", case)
    tell(desk, "technician", "partnership_asked")
    page = desk.browser("technician").get("/notices/").content.decode()
    assert "Answer signed" in page
    assert "A partnership was asked for" in page
    assert f'href="/cases/{case.code}/"' in page
    assert '<span class="count">2</span>' in page
    assert "P-100" in page


def test_a_notice_about_rule_sets_leads_to_them(desk: Desk):
    tell(desk, "lab_manager", "rule_set_proposed")
    page = desk.browser("lab_manager").get("/notices/").content.decode()
    assert (
        '<a data-row href="/rule-sets/">A rule set waits for your approval</a>' in page
    )


def test_one_or_all_are_marked_read(desk: Desk):
    for event in ("a", "b", "c"):
        tell(desk, "technician", "message.posted", event=event)
    with acting(desk.personas.technician.actor):
        first = Notice.objects.filter(channel="portal").order_by("id")[0].pk
    browser = desk.browser("technician")
    assert browser.post("/notices/read/", {"notice": first}).status_code == 302
    assert unread(desk, "technician") == 2
    browser.post("/notices/read/", {"notice": "nonsense"})
    assert unread(desk, "technician") == 2
    browser.post("/notices/read/")
    assert unread(desk, "technician") == 0


def test_nobody_marks_anothers(desk: Desk):
    tell(desk, "technician", "message.posted")
    with acting(desk.personas.technician.actor):
        pk = Notice.objects.filter(channel="portal").get().pk
    for who in ("lab_manager", "technician_m", "clinician"):
        desk.browser(who).post("/notices/read/", {"notice": pk})
        assert "Message written" not in (
            desk.browser(who).get("/notices/").content.decode()
        )
    assert unread(desk, "technician") == 1


def test_reading_the_page_changes_nothing(desk: Desk):
    tell(desk, "technician", "message.posted")
    desk.browser("technician").get("/notices/")
    assert unread(desk, "technician") == 1
    assert desk.browser("technician").get("/notices/read/").status_code == 405


def test_the_queries_do_not_grow_with_the_rows(desk: Desk):
    case = desk.play.at_check(unit())
    browser = desk.browser("technician")
    counts = []
    for events in ("a", "bc"):
        for event in events:
            tell(desk, "technician", "message.posted", case, event)
        browser.get("/notices/")
        with CaptureQueriesContext(connection) as captured:
            browser.get("/notices/")
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_an_empty_list_teaches(desk: Desk):
    assert b"No notices yet" in desk.browser("assistant").get("/notices/").content
