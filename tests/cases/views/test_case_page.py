"""The case page, for both sides and for nobody else."""

import io

from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image

from cases.lifecycle import AnswerKind
from cases.services.attachments import attachment_add
from cases.services.readings import readings_add
from cases.services.thread import message_post
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.play import reading, sufficient_unit, unit


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


def fill(desk: Desk, case, count: int) -> None:
    """Add messages, files and readings, as many of each."""
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "JPEG")
    who = desk.personas.technician.actor
    for _again in range(count):
        more = {"actor": who, "code": case.code, "at": desk.play.tick()}
        with acting(who):
            file = attachment_add(
                name="a.jpg", content=out.getvalue(), internal=False, **more
            )
            message_post(
                body="See.",
                internal=False,
                client_id=str(desk.play.at),
                attachments=[file.code],
                **more,
            )
            readings_add(
                version=None,
                readings=[{"tooth": "36", **reading("central_fossa", passes_mm="1.5")}],
                **more,
            )


def test_the_queries_do_not_grow_with_what_hangs_on_the_case(desk: Desk):
    case = desk.play.at_check(unit())
    counts = []
    for who in ("technician", "clinician"):
        browser = desk.browser(who)
        for _more in range(2):
            fill(desk, case, 1 + _more)
            browser.get(f"/cases/{case.code}/")
            with CaptureQueriesContext(connection) as captured:
                browser.get(f"/cases/{case.code}/")
            counts.append(len(captured))
    assert len(set(counts)) == 1
    assert counts[0] < 60


def test_query_answer_and_signature_are_told_to_both_sides(desk: Desk):
    case = desk.play.at_check(unit())
    flag = desk.play.flag(case)
    desk.play.answer(
        flag, AnswerKind.CHANGE_MATERIAL, changes={"36": {"material": "zirconia_3y"}}
    )
    for who in ("technician", "assistant"):
        body = page_of(desk, who, case.code).content.decode()
        assert "Short over the lingual cusps." in body
        assert "Change of material" in body
        assert "36: Zirconia 3Y" in body
        assert "Clinician Test" in body
        assert body.count("I authorise this work.") == 2
        assert "revision 2" in body


def test_a_hold_tells_whose_move_it_is(desk: Desk):
    case = desk.play.at_check(unit())
    flag = desk.play.flag(case)
    assistant = page_of(desk, "assistant", case.code).content.decode()
    assert "This is for another role of your side." in assistant
    lab = page_of(desk, "technician", case.code).content.decode()
    assert "It is the clinic" in lab
    assert f"/flags/{flag.code}/withdraw/" in lab
    desk.play.answer(flag, AnswerKind.ACCEPT_RISK, grounds="As it is.", consent=True)
    responsible = page_of(desk, "responsible", case.code).content.decode()
    assert f"/flags/{flag.code}/countersign/" in responsible
    lab = page_of(desk, "technician", case.code).content.decode()
    assert f"/flags/{flag.code}/countersign/" not in lab


def test_a_palatal_site_is_never_called_lingual(desk: Desk):
    rows = [
        reading("buccal_cusps", passes_mm="2.0"),
        reading("lingual_cusps", passes_mm="1.0", held_mm="1.5"),
        reading("central_fossa", passes_mm="1.5"),
    ]
    case = desk.play.at_check(unit(tooth="16", readings=rows))
    for path in (f"/cases/{case.code}/", f"/cases/{case.code}/flag/"):
        shown = desk.browser("technician").get(path).content.decode()
        assert "Palatal cusps" in shown
        assert "ingual cusps" not in shown


def test_a_draft_of_nothing_teaches(desk: Desk):
    case = desk.play.draft()
    body = page_of(desk, "clinician", case.code).content.decode()
    assert "No tooth chosen yet" in body
    assert "What still shuts the gate" not in body
