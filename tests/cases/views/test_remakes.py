"""The page of a remake, the forms that record one, the laboratory's causes."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.models import Attachment, Case, Remake, RemakeCause, RemakeLoss
from cases.services import bench, remakes
from cases.services.remake_causes import cause_add
from cases.tenancy import acting
from tests.cases.services.remade import (
    PDF,
    built_at_risk,
    delivered,
    do,
    opened,
)
from tests.cases.views.conftest import Desk
from tests.permissions.states import in_fabrication


@pytest.fixture
def remade(desk: Desk) -> Remake:
    """A crown built at risk that was perforated, made again."""
    case = delivered(desk.play, built_at_risk(desk.play))
    return opened(desk.play, case, attribution="laboratory", note="Thin there.")


def address(remake: Remake, more: str = "") -> str:
    return f"/cases/{remake.case.code}/remakes/{remake.pk}/{more}"


def page(desk: Desk, remake: Remake, name: str = "technician") -> str:
    response = desk.browser(name).get(address(remake))
    assert response.status_code == 200
    return response.content.decode()


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.mark.parametrize("name", ["clinician", "clinic_manager", "technician"])
def test_both_sides_read_cause_verdict_and_answer(desk: Desk, remade: Remake, name):
    told = words(page(desk, remade, name))
    for text in (
        "Remake: Perforation",
        "After dispatch",
        "lingual cusps",
        "insufficient",
        "drawn by the portal",
        "1.0 to 1.5 measured, 1.5 mm needed",
        "Accept with documented risk, signed by Clinician Test",
        "when the case was first sent and when it was built",
        "Laboratory",
        "not stated yet",
    ):
        assert text in told, text


def test_each_side_states_and_sees_the_other(desk: Desk, remade: Remake):
    send = desk.browser("technician").post
    response = send(
        address(remade, "state/"), {"attribution": "disputed", "note": "See photo."}
    )
    assert response["Location"] == address(remade)
    send(address(remade, "state/"), {"attribution": "clinic", "note": ""})
    told = words(page(desk, remade, "clinician"))
    assert "See photo." in told
    assert "1 earlier statement" in told


@pytest.mark.parametrize(
    ("where", "data", "told"),
    [
        ("state/", {"note": "Kept words"}, "Choose from the list."),
        ("state/", {"attribution": "fate", "note": "Kept words"}, "Select a valid"),
        ("loss/", {}, "Enter at least one figure."),
        ("loss/", {"amount": "-1"}, "cannot be negative"),
        ("loss/", {"amount": "1_0"}, "is no number here"),
        ("loss/", {"minutes": "1.5"}, "too many decimals"),
        ("traces/", {}, "Choose a site of this case."),
        ("traces/", {"site_verdict": "999999"}, "Select a valid choice"),
    ],
)
def test_what_is_refused_stays_on_the_page(
    desk: Desk, remade: Remake, where, data, told
):
    response = desk.browser("technician").post(address(remade, where), data)
    text = response.content.decode()
    assert response.status_code == 422
    assert told in text
    assert "<title>Error:" in text
    for value in data.values():
        if value != "fate" and value != "999999":
            assert value in text


def test_a_line_is_withdrawn_and_another_site_linked(desk: Desk, remade: Remake):
    with acting(desk.personas.technician.actor):
        trace = remade.traces.select_related("site_verdict__stored_check").get()
        check = trace.site_verdict.stored_check
        other = check.site_verdicts.get(site="central_fossa")
    browser = desk.browser("technician")
    where = address(remade, f"traces/{trace.pk}/withdraw/")
    refused = browser.post(where, {"reason": ""})
    assert refused.status_code == 422
    assert f'id="withdraw_reason_{trace.pk}"' in refused.content.decode()
    assert browser.post(where, {"reason": "Broken buccally."}).status_code == 302
    assert browser.post(where, {"reason": "Again."}).status_code == 409
    browser.post(address(remade, "traces/"), {"site_verdict": other.pk})
    told = words(page(desk, remade))
    assert "Withdrawn by Technician Test" in told
    assert "Broken buccally." in told
    assert "added by Technician Test" in told


def test_the_loss_is_on_the_own_sides_page_only(desk: Desk, remade: Remake):
    data = {"amount": "123,45", "minutes": "67", "days_lost": "8"}
    desk.browser("technician").post(address(remade, "loss/"), data)
    assert 'value="123.45"' in page(desk, remade)
    for name in ("clinician", "clinic_manager", "assistant"):
        html = page(desk, remade, name)
        assert "123.45" not in html
        assert "123,45" not in html
    with acting(desk.personas.clinician.actor):
        assert not RemakeLoss.objects.exists()


def test_the_assistant_reads_and_states_nothing(desk: Desk, remade: Remake):
    html = page(desk, remade, "assistant")
    assert "<form" not in html.split("<main", 1)[1].split("</main>")[0]


def test_the_page_is_of_its_case_only(desk: Desk, remade: Remake):
    other = in_fabrication(desk.play)
    browser = desk.browser("technician")
    assert browser.get(f"/cases/{other.code}/remakes/{remade.pk}/").status_code == 404
    assert browser.get(f"/cases/{other.code}/remakes/0/").status_code == 404


def test_the_page_asks_the_same_however_much_was_said(desk: Desk, remade: Remake):
    lab = desk.personas.technician.actor
    browser = desk.browser("technician")

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as found:
            assert browser.get(address(remade)).status_code == 200
        return len(found)

    asked()
    before = asked()
    for word in ("clinic", "shared", "disputed"):
        do(
            desk.play,
            remakes.remake_state,
            lab,
            remade.case.code,
            remake=remade.pk,
            attribution=word,
        )
    with acting(lab):
        sites = list(remade.traces.get().site_verdict.stored_check.site_verdicts.all())
    for site in sites[:1] + sites[2:]:
        values = {"remake": remade.pk, "site_verdict": site.pk}
        do(desk.play, remakes.remake_trace_add, lab, remade.case.code, **values)
    assert asked() == before


def test_the_clinic_reports_with_photos_and_figures(desk: Desk):
    case = delivered(desk.play, built_at_risk(desk.play))
    browser = desk.browser("clinician")
    form = browser.get(f"/cases/{case.code}/remake/").content.decode()
    assert 'enctype="multipart/form-data"' in form
    assert 'name="teeth"' not in form
    response = browser.post(
        f"/cases/{case.code}/remake/",
        {
            "version": case.version,
            "cause": "perforation",
            "detected_at": "seating",
            "attribution": "shared",
            "note": "",
            "photos": [
                SimpleUploadedFile("a.pdf", PDF),
                SimpleUploadedFile("b.pdf", PDF),
            ],
            "amount": "80.00",
            "minutes": "",
            "days_lost": "6",
        },
    )
    assert response.status_code == 302
    with acting(desk.personas.clinician.actor):
        made = Remake.objects.select_related("case").get(case=case)
        assert made.evidence.count() == 2
        assert made.losses.get().days_lost == 6
        assert (made.detected_at, made.attribution_clinic) == ("seating", "shared")
    told = page(desk, made, "technician")
    assert told.count("/files/") == 2
    assert "80.00" not in told


def test_a_photo_that_is_none_comes_back_with_the_form(desk: Desk):
    case = delivered(desk.play, in_fabrication(desk.play))
    response = desk.browser("clinician").post(
        f"/cases/{case.code}/remake/",
        {
            "version": case.version,
            "cause": "shade",
            "note": "Kept words",
            "photos": [SimpleUploadedFile("a.exe", b"MZ")],
        },
    )
    assert response.status_code == 422
    assert "This kind of file cannot be attached" in response.content.decode()
    assert "Kept words" in response.content.decode()
    with acting(desk.personas.clinician.actor):
        assert not Remake.objects.exists()
        assert not Attachment.objects.filter(case=case).exists()


def test_the_case_tells_reports_and_leads_to_remakes_both_ways(desk: Desk):
    case = delivered(desk.play, built_at_risk(desk.play))
    remake = opened(desk.play, case)
    for name in ("clinician", "technician"):
        html = desk.browser(name).get(f"/cases/{case.code}/").content.decode()
        assert address(remake) in html
        assert "Perforated while adjusting" in html
        told = words(html)
        assert "Clinic's view: not stated yet" in told.replace("&#x27;", "'")
    with acting(desk.personas.clinician.actor):
        new = Case.objects.get(remake_of=case)
    html = desk.browser("clinician").get(f"/cases/{new.code}/").content.decode()
    assert f'href="/cases/{case.code}/"' in html
    # The laboratory does not see the draft until it is sent.
    html = desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    assert new.code not in html
    assert new.code not in page(desk, remake, "technician")


def test_the_bench_records_an_internal_remake_with_its_figures(desk: Desk):
    case = built_at_risk(desk.play)
    browser = desk.browser("lab_manager")
    form = browser.get(f"/cases/{case.code}/internal-remake/").content.decode()
    assert 'href="/causes/"' in form
    data = {
        "version": case.version,
        "cause": "miscast",
        "detected_at": "framework",
        "attribution": "laboratory",
        "minutes": "90",
        "note": "",
        "photos": [SimpleUploadedFile("a.pdf", PDF)],
    }
    response = browser.post(f"/cases/{case.code}/internal-remake/", data)
    assert response.status_code == 302
    with acting(desk.personas.technician.actor):
        made = Remake.objects.select_related("case").get(case=case)
        assert made.attribution_laboratory == "laboratory"
        assert made.losses.get().minutes == 90
        assert made.evidence.get().attachment.internal
    told = page(desk, made, "clinician")
    assert "/files/" not in told
    assert "90" not in words(told).split("What it costs your side")[1]


# ---------- the fit report ----------


def test_the_form_offers_the_teeth_that_face_the_crown(desk: Desk):
    play = desk.play
    case = in_fabrication(play)
    lab = desk.personas.technician.actor
    do(play, bench.case_dispatch, lab, case.code, version=None, note="")
    browser = desk.browser("assistant")
    html = browser.get(f"/cases/{case.code}/fit/").content.decode()
    offered = re.findall(r'name="opposing_teeth" value="(\d\d)"', html)
    assert offered == ["27", "26", "25"] or offered == ["25", "26", "27"]
    assert "consent, recorded by the clinician" in html.replace("&#x27;", "'")
    response = browser.post(
        f"/cases/{case.code}/fit/",
        {
            "version": desk.fresh(case).version,
            "outcome": "fitted",
            "findings": ["opposing_adjusted", "provisionally_cemented"],
            "opposing_teeth": ["26"],
            "opposing_adjusted_mm": "0.3",
            "minutes": "8",
            "note": "",
        },
    )
    assert response.status_code == 302
    told = words(
        desk.browser("technician").get(f"/cases/{case.code}/").content.decode()
    )
    assert "Opposing tooth adjusted: 26; by about 0.30 mm" in told
    assert "8 minutes of adjusting" in told


def test_the_form_cannot_be_opened_twice_and_says_what_was_reported(desk: Desk):
    case = delivered(desk.play, in_fabrication(desk.play))
    response = desk.browser("clinician").get(f"/cases/{case.code}/fit/")
    assert response.status_code == 409
    told = response.content.decode()
    assert "Assistant Test reported the fit already" in told
    assert "Perforated while adjusting" in told
    early = in_fabrication(desk.play)
    response = desk.browser("clinician").get(f"/cases/{early.code}/fit/")
    assert response.status_code == 409
    assert "has not left the laboratory" in response.content.decode()
    assert (
        desk.browser("technician").get(f"/cases/{early.code}/fit/").status_code == 403
    )


# ---------- causes ----------


def test_the_manager_adds_and_retires_a_cause_clinics_choose(desk: Desk):
    browser = desk.browser("lab_manager")
    assert browser.post("/causes/", {"label": "Wrong alloy"}).status_code == 302
    again = browser.post("/causes/", {"label": "wrong alloy"})
    assert again.status_code == 422
    assert "on the list already" in again.content.decode()
    with acting(desk.personas.technician.actor):
        own = RemakeCause.objects.get()
    case = delivered(desk.play, in_fabrication(desk.play))
    form = desk.browser("clinician").get(f"/cases/{case.code}/remake/")
    assert f'value="{own.code}">Wrong alloy' in form.content.decode()
    remake = opened(desk.play, case, own.code)
    assert browser.post(f"/causes/{own.code}/retire/").status_code == 302
    assert browser.post(f"/causes/{own.code}/retire/").status_code == 409
    form = desk.browser("clinician").get(f"/cases/{case.code}/remake/")
    assert "Wrong alloy" not in form.content.decode()
    assert "Remake: Wrong alloy" in words(page(desk, remake, "clinician"))
    shown = desk.browser("clinician").get(f"/cases/{case.code}/").content.decode()
    assert "Wrong alloy" in shown
    assert "1 cause off the list" in words(browser.get("/causes/").content.decode())


def test_a_label_is_text_and_nothing_else(desk: Desk):
    who = desk.personas.lab_manager.actor
    with acting(who):
        cause_add(actor=who, label="<b>x</b>", at=desk.play.tick())
    html = desk.browser("lab_manager").get("/causes/").content.decode()
    assert "<b>x</b>" not in html
    assert "&lt;b&gt;x&lt;/b&gt;" in html


@pytest.mark.parametrize("number", ["9" * 18, "9" * 40])
def test_a_number_no_remake_has_is_not_found(desk: Desk, remade: Remake, number: str):
    browser = desk.browser("technician")
    path = f"/cases/{remade.case.code}/remakes/{number}/"
    assert browser.get(path).status_code == 404
    assert browser.post(f"{path}state/", {"attribution": "shared"}).status_code == 404
    where = address(remade, f"traces/{number}/withdraw/")
    assert browser.post(where, {"reason": "Wrong."}).status_code == 404
