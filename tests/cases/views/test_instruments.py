"""The pages of instruments: what is typed stays, what is not ours does not exist."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from cases.models import Instrument
from cases.tenancy import acting
from tests.cases.services.test_instruments import caliper, retire, save, used
from tests.personas import Personas, client_of

STRIPS = {
    "kind": "strips",
    "label": "Strips, room 2",
    "strips-0-nominal_mm": "1,0",
    "strips-0-measured_mm": "1.02",
    "strips-3-nominal_mm": "1.5",
}


@pytest.fixture
def browser(personas: Personas) -> Client:
    return client_of(personas.assistant)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def rows(personas: Personas) -> list[Instrument]:
    with acting(personas.assistant.actor):
        return list(Instrument.objects.order_by("pk").prefetch_related("strips"))


def test_an_empty_list_says_what_it_is_for(browser: Client):
    assert "No instrument yet" in text(browser.get("/instruments/"))
    assert "Nothing was retired yet" in text(browser.get("/instruments/?retired=1"))


def test_both_sides_find_the_page(personas: Personas):
    for name in ("clinic_manager", "technician"):
        page = text(client_of(personas.named(name)).get("/people/"))
        assert 'href="/instruments/"' in page


def test_a_strip_set_is_entered_with_gaps_and_a_comma(
    personas: Personas, browser: Client
):
    empty = text(browser.get("/instruments/new/?kind=strips"))
    assert empty.count("-nominal_mm") >= 4
    assert 'type="number"' not in empty

    response = browser.post("/instruments/new/", STRIPS)

    assert response.headers["Location"] == "/instruments/"
    (made,) = rows(personas)
    assert [str(s.nominal_mm) for s in made.strips.all()] == ["1.0000", "1.5000"]
    shown = text(browser.get("/instruments/"))
    assert "Strips, room 2" in shown
    assert "measured 1.02" in shown
    assert "not measured" in shown


def test_no_strip_has_a_colour(browser: Client):
    browser.post("/instruments/new/", STRIPS)

    for path in ("/instruments/", "/instruments/new/"):
        page = text(browser.get(path)).lower()
        assert "colour" not in page
        assert "color=" not in page
        assert "style=" not in page


def test_wrong_input_is_said_at_its_field_and_kept(personas: Personas, browser: Client):
    wrong = {**STRIPS, "strips-3-measured_mm": "2.5", "most_uses": "<i>", "label": ""}

    response = browser.post("/instruments/new/", wrong)

    assert response.status_code == 422
    page = text(response)
    assert "<title>Error:" in page
    assert 'href="#id_strips-3-measured_mm"' in page
    assert 'href="#id_most_uses"' in page
    assert 'href="#id_label"' in page
    assert 'value="2.5"' in page
    assert 'value="&lt;i&gt;"' in page
    assert "too far from 1.5 mm" in page
    assert rows(personas) == []


def test_more_rows_come_without_judging_what_is_typed(
    personas: Personas, browser: Client
):
    response = browser.post("/instruments/new/", {**STRIPS, "look": "more"})

    page = text(response)
    assert response.status_code == 200
    assert 'name="strips-6-nominal_mm"' in page
    assert 'value="1,0"' in page
    assert 'value="Strips, room 2"' in page
    assert "field-bad" not in page
    assert rows(personas) == []


def test_a_hostile_body_is_no_error(browser: Client):
    body = {
        "kind": "<script>",
        "label": "x" * 5000,
        "strips-99999999-nominal_mm": "1",
        "strips--1-nominal_mm": "1",
        **{f"strips-{n}-nominal_mm": "x" for n in range(300)},
    }
    response = browser.post("/instruments/new/", body)
    assert response.status_code == 422
    assert "<script>" not in text(response).split("</head>")[1].split("</main>")[0]


def test_a_caliper_is_changed_and_keeps_its_kind(personas: Personas, browser: Client):
    made = caliper(personas.assistant.actor, resolution_mm="0.1", u_mm="0.025")
    page = text(browser.get(f"/instruments/{made.code}/"))
    assert 'value="0.025"' in page
    assert "strips-0" not in page

    response = browser.post(
        f"/instruments/{made.code}/",
        {"label": "Caliper 3", "resolution_mm": "0,05", "kind": "strips", "uses": "7"},
    )

    assert response.status_code == 302
    (now,) = rows(personas)
    assert (now.kind, str(now.resolution_mm), now.u_mm, now.uses) == (
        "caliper",
        "0.0500",
        None,
        7,
    )


def test_a_strip_set_is_taken_up_for_change(personas: Personas, browser: Client):
    made = save(personas.assistant.actor)
    page = text(browser.get(f"/instruments/{made.code}/"))

    for value in ('value="1.0"', 'value="1.02"', 'value="2.0"', 'value="1.96"'):
        assert value in page
    assert 'name="strips-3-nominal_mm"' in page


def test_uses_are_counted_once_for_a_page(personas: Personas, browser: Client):
    made = save(personas.assistant.actor, most_uses="2")
    path = f"/instruments/{made.code}/use/"

    browser.post(path, {"seen": "0"})
    twice = text(browser.post(path, {"seen": "0"}, follow=True))
    assert "was counted meanwhile: it stands at 1" in twice
    assert "to be retired after" not in twice
    reached = text(browser.post(path, {"seen": "1"}, follow=True))

    assert "Counted: Strips, room 2 was used 2 times." in reached
    assert "to be retired after 2" in reached
    assert f'href="/instruments/{made.code}/retire/"' in reached


def test_one_is_retired_with_a_reason(personas: Personas, browser: Client):
    made = save(personas.assistant.actor)
    path = f"/instruments/{made.code}/retire/"
    assert "cannot be undone" in text(browser.get(path))
    refused = browser.post(path, {"reason": " "})
    assert refused.status_code == 422
    assert "Write why it is taken out of use" in text(refused)
    assert rows(personas)[0].retired_at is None

    assert browser.post(path, {"reason": "Bent."}).status_code == 302

    assert "Strips, room 2" not in text(browser.get("/instruments/")).split("</h1>")[1]
    assert "Bent." in text(browser.get("/instruments/?retired=1"))
    for gone in (path, f"/instruments/{made.code}/"):
        assert browser.get(gone).status_code == 409
    assert browser.post(f"/instruments/{made.code}/", STRIPS).status_code == 409


def test_markup_in_a_name_stays_text(personas: Personas, browser: Client):
    save(personas.assistant.actor, label="<b>x</b>")

    assert "<b>x" not in text(browser.get("/instruments/"))


def test_another_organisations_names_do_not_show(personas: Personas):
    save(personas.assistant.actor)

    for name in ("clinician_b", "technician"):
        page = text(client_of(personas.named(name)).get("/instruments/"))
        assert "room 2" not in page


def test_long_lists_have_pages(personas: Personas, browser: Client):
    for number in range(31):
        save(personas.assistant.actor, label=f"Set {number:02}")
    first = text(browser.get("/instruments/"))
    assert 'href="?page=2"' in first
    assert "Set 30" not in first
    second = text(browser.get("/instruments/?page=2"))
    assert "Set 30" in second
    assert 'href="/instruments/"' in second
    for odd in ("0", "-1", "x", "99999", "²"):
        assert browser.get("/instruments/", {"page": odd}).status_code == 200


@pytest.mark.parametrize("path", ["/instruments/", "/instruments/?retired=1"])
def test_a_longer_list_costs_no_more_queries(
    personas: Personas, browser: Client, path: str, django_assert_num_queries
):
    actor = personas.assistant.actor

    def fill(*labels: str) -> None:
        for label in labels:
            made = save(actor, label=label)
            used(actor, made.code)
            retire(actor, save(actor, label=f"{label} gone").code)

    fill("One")
    browser.get(path)
    with CaptureQueriesContext(connection) as before:
        browser.get(path)
    fill("Two", "Three")
    with django_assert_num_queries(len(before)):
        browser.get(path)
