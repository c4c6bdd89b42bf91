"""The chair guide: a plan at an address, for clinic and laboratory, without a case."""

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from cases.views.guide import guide_address
from rules.loader import shipped_rule_set
from tests.cases.services.test_full_rules import publish
from tests.cases.views.conftest import Desk
from tests.factories import make_organisation, make_partnership
from tests.personas import Personas, client_of

URL = "/guide/"
MOLAR = f"{URL}?tooth=26&material=metal_ceramic"


@pytest.fixture
def browser(personas: Personas) -> Client:
    return client_of(personas.assistant)


def page_of(browser: Client, url: str, status: int = 200) -> str:
    response = browser.get(url)
    assert response.status_code == status
    return response.content.decode()


def test_the_guide_opens_without_a_case(browser: Client):
    page = page_of(browser, URL)
    assert page.count('type="radio" name="tooth"') == 32
    assert "Choose the tooth and the material." in page
    assert "Never grind the opposing tooth" in page


def test_a_plan_says_what_must_slide_and_where(browser: Client):
    page = page_of(browser, MOLAR)
    assert (
        "At the palatal cusps and functional cusp bevel the 2.0 mm thickness must "
        "slide freely in maximal intercuspation."
    ) in page
    assert "right laterotrusion (non-working side)" in page
    assert "converge by 10 to 20 degrees" in page
    assert "26, upper left first molar" in page
    assert "Crown, metal-ceramic, ceramic occlusal surface" in page


def test_drawing_and_table_say_the_same(browser: Client):
    page = page_of(browser, MOLAR)
    drawing = page[page.index("<svg xmlns") :]
    table = page[page.index('<table class="table table-fold">') :]
    rows = re.findall(r'<th scope="row">(.*?)</th>', table)
    assert rows == [
        "Buccal cusps",
        "Palatal cusps and functional cusp bevel",
        "Central fossa and marginal ridge",
        "Axial walls",
        "Finish line",
    ]
    for least in re.findall(r"<strong>([0-9.]+)</strong>", table):
        assert f">{least}</text>" in drawing


def test_every_figure_has_a_source_and_the_others_theirs(browser: Client):
    page = page_of(browser, MOLAR)
    listed = page[page.index('id="sources-title"') :]
    numbers = set(re.findall(r'href="#source-(\d+)"', page))
    assert numbers == set(re.findall(r'id="source-(\d+)"', listed))
    assert "Goodacre, Campagni, Aquilino" in listed
    assert "common practice, no source" in listed


def test_nothing_of_the_plan_is_coloured(browser: Client):
    page = page_of(browser, MOLAR)
    plan = page[page.index('class="guide-plan"') : page.index("guide-sources")]
    assert "verdict" not in plan
    assert not re.search(r'class="[^"]*\b[vs]-(in)?sufficient', plan)


def test_an_address_stands_for_a_plan(browser: Client):
    address = guide_address(tooth="21", material="lithium_disilicate", kind="")
    page = page_of(browser, address)
    assert "At the palatal surface the 1.0 mm thickness must slide freely" in page
    chair = re.search(r'href="(/chair/\?[^"]+)"', page)
    assert chair
    stated = parse_qs(urlsplit(chair[1].replace("&amp;", "&")).query)
    assert stated["tooth"] == ["21"]
    assert stated["material"] == ["lithium_disilicate"]
    begun = page_of(browser, chair[1].replace("&amp;", "&"))
    assert "21, upper left central incisor" in begun or "upper left central" in begun
    assert "Palatal surface" in begun


def test_the_chair_check_leads_to_the_plan_of_its_tooth(browser: Client):
    page = page_of(browser, "/chair/?tooth=26&material=full_metal")
    link = re.search(r'href="(/guide/\?[^"]+)"', page)
    assert link
    stated = parse_qs(urlsplit(link[1].replace("&amp;", "&")).query)
    assert stated["material"] == ["full_metal"]
    plan = page_of(browser, link[1].replace("&amp;", "&"))
    assert "Try before the impression" in plan


def test_htmx_gets_the_part_alone(browser: Client):
    part = browser.get(MOLAR, headers={"HX-Request": "true"}).content.decode()
    assert part.lstrip().startswith('<div class="guide" id="guide">')
    assert "<html" not in part


def test_both_prepared_asks_for_the_other_tooth_and_sums(browser: Client):
    half = page_of(
        browser, f"{URL}?tooth=36&material=metal_ceramic&antagonist=prepared"
    )
    assert "state what is made for the opposing tooth" in half
    choices = half[half.index('id="id_facing-tooth"') :]
    choices = choices[: choices.index("</select>")]
    assert 'value="26"' in choices
    assert 'value="46"' not in choices
    whole = page_of(
        browser,
        f"{URL}?tooth=36&material=metal_ceramic&antagonist=prepared"
        "&facing-tooth=26&facing-material=metal_ceramic",
    )
    # Design section 5: the sum of both needs, never typed as such.
    assert "let 3.5 mm pass" in whole


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("tooth=99&material=full_metal", "is no tooth"),
        ("tooth=36&material=wood", "has no material"),
        ("tooth=21&material=full_metal&kind=inlay", "does not fit tooth"),
        ("tooth=36&material=full_metal&relation=sideways", "Choose how the teeth"),
        (
            "tooth=36&material=full_metal&antagonist=prepared&facing-tooth=46"
            "&facing-material=full_metal",
            "does not face tooth",
        ),
    ],
)
def test_what_cannot_be_planned_is_said_at_its_field(
    browser: Client, query: str, said: str
):
    page = page_of(browser, f"{URL}?{query}", 422)
    assert said in page
    assert "<title>Error:" in page
    assert 'class="guide-plan"' not in page


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("tooth=%00&material=%F0", 400),
        ("tooth=%F0&material=%E2%80%AE", 422),
        ("tooth=36&material=" + "x" * 999, 422),
        ("tooth=36&tooth=26&material=full_metal", 200),
    ],
)
def test_odd_addresses_are_refused_quietly(browser: Client, query: str, status: int):
    page_of(browser, f"{URL}?{query}", status)


def test_the_needs_are_the_laboratorys_own(desk: Desk):
    needs = [
        {**line, "min_mm": "1.1", "target_mm": "1.1"}
        if (line["material"], line["site"]) == ("full_metal", "functional_cusp")
        else line
        for line in shipped_rule_set().dump()["needs"]  # type: ignore[attr-defined]  # -- JSON values
    ]
    publish(
        desk.play, name="Own needs", effective_from=desk.play.at.date(), needs=needs
    )
    url = f"{URL}?tooth=36&material=full_metal"
    for name in ("clinician", "technician"):
        page = page_of(desk.browser(name), url)
        assert "Own needs 2" in page
        assert "At the buccal cusps and functional cusp bevel the 1.1 mm" in page
    assert "bevel the 1.5 mm thickness" in page_of(desk.browser("technician_m"), url)


def test_another_clinics_laboratory_is_none(browser: Client, personas: Personas):
    code = personas.laboratory_m.code
    page = page_of(browser, f"{MOLAR}&laboratory={code}", 422)
    assert "Choose your own laboratory or one you work with." in page


def asked(browser: Client, url: str) -> int:
    browser.get(url)
    with CaptureQueriesContext(connection) as queries:
        browser.get(url)
    return len(queries)


def test_a_plan_asks_the_database_as_often_as_the_empty_page(desk: Desk):
    for name in ("clinician", "technician"):
        browser = desk.browser(name)
        assert asked(browser, MOLAR) == asked(browser, URL)
    browser = desk.browser("clinician")
    before = asked(browser, f"{MOLAR}&laboratory={desk.personas.laboratory.code}")
    for letter in "NO":
        other = make_organisation("laboratory", f"Laboratory {letter}")
        make_partnership(desk.personas.clinic_a, other)
    after = asked(browser, f"{MOLAR}&laboratory={desk.personas.laboratory.code}")
    assert after == before
