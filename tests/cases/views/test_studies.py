"""The pages of repeatability studies: pasted values, what follows, withdrawing."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from cases.models import RepeatabilityStudy
from cases.tenancy import acting
from tests.cases.services.test_instruments import caliper, save
from tests.cases.services.test_instruments_studies import record
from tests.personas import Personas, client_of

PASTED = "1.50 1,52;1.49\n1.51\r\n1.50\t1.53 ; 1.48\n\n1.50 1.51 1.5"
STUDY = {
    "method": "silicone_caliper",
    "object_note": "Gauge block 1.50",
    "reference_mm": "1,5",
    "values": PASTED,
}


@pytest.fixture
def browser(personas: Personas) -> Client:
    return client_of(personas.assistant)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def count(personas: Personas) -> int:
    with acting(personas.assistant.actor):
        return RepeatabilityStudy.objects.count()


def test_the_list_shows_the_rule_sets_defaults_first(browser: Client):
    page = text(browser.get("/studies/"))

    assert "No study yet" in page
    # The shipped set's u of wax and of silicone.
    assert '<span class="num">0.18</span>' in page
    assert '<span class="num">0.12</span>' in page
    assert page.count("no study") == 7


def test_pasted_values_are_read_and_their_figures_shown(
    personas: Personas, browser: Client
):
    response = browser.post("/studies/new/", STUDY, follow=True)

    page = text(response)
    assert response.redirect_chain[0][1] == 302
    assert page.count('<li class="num">') == 10
    assert "1.504 mm" in page
    assert "0.0143 mm" in page
    # 0.014298 * sqrt(9 / 3.3251): the upper limit by the chi-square table.
    assert "at most 0.0235 mm with 95 % confidence" in page
    assert 'u <span class="num">0.0149</span> mm' in page
    assert "In force" in page
    listed = text(browser.get("/studies/"))
    assert "with any instrument" in listed
    assert listed.count("no study") == 6


def test_too_few_values_are_refused_and_kept(personas: Personas, browser: Client):
    response = browser.post("/studies/new/", {**STUDY, "values": "1.5 1.6"})

    page = text(response)
    assert response.status_code == 422
    assert "Enter at least 10 values; there are 2" in page
    assert "1.5 1.6</textarea>" in page
    assert '<option value="silicone_caliper" selected>' in page
    assert "Gauge block 1.50" in page
    assert count(personas) == 0


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"values": PASTED + " 1_5 1,500"}, "Value 11: “1_5” is no number here"),
        ({"values": PASTED + " 1_5 1,500"}, "Value 12: “1,500” could mean two"),
        ({"values": "<b> " * 12}, "“&lt;b&gt;” is no number here"),
        ({"values": "1 " * 61}, "at most 60 values; there are 61"),
        ({"values": "1.5 " * 10}, "state the resolution"),
        ({"values": "1" * 5000}, "at most 4000 characters"),
        ({"method": ""}, "Choose the method"),
        ({"method": "strip"}, "Select a valid choice"),
        ({"object_note": ""}, "Say what was measured"),
        ({"instrument": "nonsense"}, "Select a valid choice"),
        ({"reference_mm": "x"}, "“x” is no number here"),
    ],
)
def test_wrong_input_is_said(
    personas: Personas, browser: Client, changes: dict[str, Any], told: str
):
    response = browser.post("/studies/new/", {**STUDY, **changes})

    assert response.status_code == 422
    assert told in text(response)
    assert count(personas) == 0


def test_only_own_point_instruments_are_offered(personas: Personas, browser: Client):
    save(personas.assistant.actor)
    caliper(personas.assistant.actor)
    caliper(personas.clinician_b.actor, label="Foreign")

    page = text(browser.get("/studies/new/"))

    assert "Caliper 3" in page
    assert "Strips, room 2" not in page
    assert "Foreign" not in page


def test_a_study_is_withdrawn_and_stays_visible(personas: Personas, browser: Client):
    made = record(personas.assistant.actor)

    assert browser.post(f"/studies/{made.code}/withdraw/").status_code == 302
    assert browser.post(f"/studies/{made.code}/withdraw/").status_code == 409

    assert "it no longer counts" in text(browser.get(f"/studies/{made.code}/"))
    listed = text(browser.get("/studies/"))
    assert "withdrawn" in listed
    assert listed.count("no study") == 7


def test_an_older_study_says_that_a_later_one_counts(
    personas: Personas, browser: Client
):
    first = record(personas.assistant.actor)
    record(personas.assistant.actor, reference_mm="", values=["1.4", "1.6"] * 6)

    assert "A later study counts" in text(browser.get(f"/studies/{first.code}/"))


def test_a_longer_list_costs_no_more_queries(
    personas: Personas, browser: Client, django_assert_num_queries
):
    actor = personas.assistant.actor
    record(actor, instrument=caliper(actor).code)
    browser.get("/studies/")
    with CaptureQueriesContext(connection) as before:
        browser.get("/studies/")
    for number in range(3):
        other = caliper(actor, label=f"Caliper {number}")
        record(actor, instrument=other.code)
    with django_assert_num_queries(len(before)):
        browser.get("/studies/")
