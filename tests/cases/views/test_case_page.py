"""The case page, for both sides and for nobody else."""

from tests.cases.views.conftest import Desk
from tests.play import sufficient_unit, unit


def page_of(desk: Desk, who: str, code: str):
    return desk.browser(who).get(f"/cases/{code}/")


def test_both_sides_land_on_the_clearance_chart(desk: Desk):
    case = desk.play.at_check(unit())
    for who in ("clinician", "assistant", "clinic_manager", "technician"):
        response = page_of(desk, who, case.code)
        assert response.status_code == 200
        body = response.content.decode()
        assert 'data-site="lingual_cusps"' in body
        assert body.index("chart-wide") < body.index('id="conversation"')
        assert "short by up to 0.5" in body


def test_an_outsider_sees_what_a_stranger_sees(desk: Desk):
    case = desk.play.at_check(unit())
    for who in ("clinician_b", "technician_m"):
        assert page_of(desk, who, case.code).status_code == 404
        assert page_of(desk, who, "0123456789").status_code == 404


def test_a_laboratory_never_sees_a_draft(desk: Desk):
    case = desk.play.draft(unit())
    assert page_of(desk, "technician", case.code).status_code == 404
    assert page_of(desk, "clinician", case.code).status_code == 200


def test_the_gate_says_what_shuts_it(desk: Desk):
    case = desk.play.at_check(unit())
    body = page_of(desk, "technician", case.code).content.decode()
    assert "What still shuts the gate" in body
    assert "Tooth 36, lingual cusps: insufficient" in body


def test_the_bar_offers_only_what_table_and_role_allow(desk: Desk):
    case = desk.play.at_check(unit())
    lab = page_of(desk, "technician", case.code).content.decode()
    assert f"/cases/{case.code}/flag/" in lab
    assert f"/cases/{case.code}/clear/" not in lab
    assert f"/cases/{case.code}/release/" not in lab
    clinic = page_of(desk, "clinician", case.code).content.decode()
    assert f"/cases/{case.code}/flag/" not in clinic
    assert "It is the laboratory" in clinic
    good = desk.play.at_check(sufficient_unit())
    lab = page_of(desk, "technician", good.code).content.decode()
    assert f"/cases/{good.code}/clear/" in lab


def test_it_shows_the_prescription_with_its_signature(desk: Desk):
    case = desk.play.at_check(unit())
    body = page_of(desk, "technician", case.code).content.decode()
    assert "P-100" in body
    assert "I authorise this work." in body


def test_chain_and_rounds_are_shown(desk: Desk):
    case = desk.play.at_check(unit())
    body = page_of(desk, "clinician", case.code).content.decode()
    assert "Chain checked" in body
    assert "Rounds" in body
