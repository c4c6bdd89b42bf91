"""The answer: ways out side by side, none chosen beforehand, then a signature."""

import html
import re
from datetime import timedelta

import pytest

from cases import clock
from cases.models import Answer, Case, Flag, Prescription
from cases.services import flags
from cases.services.readings import provisional_lost
from cases.tenancy import acting
from tests.cases.views.conftest import Desk
from tests.factories import PASSWORD
from tests.play import reading, unit


@pytest.fixture
def flag(desk: Desk) -> Flag:
    return desk.play.flag(desk.play.at_check(unit()))


def url(flag: Flag) -> str:
    return f"/flags/{flag.code}/answer/"


def version_of(desk: Desk, flag: Flag) -> str:
    with acting(desk.personas.clinician.actor):
        return str(Case.objects.get(pk=flag.case_id).version)


def looked(desk: Desk, flag: Flag, **data: str):
    """Press "look at what you sign" and return the answer of the page."""
    sent = {"look": "look", "version": version_of(desk, flag), **data}
    return desk.browser("clinician").post(url(flag), sent)


def fields_of(page: str) -> dict[str, str]:
    """Return what the page's form would send again: its hidden fields."""
    form = page[page.index('id="command"') :]
    found = {}
    for tag in re.findall(r"<input[^>]*type=\"hidden\"[^>]*>", form):
        name = re.search(r'name="([^"]+)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if name:
            found[name[1]] = html.unescape(value[1]) if value else ""
    found.pop("csrfmiddlewaretoken", None)
    return found


def sign(desk: Desk, flag: Flag, name: str = "clinician", **data: str):
    """Look, then sign with the password."""
    page = looked(desk, flag, **data)
    assert page.status_code == 200, page.content.decode()
    body = {**fields_of(page.content.decode()), "password": PASSWORD}
    return desk.browser(name).post(url(flag), body)


def stored(desk: Desk, flag: Flag) -> Answer:
    with acting(desk.personas.clinician.actor):
        return Answer.objects.select_related("case", "signature").get(flag=flag)


def test_answer_shows_the_ways_out_and_chooses_none(desk: Desk, flag: Flag):
    page = desk.browser("clinician").get(url(flag)).content.decode()
    assert "Short over the lingual cusps." in page
    assert "Lingual cusps: 0.0 to 0.5 mm" in page
    assert 'value="re_preparation"' in page
    assert 'value="change_material|36|zirconia_3y||conventional"' in page
    assert 'value="adjust_opposing"' in page
    radios = re.findall(r'<input type="radio" name="choice"[^>]*>', page)
    assert len(radios) > 5
    assert not [radio for radio in radios if "checked" in radio]


def test_what_is_barred_stands_there_with_its_reason(desk: Desk, flag: Flag):
    page = desk.browser("clinician").get(url(flag)).content.decode()
    barred = page[page.index("Not possible here") :]
    assert "eldspathic ceramic" in barred
    assert "may be missing" in barred
    refused = looked(desk, flag, choice="change_material|36|feldspathic||adhesive")
    assert refused.status_code == 422
    assert "Choose one of the ways out that are possible" in refused.content.decode()


def test_re_preparation_is_signed_as_shown(desk: Desk, flag: Flag):
    page = looked(desk, flag, choice="re_preparation", grounds="Will do <b>today</b>.")
    text = page.content.decode()
    assert "Exactly this is signed" in text
    assert "Will do &lt;b&gt;today&lt;/b&gt;." in text
    shown = fields_of(text)["content_sha256"]
    response = sign(
        desk, flag, choice="re_preparation", grounds="Will do <b>today</b>."
    )
    assert response.status_code == 302
    answer = stored(desk, flag)
    assert answer.kind == "re_preparation"
    assert answer.signature.content_sha256 == shown
    assert answer.case.state == "awaiting_records"


def test_a_change_of_material_shows_the_new_revision_and_its_verdict(
    desk: Desk, flag: Flag
):
    choice = "change_material|36|zirconia_3y||conventional"
    text = looked(desk, flag, choice=choice).content.decode()
    assert "Prescription, revision 2" in text
    assert "Zirconia 3Y" in text
    assert "With this change the check says" in text
    assert "verdict-sufficient" in text
    assert sign(desk, flag, choice=choice).status_code == 302
    with acting(desk.personas.clinician.actor):
        assert Prescription.objects.filter(case_id=flag.case_id).count() == 2
        case = Case.objects.get(pk=flag.case_id)
    assert (case.state, case.verdict) == ("at_check", "sufficient")


def test_what_the_look_says_of_stale_readings_is_what_the_check_says(
    desk: Desk, flag: Flag
):
    actor = desk.personas.assistant.actor
    with acting(actor):
        case = Case.objects.get(pk=flag.case_id)
        provisional_lost(
            actor=actor,
            code=case.code,
            version=None,
            note="Lost on Friday.",
            at=desk.play.tick(),
        )
    choice = "change_material|36|zirconia_3y||conventional"
    text = looked(desk, flag, choice=choice).content.decode()
    after = text[text.index("With this change the check says") :]
    assert "verdict-undecided" in after
    assert "verdict-sufficient" not in after
    assert sign(desk, flag, choice=choice).status_code == 302
    with acting(actor):
        assert Case.objects.get(pk=flag.case_id).verdict == "undecided"


def test_metal_on_top_is_a_change_of_design(desk: Desk, flag: Flag):
    choice = next(
        value
        for value in re.findall(
            r'name="choice"[^>]*value="([^"]+)"',
            desk.browser("clinician").get(url(flag)).content.decode(),
        )
        if value.startswith("change_design|36|metal_ceramic|metal")
    )
    assert sign(desk, flag, choice=choice).status_code == 302
    assert stored(desk, flag).kind == "change_design"


def test_another_material_is_chosen_in_its_list(desk: Desk, flag: Flag):
    missing = looked(desk, flag, choice="change")
    assert missing.status_code == 422
    assert "Say what is to change on which tooth." in missing.content.decode()
    data = {"choice": "change", "changes-36": "full_metal||"}
    assert sign(desk, flag, **data).status_code == 302
    assert stored(desk, flag).parameters["changes"]["36"]["material"] == "full_metal"


def test_a_risk_needs_grounds_and_consent(desk: Desk, flag: Flag):
    bare = looked(desk, flag, choice="accept_risk", grounds="  ")
    assert bare.status_code == 422
    page = bare.content.decode()
    assert "Write the grounds of this choice." in page
    assert "informed and consented" in page
    half = looked(desk, flag, choice="accept_risk", grounds="Thin but wanted.")
    assert half.status_code == 422
    assert "Thin but wanted." in half.content.decode()
    response = sign(
        desk, flag, choice="accept_risk", grounds="Thin but wanted.", consent="on"
    )
    assert response.status_code == 302
    answer = stored(desk, flag)
    assert answer.consent is True
    assert answer.case.state == "on_hold"


def test_adjusting_the_opposing_tooth_is_guarded(desk: Desk, flag: Flag):
    page = desk.browser("clinician").get(url(flag)).content.decode()
    assert "Sound tissue of another tooth is lost" in page
    refused = looked(desk, flag, choice="adjust_opposing")
    assert refused.status_code == 422
    data = {"choice": "adjust_opposing", "grounds": "Over-erupted.", "consent": "on"}
    assert sign(desk, flag, **data).status_code == 302
    assert stored(desk, flag).case.records_due == [
        "jaw_record",
        "opposing_impression",
        "readings",
    ]


def test_other_treatment_first_needs_a_future_review(desk: Desk, flag: Flag):
    data = {"choice": "refer", "grounds": "Crown too short."}
    past = looked(
        desk, flag, referral="crown_lengthening", review_on="2020-01-01", **data
    )
    assert past.status_code == 422
    assert "review date in the future" in past.content.decode()
    none = looked(desk, flag, **data)
    assert "Choose what comes first." in none.content.decode()
    day = (clock.now().date() + timedelta(days=60)).isoformat()
    response = sign(desk, flag, referral="crown_lengthening", review_on=day, **data)
    assert response.status_code == 302
    assert stored(desk, flag).case.state == "deferred"


def test_referrals_say_what_speaks_for_and_against_each(desk: Desk, flag: Flag):
    page = desk.browser("clinician").get(url(flag)).content.decode()
    assert page.count('value="refer"') == 1
    assert "Orthodontic intrusion: Only where the opposing tooth is sound" in page
    assert "Crown lengthening: not possible here. State the wall heights" in page


def test_an_implant_crown_is_never_prepared_again(desk: Desk):
    implant = unit(kind="implant_crown", retention="cement")
    flag = desk.play.flag(desk.play.at_check(implant))
    page = desk.browser("clinician").get(url(flag)).content.decode()
    for key in ("abutment", "retention"):
        assert f'value="change_design|36|{key}"' in page
    assert "Lower or angled abutment" in page
    assert "Screw-retained" in page
    for kind in ("re_preparation", "reduction_coping", "adjust_opposing"):
        assert f'value="{kind}"' not in page
    assert "Nothing is prepared under a pontic or an implant crown." in page
    choice = "change_design|36|retention"
    assert sign(desk, flag, choice=choice).status_code == 302
    answer = stored(desk, flag)
    assert answer.kind == "change_design"
    assert answer.parameters["changes"] == {"36": {"retention": "screw"}}


def test_the_opposing_tooth_is_barred_with_the_reasons_of_the_check(desk: Desk):
    flag = desk.play.flag(desk.play.at_check(unit(antagonist="restored")))
    page = desk.browser("clinician").get(url(flag)).content.decode()
    assert 'value="adjust_opposing"' not in page
    assert "Only a natural tooth is adjusted" in page


def test_a_coping_is_offered_for_a_single_surface_only(desk: Desk, flag: Flag):
    page = desk.browser("clinician").get(url(flag)).content.decode()
    assert 'value="reduction_coping"' in page
    rows = [
        reading("buccal_cusps", passes_mm="1.0", held_mm="1.5"),
        reading("lingual_cusps", passes_mm="1.0", held_mm="1.5"),
        reading("central_fossa", passes_mm="1.5"),
    ]
    two = desk.play.flag(desk.play.at_check(unit(readings=rows)))
    other = desk.browser("clinician").get(url(two)).content.decode()
    assert 'value="reduction_coping"' not in other
    assert "Only where a single surface of one tooth is short." in other


def test_nothing_chosen_keeps_what_was_typed(desk: Desk, flag: Flag):
    response = looked(desk, flag, grounds="My words")
    assert response.status_code == 422
    page = response.content.decode()
    assert "Choose one of the ways out." in page
    assert "My words" in page
    assert "<title>Error:" in page


def test_a_wrong_password_signs_nothing(desk: Desk, flag: Flag):
    page = looked(desk, flag, choice="re_preparation", grounds="Kept.")
    body = {**fields_of(page.content.decode()), "password": "wrong"}
    response = desk.browser("clinician").post(url(flag), body)
    assert response.status_code == 422
    text = response.content.decode()
    assert "enter your password" in text
    assert fields_of(text)["grounds"] == "Kept."
    with acting(desk.personas.clinician.actor):
        assert not Answer.objects.filter(flag=flag).exists()


def test_two_answers_at_once_one_wins_and_no_text_is_lost(desk: Desk, flag: Flag):
    mine = looked(desk, flag, choice="accept_risk", grounds="Mine.", consent="on")
    body = {**fields_of(mine.content.decode()), "password": PASSWORD}
    assert sign(desk, flag, choice="re_preparation").status_code == 302
    late = desk.browser("clinician").post(url(flag), body)
    assert late.status_code in (409, 412)
    assert "Mine." in late.content.decode()
    assert stored(desk, flag).kind == "re_preparation"


def test_a_settled_query_leads_back_to_the_case(desk: Desk, flag: Flag):
    sign(desk, flag, choice="re_preparation")
    response = desk.browser("clinician").get(url(flag))
    assert response.status_code == 302


def test_what_changed_since_the_look_is_not_signed(desk: Desk, flag: Flag):
    page = looked(desk, flag, choice="re_preparation", grounds="As shown.")
    body = {
        **fields_of(page.content.decode()),
        "grounds": "Something else.",
        "password": PASSWORD,
    }
    response = desk.browser("clinician").post(url(flag), body)
    assert response.status_code == 409
    with acting(desk.personas.clinician.actor):
        assert not Answer.objects.filter(flag=flag).exists()


@pytest.mark.parametrize(
    ("name", "status"),
    [
        ("assistant", 403),
        ("clinic_manager", 403),
        ("technician", 403),
        ("clinician_b", 404),
        ("technician_m", 404),
    ],
)
def test_only_a_clinician_of_the_clinic_answers(
    desk: Desk, flag: Flag, name: str, status: int
):
    browser = desk.browser(name)
    assert browser.get(url(flag)).status_code == status
    data = {"version": "1", "choice": "re_preparation", "password": PASSWORD}
    assert browser.post(url(flag), data).status_code == status


def test_a_colleague_without_delegation_does_not_sign(desk: Desk, flag: Flag):
    page = looked(desk, flag, choice="re_preparation")
    body = {**fields_of(page.content.decode()), "password": PASSWORD}
    browser = desk.browser("colleague")
    seen = browser.post(url(flag), {**body, "look": "look"}).content.decode()
    assert 'name="password"' not in seen
    assert browser.post(url(flag), body).status_code == 403


def test_a_query_without_sites_bars_what_would_cover_them(desk: Desk):
    case = desk.play.at_check(unit())
    lab = desk.personas.technician.actor
    with acting(lab):
        flag = flags.flag_raise(
            actor=lab,
            code=case.code,
            version=None,
            reasons=["finish_line"],
            text="Where does the finish line run?",
            sites=None,
            at=desk.play.tick(),
        )
    page = desk.browser("clinician").get(url(flag)).content.decode()
    assert 'value="accept_risk"' not in page
    assert "This query names no site" in page
    assert sign(desk, flag, choice="re_preparation").status_code == 302
