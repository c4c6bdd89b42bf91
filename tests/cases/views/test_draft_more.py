"""What else a draft says of a preparation, an implant crown, a bridge."""

from typing import Any

import pytest

from cases.models import Case, Prescription, SiteVerdict, Unit
from cases.tenancy import acting
from tests.cases.views import test_drafts as drafts
from tests.cases.views.conftest import Desk
from tests.play import unit


def text(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def case(desk: Desk) -> Case:
    return desk.play.draft(unit())


def send(desk: Desk, case: Case, **changes: str):
    data = drafts.typed(case, desk.personas, **changes)
    return desk.browser("assistant").post(f"/cases/{case.code}/edit/", data)


def units(desk: Desk, case: Case) -> list[Unit]:
    with acting(desk.personas.assistant.actor):
        return list(Unit.objects.filter(case=case).order_by("position"))


def page_of(desk: Desk, case: Case) -> str:
    return text(desk.browser("assistant").get(f"/cases/{case.code}/edit/"))


def test_convergence_and_dentine_are_kept(desk: Desk, case: Case):
    sent = send(
        desk, case, units__0__convergence_deg="12,5", units__0__dentine_mm="1.1"
    )

    assert sent.status_code == 302
    (made,) = units(desk, case)
    assert (str(made.convergence_deg), str(made.dentine_mm)) == ("12.50", "1.10")
    page = page_of(desk, case)
    assert 'name="units-0-convergence_deg" value="12.5"' in page
    assert 'id="units-0-preparation"' in page
    assert '<details class="disclose" open id="units-0-preparation">' in page
    signed = text(desk.browser("clinician").get(f"/cases/{case.code}/submit/"))
    assert "convergence 12.5°" in signed
    assert "dentine left 1.1 mm" in signed


@pytest.mark.parametrize(
    ("field", "typed"),
    [("convergence_deg", "91"), ("dentine_mm", "-1"), ("convergence_deg", "<b>")],
)
def test_what_cannot_be_is_said_at_its_field(
    desk: Desk, case: Case, field: str, typed: str
):
    refused = send(desk, case, **{f"units__0__{field}": typed})

    page = text(refused)
    assert refused.status_code == 422
    assert f'href="#id_units-0-{field}"' in page
    assert '<details class="disclose" open id="units-0-preparation">' in page
    assert units(desk, case)[0].convergence_deg is None


def test_only_an_implant_crown_says_how_it_is_held(desk: Desk, case: Case):
    before = page_of(desk, case)
    assert "units-0-retention" not in before
    assert "More about the preparation" in before
    fields = {
        "units__0__kind": "implant_crown",
        "units__0__retention": "screw",
        "units__0__abutment": "custom titanium",
    }
    for row in range(3):
        fields[f"units__0__readings__{row}__passes_mm"] = ""
        fields[f"units__0__readings__{row}__held_mm"] = ""

    sent = send(desk, case, **fields)

    assert sent.status_code == 302
    (made,) = units(desk, case)
    assert (made.kind, made.retention, made.abutment) == (
        "implant_crown",
        "screw",
        "custom titanium",
    )
    page = page_of(desk, case)
    assert 'value="custom titanium"' in page
    assert "More about the preparation" not in page
    assert '<option value="screw" selected>' in page
    back = send(desk, desk.fresh(case), **{**fields, "units__0__kind": "crown"})
    assert back.status_code == 302
    (made,) = units(desk, case)
    assert (made.retention, made.abutment) == ("", "")


ONLAY = {
    "units__0__kind": "onlay",
    "units__0__material": "lithium_disilicate",
    "units__0__occlusal_surface": "",
    "units__0__readings__0__passes_mm": "",
    "units__0__readings__1__passes_mm": "1.5",
    "units__0__readings__1__held_mm": "",
    "units__0__readings__2__passes_mm": "1.5",
}


def test_an_onlay_says_what_it_leaves_uncovered(desk: Desk, case: Case):
    assert "Not covered by this restoration" not in page_of(desk, case)

    sent = send(desk, case, **ONLAY, units__0__left_out__buccal_cusps="on")

    assert sent.status_code == 302
    (made,) = units(desk, case)
    assert made.not_applicable == ["buccal_cusps"]
    assert '<details class="disclose" open id="units-0-partial">' in page_of(desk, case)
    signed = text(desk.browser("clinician").get(f"/cases/{case.code}/submit/"))
    assert "not covered: buccal cusps" in signed
    checked = desk.play.at_check_of(case)
    with acting(desk.personas.technician.actor):
        assert checked.verdict == "sufficient"
        verdicts = SiteVerdict.objects.filter(case=case)
        assert verdicts.get(site="buccal_cusps").verdict == "not_applicable"
    assert desk.play.clear(case).state == "cleared"


def test_what_was_read_is_not_left_out_too(desk: Desk, case: Case):
    both = {**ONLAY, "units__0__readings__0__passes_mm": "1.5"}
    refused = send(desk, case, **both, units__0__left_out__buccal_cusps="on")

    assert refused.status_code == 422
    assert "it cannot be left out too" in text(refused)
    assert units(desk, case)[0].not_applicable == []


BRIDGE = {
    f"units__{row}__{key}": value
    for row, (tooth, kind) in enumerate(
        (("36", "retainer"), ("35", "pontic"), ("34", "retainer"))
    )
    for key, value in {
        "tooth": tooth,
        "kind": kind,
        "material": "zirconia_3y",
        "occlusal_surface": "",
        "relation": "normal",
        "antagonist": "natural",
        "span": "1",
    }.items()
}


def bridge(desk: Desk, case: Case, **changes: str):
    return send(desk, case, **BRIDGE, **changes)


def connectors(desk: Desk, case: Case) -> list[dict[str, Any]]:
    with acting(desk.personas.assistant.actor):
        return list(Prescription.objects.get(case=case).connectors)


def test_a_single_tooth_has_no_connector(desk: Desk, case: Case):
    assert "Connectors of the bridge" not in page_of(desk, case)


def test_a_connector_stands_between_every_two_neighbours(desk: Desk, case: Case):
    assert bridge(desk, case).status_code == 302
    page = page_of(desk, case)
    for pair in ("3536", "3435"):
        assert f'name="connectors-{pair}-height_mm"' in page
    assert 'name="connectors-3436-' not in page
    assert connectors(desk, case) == []

    sent = bridge(
        desk,
        desk.fresh(case),
        **{
            "connectors__3536__height_mm": "4,0",
            "connectors__3536__width_mm": "3",
            "connectors__1626__height_mm": "9",
        },
    )

    assert sent.status_code == 302
    assert connectors(desk, case) == [
        {"between": ["35", "36"], "height_mm": "4.00", "width_mm": "3.00"}
    ]
    assert 'name="connectors-3536-height_mm" value="4"' in page_of(desk, case)
    signed = text(desk.browser("clinician").get(f"/cases/{case.code}/submit/"))
    assert "35–36: 4 × 3 mm (height × width)" in signed


def test_half_a_connector_is_refused_at_its_field(desk: Desk, case: Case):
    refused = bridge(desk, case, connectors__3435__height_mm="4")

    page = text(refused)
    assert refused.status_code == 422
    assert "34–35, Width: Enter the width of the connector." in page
    assert 'href="#id_connectors-3435-width_mm"' in page
    assert 'name="connectors-3435-height_mm" value="4"' in page
    assert connectors(desk, case) == []


def test_two_hands_see_what_differs_of_a_connector(desk: Desk, case: Case):
    bridge(desk, case)
    stale = case.version
    bridge(
        desk,
        desk.fresh(case),
        connectors__3435__height_mm="4",
        connectors__3435__width_mm="3",
    )

    data = drafts.typed(
        case, desk.personas, **BRIDGE, version=str(stale),
        connectors__3435__height_mm="5", connectors__3435__width_mm="3",
    )  # fmt: skip
    told = desk.browser("assistant").post(f"/cases/{case.code}/edit/", data)

    assert told.status_code == 409
    assert "Connector 34–35, height" in text(told)


def test_wall_heights_stay_where_they_were(desk: Desk, case: Case):
    send(desk, case, **{"units__0__wall_heights_mm__facial": "4.6"})

    (made,) = units(desk, case)
    assert made.wall_heights_mm == {"facial": "4.6"}
