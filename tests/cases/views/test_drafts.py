"""Drafts: begun, saved as one goes, kept from two hands at once, discarded."""

import io
import re
import zlib
from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from PIL import Image

from cases.models import Attachment, Case, PatientIdentity, Reading, Unit
from cases.services import drafts
from cases.services.drafts import DraftInput, PatientInput
from cases.tenancy import acting
from tests.permissions.shape import play_of
from tests.personas import Personas, client_of

HTMX = {"HX-Request": "true"}


def unit(**changes) -> dict:
    body = {
        "tooth": "36",
        "kind": "crown",
        "material": "metal_ceramic",
        "occlusal_surface": "ceramic",
        "relation": "normal",
        "antagonist": "natural",
        "readings": [
            {
                "site": site,
                "position": "maximal_intercuspation",
                "method": "strip",
                **lengths,
            }
            for site, lengths in (
                ("buccal_cusps", {"passes_mm": "2.0"}),
                ("lingual_cusps", {"passes_mm": "1.0", "held_mm": "1.5"}),
                ("central_fossa", {"passes_mm": "1.5"}),
            )
        ],
    }
    return {**body, **changes}


@pytest.fixture
def case(personas: Personas) -> Case:
    with acting(personas.clinician.actor):
        return drafts.case_create(
            actor=personas.clinician.actor,
            laboratory=personas.laboratory.code,
            draft=DraftInput(patient=PatientInput("P-100"), units=[unit()]),
            at=datetime.now(UTC),
        )


@pytest.fixture
def browser(personas: Personas) -> Client:
    return client_of(personas.assistant)


def typed(case: Case, personas: Personas, **changes: str) -> dict[str, str]:
    """What the page of this draft would send, with some fields changed."""
    data = {
        "do": "save",
        "version": str(case.version),
        "prescriber": personas.clinician.user.email,
        "reference": "P-100",
        "units-0-tooth": "36",
        "units-0-kind": "crown",
        "units-0-material": "metal_ceramic",
        "units-0-occlusal_surface": "ceramic",
        "units-0-relation": "normal",
        "units-0-antagonist": "natural",
    }
    for row, reading in enumerate(unit()["readings"]):
        data |= {f"units-0-readings-{row}-{k}": v for k, v in reading.items()}
    return {**data, **{k.replace("__", "-"): v for k, v in changes.items()}}


def stored(personas: Personas, case: Case) -> dict:
    """Everything of the draft, to show that nothing of it changed."""
    with acting(personas.clinician.actor):
        return {
            "case": list(Case.objects.filter(pk=case.pk).values()),
            "patient": list(
                PatientIdentity.objects.filter(case=case).values("reference")
            ),
            "units": list(Unit.objects.filter(case=case).values("tooth", "material")),
            "readings": list(
                Reading.objects.filter(case=case)
                .order_by("site")
                .values("site", "passes_mm", "held_mm", "value_mm")
            ),
        }


def text_of(response) -> str:
    return response.content.decode()


def without_token(response) -> str:
    """The page without its proof of origin, which differs at every request."""
    return re.sub(r'(X-CSRFToken": "|value=")[A-Za-z0-9]{64}', "", text_of(response))


def start(personas: Personas, **changes: str) -> dict[str, str]:
    data = {
        "do": "create",
        "once": "key-1",
        "laboratory": personas.laboratory.code,
        "prescriber": personas.clinician.user.email,
        "reference": "P-7",
    }
    return {**data, **changes}


# ---------- new ----------


def test_new_begins_a_draft_and_opens_it(browser: Client, personas: Personas):
    response = browser.post("/cases/new/", start(personas))
    with acting(personas.clinician.actor):
        case = Case.objects.get()
    assert response.headers["Location"] == f"/cases/{case.code}/edit/"
    assert case.prescriber_id == personas.clinician.user.pk
    assert browser.get(response.headers["Location"]).status_code == 200


def test_new_pressed_twice_makes_one_draft(browser: Client, personas: Personas):
    first = browser.post("/cases/new/", start(personas))
    second = browser.post("/cases/new/", start(personas))
    assert first.headers["Location"] == second.headers["Location"]
    with acting(personas.clinician.actor):
        assert Case.objects.count() == 1


def test_new_carries_a_chair_check_over(browser: Client, personas: Personas):
    carried = {
        k: v
        for k, v in typed(Case(version=1), personas).items()
        if k.startswith("units-")
    }
    page = browser.post("/cases/new/", {**carried, "do": "carry"})
    assert page.status_code == 200
    assert 'value="2.0"' in text_of(page)
    assert "short by up to 0.5" in text_of(page)
    response = browser.post("/cases/new/", {**carried, **start(personas)})
    assert response.status_code == 302
    with acting(personas.clinician.actor):
        assert Reading.objects.count() == 3
        assert Unit.objects.get().material == "metal_ceramic"


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("laboratory", "NOSUCHLAB0", "a partnership must be"),
        ("laboratory", "", "Choose the laboratory."),
        ("prescriber", "nobody@example.org", "Choose a clinician of your clinic"),
        ("reference", "", "Enter your own code"),
        ("reference", "x" * 41, "at most 40"),
    ],
)
def test_new_refuses_and_keeps_what_was_typed(
    browser: Client, personas: Personas, field: str, value: str, told: str
):
    data = start(personas, initials="AB", **{field: value})
    response = browser.post("/cases/new/", data)
    assert response.status_code == 422
    assert told in text_of(response)
    assert 'value="AB"' in text_of(response)
    with acting(personas.clinician.actor):
        assert Case.objects.count() == 0


def test_new_refuses_a_laboratory_without_partnership(
    browser: Client, personas: Personas
):
    data = start(personas, laboratory=personas.laboratory_m.code)
    assert browser.post("/cases/new/", data).status_code == 422
    # After a refusal the same page may be sent again, corrected.
    assert browser.post("/cases/new/", start(personas)).status_code == 302


def test_new_says_how_to_find_a_laboratory(browser: Client, personas: Personas):
    with acting(personas.clinician.actor):
        personas.partnership.ended_at = datetime.now(UTC)
        personas.partnership.save()
    page = browser.get("/cases/new/")
    assert page.status_code == 200
    assert "asks for a partnership" in text_of(page)


@pytest.mark.parametrize(
    ("reference", "told"),
    [
        ("12.05.1971", "looks like a birth date"),
        ("19710512", "looks like a birth date"),
        ("Nobody Nowhere", "looks like a name"),
    ],
)
def test_a_telling_reference_is_cautioned_not_refused(
    browser: Client, personas: Personas, case: Case, reference: str, told: str
):
    data = typed(case, personas, reference=reference, do="live")
    response = browser.post(f"/cases/{case.code}/edit/", data, headers=HTMX)
    assert response.status_code == 200
    assert told in text_of(response)


@pytest.mark.parametrize("name", ["clinic_manager", "technician"])
def test_new_is_for_the_chair(personas: Personas, name: str):
    browser = client_of(personas.named(name))
    assert browser.get("/cases/new/").status_code == 403
    assert browser.post("/cases/new/", start(personas)).status_code == 403


# ---------- edit ----------


def test_edit_shows_what_is_stored(browser: Client, case: Case):
    page = text_of(browser.get(f"/cases/{case.code}/edit/"))
    assert 'name="units-0-readings-1-held_mm" value="1.5"' in page
    assert "short by up to 0.5" in page
    assert "Every change is saved at once." in page


def test_edit_saves_by_the_button_without_script(
    browser: Client, personas: Personas, case: Case
):
    data = typed(case, personas, shade="Tab 2", units__0__readings__1__passes_mm="1,5")
    data["units-0-readings-1-held_mm"] = ""
    response = browser.post(f"/cases/{case.code}/edit/", data)
    assert response.status_code == 302
    now = stored(personas, case)
    assert now["case"][0]["version"] == case.version + 1
    assert str(now["readings"][2]["passes_mm"]) == "1.50"
    page = text_of(browser.get(f"/cases/{case.code}/edit/"))
    assert 'value="Tab 2"' in page
    assert "short by" not in page


def test_edit_saves_by_htmx_and_says_when(
    browser: Client, personas: Personas, case: Case
):
    data = typed(case, personas, do="live", notes="Mind the gap")
    response = browser.post(f"/cases/{case.code}/edit/", data, headers=HTMX)
    assert response.status_code == 200
    page = text_of(response)
    assert "<strong>Saved</strong>" in page
    assert f'name="version" id="id_version" value="{case.version + 1}"' in page
    assert 'id="verdict"' in page
    assert "<html" not in page
    # The next change goes on from the version this answer brought.
    data |= {"version": str(case.version + 1), "notes": "Mind the gap, please"}
    again = browser.post(f"/cases/{case.code}/edit/", data, headers=HTMX)
    assert again.status_code == 200


BAD = [
    ("units-0-readings-0-passes_mm", "NaN", "is no number here"),
    ("units-0-readings-0-passes_mm", "-0.5", "cannot be negative"),
    ("units-0-readings-0-passes_mm", "20.5", "out of range"),
    ("units-0-readings-0-passes_mm", "two", "is no number here"),
    ("units-0-readings-0-passes_mm", "1_5", "is no number here"),
    ("units-0-readings-1-held_mm", "0.5", "Strips out of order"),
    ("units-0-tooth", "19", "no tooth here"),
    ("units-0-tooth", "55", "primary tooth"),
    ("units-0-readings-0-site", "lingual_surface", "has no lingual surface"),
    ("units-0-material", "unobtainium", "unobtainium"),
    ("units-0-base_width_mm", "wide", "is no number here"),
    ("units-0-wall_heights_mm-facial", "-1", "cannot be negative"),
    ("wanted_on", "2020-01-01", "not in the past"),
    ("wanted_on", "soon", "Enter a date like"),
    ("appointment_at", "2020-01-01T10:00", "not in the past"),
    ("notes", "x" * 4001, "at most 4000"),
    ("shade", "x" * 41, "at most 40"),
    ("reference", "", "Enter your own code"),
]


@pytest.mark.parametrize(("field", "value", "told"), BAD)
@pytest.mark.parametrize("htmx", [False, True])
def test_edit_refuses_and_stores_nothing(
    browser: Client,
    personas: Personas,
    case: Case,
    field: str,
    value: str,
    told: str,
    htmx: bool,
):
    before = stored(personas, case)
    data = {**typed(case, personas, initials="QX"), field: value}
    data["do"] = "live" if htmx else "save"
    response = browser.post(
        f"/cases/{case.code}/edit/", data, headers=HTMX if htmx else {}
    )
    assert response.status_code == 422
    page = text_of(response)
    assert told in page
    assert "Not saved" in page
    assert stored(personas, case) == before
    if not htmx:
        assert 'value="QX"' in page
        assert value in page
        assert "data-errors" in page


def test_edit_tells_every_fault_at_once(
    browser: Client, personas: Personas, case: Case
):
    data = typed(case, personas, reference="", units__0__readings__0__passes_mm="x")
    data["units-0-readings-2-passes_mm"] = "y"
    page = text_of(browser.post(f"/cases/{case.code}/edit/", data))
    assert "Enter your own code" in page
    assert "“x” is no number" in page
    assert "“y” is no number" in page


def test_edit_refuses_a_bridge_that_jumps_a_tooth(
    browser: Client, personas: Personas, case: Case
):
    data = typed(case, personas, units__0__span="1", units__0__kind="retainer")
    data |= {
        "units-1-tooth": "34",
        "units-1-kind": "retainer",
        "units-1-material": "metal_ceramic",
        "units-1-span": "1",
    }
    response = browser.post(f"/cases/{case.code}/edit/", data)
    assert response.status_code == 422
    assert "The span jumps from 34 to 36" in text_of(response)


def test_edit_shows_html_as_text(browser: Client, personas: Personas, case: Case):
    data = typed(case, personas, notes="<script>alert(1)</script>")
    assert browser.post(f"/cases/{case.code}/edit/", data).status_code == 302
    page = text_of(browser.get(f"/cases/{case.code}/edit/"))
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_edit_refuses_null_characters(browser: Client, personas: Personas, case: Case):
    data = typed(case, personas, shade="A\x002")
    data["units-0-readings-0-note"] = "x\x00"
    response = browser.post(f"/cases/{case.code}/edit/", data)
    assert response.status_code == 422


def test_edit_adds_teeth_as_a_bridge(browser: Client, personas: Personas, case: Case):
    data: dict = {**typed(case, personas), "do": "add", "add-kind": "bridge"}
    data |= {"add-teeth": ["45", "46", "47"], "add-material": "zirconia_3y"}
    response = browser.post(f"/cases/{case.code}/edit/", data)
    assert response.status_code == 200
    with acting(personas.clinician.actor):
        made = {u.tooth: (u.kind, u.span) for u in Unit.objects.filter(case=case)}
    assert made == {
        "36": ("crown", ""),
        "45": ("retainer", "1"),
        "46": ("pontic", "1"),
        "47": ("retainer", "1"),
    }


def test_edit_asks_for_the_material_of_added_teeth(
    browser: Client, personas: Personas, case: Case
):
    before = stored(personas, case)
    data: dict = {**typed(case, personas), "do": "add", "add-kind": "crown"}
    response = browser.post(
        f"/cases/{case.code}/edit/", {**data, "add-teeth": ["46"]}, headers=HTMX
    )
    assert response.status_code == 422
    assert "Choose the material." in text_of(response)
    assert stored(personas, case) == before


def test_edit_removes_a_unit(browser: Client, personas: Personas, case: Case):
    data = typed(case, personas, do="remove-unit-0")
    assert browser.post(f"/cases/{case.code}/edit/", data).status_code == 200
    assert stored(personas, case)["units"] == []


def test_edit_plans_both_arches_once(browser: Client, personas: Personas, case: Case):
    data = typed(case, personas, do="refresh", units__0__antagonist="prepared")
    data |= {
        "units-1-tooth": "26",
        "units-1-kind": "crown",
        "units-1-material": "metal_ceramic",
        "units-1-antagonist": "prepared",
        "units-1-relation": "normal",
    }
    page = browser.post(f"/cases/{case.code}/edit/", data)
    assert page.status_code == 200
    data |= {
        "do": "save",
        "version": str(case.version + 1),
        "units-0-antagonists-0-tooth": "26",
        "units-1-antagonists-0-tooth": "36",
    }
    assert browser.post(f"/cases/{case.code}/edit/", data).status_code == 302
    with acting(personas.clinician.actor):
        facing = Unit.objects.get(case=case, tooth="36").antagonists
    assert facing == [{"tooth": "26", "kind": "crown", "material": "metal_ceramic"}]


def test_edit_tells_what_a_colleague_changed(
    browser: Client, personas: Personas, case: Case
):
    other = client_of(personas.clinician)
    url = f"/cases/{case.code}/edit/"
    assert other.post(url, typed(case, personas, shade="B3")).status_code == 302
    mine = typed(case, personas, shade="Tab 1", notes="mine")
    response = browser.post(url, mine)
    assert response.status_code == 409
    page = text_of(response)
    assert "A colleague saved this draft meanwhile" in page
    assert "“B3”" in page
    assert "mine" in page
    kept = browser.post(url, {**mine, "do": "keep"})
    assert kept.status_code == 200
    assert "<strong>Saved</strong>" in text_of(kept)
    assert 'value="Tab 1"' in text_of(browser.get(url))


def test_edit_by_htmx_never_overwrites_a_colleague(
    browser: Client, personas: Personas, case: Case
):
    url = f"/cases/{case.code}/edit/"
    client_of(personas.clinician).post(url, typed(case, personas, shade="B3"))
    before = stored(personas, case)
    response = browser.post(
        url, typed(case, personas, shade="Tab 1", do="live"), headers=HTMX
    )
    assert response.status_code == 409
    assert stored(personas, case) == before


@pytest.mark.parametrize(
    ("name", "status"),
    [
        ("clinician", 200),
        ("colleague", 200),
        ("clinic_manager", 403),
        ("clinician_b", 404),
        ("technician", 404),
        ("technician_m", 404),
    ],
)
def test_edit_is_the_clinics(personas: Personas, case: Case, name: str, status: int):
    browser = client_of(personas.named(name))
    url = f"/cases/{case.code}/edit/"
    assert browser.get(url).status_code == status
    if status != 200:
        assert browser.post(url, typed(case, personas)).status_code == status
        discard = browser.post(f"/cases/{case.code}/discard/", {"version": "1"})
        assert discard.status_code == status


def test_another_clinics_draft_looks_like_no_draft(personas: Personas, case: Case):
    browser = client_of(personas.clinician_b)
    theirs = browser.get(f"/cases/{case.code}/edit/")
    nothing = browser.get("/cases/0000000000/edit/")
    assert theirs.status_code == nothing.status_code == 404
    # The address asked for may be said back; nothing else may differ.
    told = without_token(theirs).replace(case.code, "0000000000")
    assert told == without_token(nothing)


# ---------- files ----------


def photo(name: str = "prep.png") -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(out, "PNG")
    return SimpleUploadedFile(name, out.getvalue(), "image/png")


def test_edit_attaches_a_photo(browser: Client, personas: Personas, case: Case):
    data: dict = {**typed(case, personas, do="upload"), "files": photo()}
    assert browser.post(f"/cases/{case.code}/edit/", data).status_code == 302
    with acting(personas.clinician.actor):
        assert Attachment.objects.get(case=case).content_type == "image/jpeg"


@pytest.mark.parametrize(
    ("file", "told"),
    [
        (
            SimpleUploadedFile("photo.jpg", b"MZ\x90\x00" + b"\x00" * 64),
            "cannot be attached",
        ),
        (SimpleUploadedFile("empty.png", b""), "Choose"),
        (
            SimpleUploadedFile("broken.png", b"\x89PNG\r\n\x1a\n" + b"\x00" * 64),
            "not a picture",
        ),
    ],
)
def test_edit_refuses_what_is_no_photo(
    browser: Client, personas: Personas, case: Case, file: SimpleUploadedFile, told: str
):
    file.seek(0)
    data: dict = {**typed(case, personas, do="upload", shade="C1"), "files": file}
    response = browser.post(f"/cases/{case.code}/edit/", data)
    assert response.status_code == 422
    assert told in text_of(response)
    assert 'value="C1"' in text_of(response)
    with acting(personas.clinician.actor):
        assert not Attachment.objects.filter(case=case).exists()


# ---------- discard ----------


def test_discard_deletes_the_draft_and_its_files(
    browser: Client, personas: Personas, case: Case, django_capture_on_commit_callbacks
):
    browser.post(
        f"/cases/{case.code}/edit/",
        {**typed(case, personas, do="upload"), "files": photo()},
    )
    url = f"/cases/{case.code}/discard/"
    assert browser.get(url).status_code == 200
    with django_capture_on_commit_callbacks(execute=True):
        response = browser.post(url, {"version": str(case.version + 1)})
    assert response.status_code == 302
    with acting(personas.clinician.actor):
        assert not Case.objects.filter(pk=case.pk).exists()
        assert not Attachment.objects.exists()


def test_discard_asks_again_when_a_colleague_changed_it(
    browser: Client, personas: Personas, case: Case
):
    url = f"/cases/{case.code}/edit/"
    client_of(personas.clinician).post(url, typed(case, personas, shade="B3"))
    response = browser.post(
        f"/cases/{case.code}/discard/", {"version": str(case.version)}
    )
    assert response.status_code == 412
    with acting(personas.clinician.actor):
        assert Case.objects.filter(pk=case.pk).exists()


def test_wanted_on_today_is_not_in_the_past(
    browser: Client, personas: Personas, case: Case
):
    day = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()
    data = typed(case, personas, wanted_on=day, appointment_at=f"{day}T14:30")
    assert browser.post(f"/cases/{case.code}/edit/", data).status_code == 302
    page = text_of(browser.get(f"/cases/{case.code}/edit/"))
    assert f'value="{day}"' in page
    assert f'value="{day}T14:30"' in page


def test_edit_of_what_was_sent_meanwhile_keeps_the_text(
    browser: Client, personas: Personas, case: Case
):
    play = play_of(personas)
    data = typed(case, personas, notes="Not lost")
    play.submit(case)
    response = browser.post(f"/cases/{case.code}/edit/", data)
    assert response.status_code == 409
    assert "was sent or ended meanwhile" in text_of(response)
    assert "Not lost" in text_of(response)
    live = browser.post(
        f"/cases/{case.code}/edit/", {**data, "do": "live"}, headers=HTMX
    )
    assert live.status_code == 409
    assert browser.get(f"/cases/{case.code}/edit/").status_code == 409


def test_edit_adds_and_removes_an_opposing_tooth(
    browser: Client, personas: Personas, case: Case
):
    url = f"/cases/{case.code}/edit/"
    data = typed(case, personas, do="add-antagonist-0", units__0__antagonist="prepared")
    data |= {
        "units-0-antagonists-0-tooth": "26",
        "units-0-antagonists-0-kind": "crown",
        "units-0-antagonists-0-material": "full_metal",
    }
    page = text_of(browser.post(url, data))
    assert 'name="units-0-antagonists-1-tooth"' in page
    assert 'value="remove-antagonist-0-1"' in page
    data |= {"do": "remove-antagonist-0-1", "version": str(case.version + 1)}
    data |= {"units-0-antagonists-1-kind": "crown"}
    assert "units-0-antagonists-1" not in text_of(browser.post(url, data))


def test_edit_asks_the_database_as_often_for_three_units(
    personas: Personas,
):
    counts = []
    for teeth in (["36"], ["36", "46", "26"]):
        with acting(personas.clinician.actor):
            case = drafts.case_create(
                actor=personas.clinician.actor,
                laboratory=personas.laboratory.code,
                draft=DraftInput(
                    patient=PatientInput("P-100"),
                    units=[unit(tooth=tooth) for tooth in teeth],
                ),
                at=datetime.now(UTC),
            )
        browser = client_of(personas.clinician)
        with CaptureQueriesContext(connection) as asked:
            assert browser.get(f"/cases/{case.code}/edit/").status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]


def _huge_png() -> bytes:
    """A picture that says it has 900 million pixels and is a few bytes long."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        sum_of = zlib.crc32(kind + body).to_bytes(4, "big")
        return len(body).to_bytes(4, "big") + kind + body + sum_of

    size = (30_000).to_bytes(4, "big")
    head = chunk(b"IHDR", size + size + bytes([8, 2, 0, 0, 0]))
    body = chunk(b"IDAT", zlib.compress(b"\x00" * 100))
    return b"\x89PNG\r\n\x1a\n" + head + body + chunk(b"IEND", b"")


def test_edit_refuses_a_decompression_bomb_and_a_huge_file(
    browser: Client, personas: Personas, case: Case, settings
):
    url = f"/cases/{case.code}/edit/"
    bomb = SimpleUploadedFile("bomb.png", _huge_png(), "image/png")
    data: dict = {**typed(case, personas, do="upload"), "files": bomb}
    response = browser.post(url, data)
    assert response.status_code == 422
    assert "bomb.png" in text_of(response)
    settings.MAX_ATTACHMENT_BYTES = 2**20
    large = SimpleUploadedFile("large.pdf", b"%PDF-1.7" + b"x" * 2**20)
    data |= {"files": large, "version": str(case.version + 1)}
    response = browser.post(url, data)
    assert response.status_code == 422
    assert "larger than 1 MB" in text_of(response)
    with acting(personas.clinician.actor):
        assert not Attachment.objects.filter(case=case).exists()
