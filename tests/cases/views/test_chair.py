"""The chair check: any tooth, any typing, nothing stored."""

import re

import pytest
from django.apps import apps
from django.test import Client
from django.urls import reverse

from cases.tenancy import acting
from tests.personas import Personas, client_of

URL = "/chair/"
ROWS = {"buccal_cusps": 0, "lingual_cusps": 1, "central_fossa": 2}


def body(do: str = "check", **changes: str) -> dict[str, str]:
    """A metal-ceramic crown on 36 with a short lingual row; "row__key" changes one."""
    data = {
        "do": do,
        "units-0-tooth": "36",
        "units-0-kind": "crown",
        "units-0-material": "metal_ceramic",
        "units-0-occlusal_surface": "ceramic",
        "units-0-relation": "normal",
        "units-0-antagonist": "natural",
    }
    values = {
        "buccal_cusps": {"passes_mm": "2.0"},
        "lingual_cusps": {"passes_mm": "1.0", "held_mm": "1.5"},
        "central_fossa": {"passes_mm": "1.5"},
    }
    for site, row in ROWS.items():
        prefix = f"units-0-readings-{row}"
        data[f"{prefix}-site"] = site
        data[f"{prefix}-position"] = "maximal_intercuspation"
        data[f"{prefix}-method"] = "strip"
        data |= {f"{prefix}-{key}": value for key, value in values[site].items()}
    for key, value in changes.items():
        site, _sep, name = key.partition("__")
        data[f"units-0-readings-{ROWS[site]}-{name}" if name else f"units-0-{key}"] = (
            value
        )
    return data


@pytest.fixture
def browser(personas: Personas) -> Client:
    return client_of(personas.assistant)


def text_of(response) -> str:
    return response.content.decode()


def errors_of(response, row: int) -> str:
    found = re.search(
        rf'<div class="error" id="units-0-readings-{row}-errors"[^>]*>(.*?)</div>',
        text_of(response),
        re.DOTALL,
    )
    assert found
    return found[1]


def test_chair_opens_without_a_case(browser: Client):
    response = browser.get(URL)
    assert response.status_code == 200
    page = text_of(response)
    assert page.count('type="radio" name="units-0-tooth"') == 32
    assert "Choose the tooth and the material" in page


def test_cautions_stand_where_somebody_holds_the_handpiece(browser: Client):
    page = text_of(browser.get(URL))
    assert "More reduction is not free" in page
    assert "Never grind the opposing tooth to hide a shortage. Only" in page


def test_chair_lists_the_sites_of_a_tooth(browser: Client):
    page = text_of(browser.post(URL, {"do": "refresh", "units-0-tooth": "26"}))
    assert "Palatal cusps" in page
    assert "Lingual cusps" not in page
    upper = text_of(browser.post(URL, {"do": "refresh", "units-0-tooth": "21"}))
    assert "Palatal surface" in upper
    assert upper.count('value="protrusion"') >= 2


def test_chair_judges_and_names_the_short_site(browser: Client):
    response = browser.post(URL, body())
    assert response.status_code == 200
    page = text_of(response)
    assert "short by up to 0.5" in page
    assert "verdict-insufficient" in page
    assert "Re-preparation" in page


def test_chair_stores_nothing(browser: Client, personas: Personas):
    def counts() -> dict[str, int]:
        with acting(personas.assistant.actor):
            return {
                model.__name__: model._base_manager.count()
                for model in apps.get_app_config("cases").get_models()
            }

    before = counts()
    browser.get(URL)
    browser.post(URL, body())
    browser.post(URL, body(do="live"), headers={"HX-Request": "true"})
    assert counts() == before


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("NaN", "is no number here"),
        ("-1", "cannot be negative"),
        ("21", "out of range"),
        ("abc", "is no number here"),
        ("1_5", "is no number here"),
        ("1,500", "could mean two things"),
        ("1.555", "too many decimals"),
        ("1.5 mm", "is no number here"),
    ],
)
def test_chair_refuses_what_is_no_length(browser: Client, typed: str, told: str):
    response = browser.post(URL, body(buccal_cusps__passes_mm=typed))
    assert response.status_code == 422
    assert told in errors_of(response, 0)
    assert f'value="{typed}"' in text_of(response)
    assert 'href="#id_units-0-readings-0-passes_mm"' in text_of(response)
    assert "<title>Error:" in text_of(response)


def test_chair_reads_a_comma_as_a_point(browser: Client):
    response = browser.post(
        URL, body(lingual_cusps__passes_mm="1,5", lingual_cusps__held_mm="")
    )
    assert response.status_code == 200
    assert "short by" not in text_of(response)
    assert "1.5 or more" in text_of(response)


def test_chair_takes_contact_and_says_so(browser: Client):
    response = browser.post(
        URL, body(central_fossa__method="silicone_caliper", central_fossa__value_mm="0")
    )
    assert response.status_code == 200
    assert "0 means contact" in text_of(response)


def test_chair_refuses_strips_out_of_order(browser: Client):
    response = browser.post(
        URL, body(lingual_cusps__passes_mm="1.5", lingual_cusps__held_mm="1.0")
    )
    assert response.status_code == 422
    assert "“is held” 1.0 must be thicker than “slides freely” 1.5" in errors_of(
        response, 1
    )


@pytest.mark.parametrize("tooth", ["19", "55", "0", "#30"])
def test_chair_refuses_what_is_no_tooth(browser: Client, tooth: str):
    response = browser.post(URL, body(tooth=tooth))
    assert response.status_code == 422
    assert 'href="#id_units-0-tooth"' in text_of(response)


def test_chair_refuses_a_site_the_tooth_does_not_have(browser: Client):
    data = body()
    data["units-0-readings-0-site"] = "lingual_surface"
    response = browser.post(URL, data)
    assert response.status_code == 422
    assert "has no lingual surface" in errors_of(response, 0)
    assert 'value="2.0"' in text_of(response)


def test_chair_refuses_a_material_the_rule_set_lacks(browser: Client):
    response = browser.post(URL, body(material="unobtainium"))
    assert response.status_code == 422
    assert 'href="#id_units-0-material"' in text_of(response)
    assert '<option value="unobtainium" selected>' in text_of(response)


def test_chair_asks_for_tooth_and_material_when_asked_to_check(browser: Client):
    response = browser.post(URL, {"do": "check"})
    assert response.status_code == 422
    assert "Choose the tooth." in text_of(response)
    assert "Choose the material." in text_of(response)


def test_chair_escapes_what_was_typed(browser: Client):
    response = browser.post(URL, body(buccal_cusps__passes_mm='"><script>x</script>'))
    assert response.status_code == 422
    assert "<script>x" not in text_of(response)


def test_chair_answers_htmx_with_the_part(browser: Client):
    good = browser.post(URL, body(do="live"), headers={"HX-Request": "true"})
    assert good.status_code == 200
    assert text_of(good).lstrip().startswith('<section class="stack" id="verdict"')
    assert "<html" not in text_of(good)
    bad = browser.post(
        URL,
        body(do="live", buccal_cusps__passes_mm="x"),
        headers={"HX-Request": "true"},
    )
    assert bad.status_code == 422
    assert "is no number here" in errors_of(bad, 0)
    assert "data-errors" not in text_of(bad)


def test_chair_adds_and_removes_a_reading_without_script(browser: Client):
    data = body(do="add-reading-0")
    data |= {
        "units-0-add-site": "functional_cusp_bevel",
        "units-0-add-position": "maximal_intercuspation",
    }
    added = text_of(browser.post(URL, data))
    assert 'name="units-0-readings-3-site" value="functional_cusp_bevel"' in added
    assert 'value="2.0"' in added
    data |= {
        "do": "remove-reading-0-3",
        "units-0-readings-3-site": "functional_cusp_bevel",
        "units-0-readings-3-position": "maximal_intercuspation",
        "units-0-readings-3-method": "strip",
    }
    gone = text_of(browser.post(URL, data))
    assert "units-0-readings-3-site" not in gone


def test_chair_keeps_figures_when_the_tooth_changes(browser: Client):
    page = text_of(browser.post(URL, body(do="refresh", tooth="21")))
    assert 'value="2.0"' in page


def test_chair_takes_a_shared_gap(browser: Client):
    data = body(antagonist="prepared", do="refresh")
    page = text_of(browser.post(URL, data))
    assert "units-0-antagonists-0-tooth" in page
    data |= {
        "do": "check",
        "units-0-antagonists-0-tooth": "26",
        "units-0-antagonists-0-kind": "crown",
        "units-0-antagonists-0-material": "metal_ceramic",
    }
    judged = browser.post(URL, data)
    assert judged.status_code == 200
    assert "3.5" in text_of(judged)


@pytest.mark.parametrize(
    ("name", "status"),
    [("clinician", 200), ("clinic_manager", 403), ("technician", 403)],
)
def test_chair_is_for_the_chair(personas: Personas, name: str, status: int):
    response = client_of(personas.named(name)).get(reverse("chair_check"))
    assert response.status_code == status


def test_chair_shows_the_clinics_own_numbers(personas: Personas):
    with acting(personas.clinician.actor):
        personas.clinic_a.tooth_system = "universal"
        personas.clinic_a.save()
    page = text_of(client_of(personas.clinician).get(URL))
    assert 'aria-label="19, lower left first molar"' in page
