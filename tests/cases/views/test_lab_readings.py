"""The laboratory's own readings: rows that say something, faults in their row."""

import pytest

from cases.models import Reading
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import unit


def url_of(case) -> str:
    return f"/cases/{case.code}/readings/"


def row(number: int, **values: str) -> dict[str, str]:
    body = {
        "tooth": "36",
        "site": "lingual_cusps",
        "position": "maximal_intercuspation",
        "method": "cast_caliper",
        "mounting_number": "1",
        **values,
    }
    return {f"readings-{number}-{name}": value for name, value in body.items()}


def send(desk: Desk, case, *rows: dict[str, str], **more: str):
    data = {"version": str(case.version), **more}
    for body in rows:
        data |= body
    return desk.browser("technician").post(url_of(case), data)


def stored(desk: Desk, case) -> list[Reading]:
    with acting(desk.personas.technician.actor):
        return list(Reading.objects.filter(case=case, side="laboratory").order_by("id"))


def test_the_page_offers_every_site_that_must_be_read(desk: Desk):
    case = desk.play.at_check(unit())
    page = desk.browser("technician").get(url_of(case)).content.decode()
    for site in ("buccal_cusps", "lingual_cusps", "central_fossa"):
        assert f'value="{site}"' in page
    assert 'inputmode="decimal"' in page
    assert 'type="number"' not in page


def test_blank_rows_are_left_out_and_the_check_runs_again(desk: Desk):
    case = desk.play.at_check(unit())
    response = send(
        desk,
        case,
        row(0, site="buccal_cusps"),
        row(3, value_mm="1,5", note="Second mounting", mounting_number="2"),
    )
    assert response.status_code == 302
    (reading,) = stored(desk, case)
    assert (reading.site, str(reading.value_mm)) == ("lingual_cusps", "1.50")
    assert (reading.basis, reading.mounting_number) == ("model", 2)
    assert desk.fresh(case).version == case.version + 1


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"value_mm": "NaN"}, "is no number here"),
        ({"value_mm": "-1"}, "cannot be negative"),
        ({"value_mm": "20.01"}, "out of range"),
        ({"value_mm": "1_5"}, "is no number here"),
        ({"value_mm": "1.5 mm"}, "is no number here"),
        (
            {"method": "strip", "passes_mm": "1.5", "held_mm": "1.0"},
            "Strips out of order",
        ),
        ({"value_mm": "1", "site": "incisal_edge"}, "has no"),
        ({"value_mm": "1", "tooth": "19"}, "Choose a tooth of this prescription"),
        ({"value_mm": "1", "mounting_number": "1x"}, "whole number"),
    ],
)
def test_a_fault_stands_in_its_row_and_nothing_is_stored(
    desk: Desk, values: dict, said: str
):
    case = desk.play.at_check(unit())
    response = send(desk, case, row(0, site="buccal_cusps"), row(4, **values))
    page = response.content.decode()
    assert response.status_code == 422
    assert said in page
    assert 'href="#readings-4"' in page
    for text in values.values():
        assert f'value="{text}"' in page or f">{text}<" in page
    assert stored(desk, case) == []
    assert desk.fresh(case).version == case.version


def test_nothing_filled_in_is_said(desk: Desk):
    case = desk.play.at_check(unit())
    response = send(desk, case, row(0))
    assert response.status_code == 422
    assert "Enter at least one reading" in response.content.decode()


def test_contact_is_a_reading(desk: Desk):
    case = desk.play.at_check(unit())
    assert send(desk, case, row(0, value_mm="0")).status_code == 302
    assert str(stored(desk, case)[0].value_mm) == "0.00"


def test_more_rows_keep_what_was_typed_and_the_old_version(desk: Desk):
    case = desk.play.at_check(unit())
    desk.browser("lab_manager").post(
        f"/cases/{case.code}/recheck/", {"version": case.version}
    )
    response = send(desk, case, row(0, value_mm="1.2"), look="more")
    page = response.content.decode()
    assert response.status_code == 200
    assert 'value="1.2"' in page
    assert 'name="readings-1-value_mm"' in page
    assert f'name="version" value="{case.version}"' in page


def test_who_comes_late_keeps_the_rows(desk: Desk):
    case = desk.play.at_check(unit())
    desk.browser("lab_manager").post(
        f"/cases/{case.code}/recheck/", {"version": case.version}
    )
    response = send(desk, case, row(0, value_mm="1.2"))
    assert response.status_code == 412
    assert 'value="1.2"' in response.content.decode()
    assert stored(desk, case) == []


def test_who_may(desk: Desk):
    case = desk.play.at_check(unit())
    for who, status in (
        ("technician_m", 404),
        ("clinician_b", 404),
        ("clinician", 403),
        ("lab_manager", 200),
    ):
        assert desk.browser(who).get(url_of(case)).status_code == status
    desk.play.flag(case)
    assert desk.browser("technician").get(url_of(case)).status_code == 409
