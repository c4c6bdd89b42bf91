"""The main job, whole, over HTTP: from a short site to the fitted crown."""

from tests.cases.api.conftest import Api
from tests.play import sufficient_unit, unit

NEW_READINGS = [{"tooth": "36", **row} for row in sufficient_unit()["readings"]]
DUE = ["impression", "jaw_record"]


def test_the_main_job_from_draft_to_fit(api: Api):
    code = api.draft(unit())
    assert api.clinician.case(code)["state"] == "draft"
    assert api.clinician.get(f"cases/{code}/check").json()["verdict"] == "insufficient"

    sent = api.clinician.sign(f"cases/{code}/submit", code)
    assert (sent["state"], sent["whose_move"]) == ("submitted", "laboratory")

    received = api.technician.do(
        code, "receive", {"contents": ["impression", "jaw_record"], "pan_number": "7"}
    )
    assert (received["state"], received["verdict"]) == ("at_check", "insufficient")
    assert received["gate"] == [
        "Tooth 36, lingual cusps: insufficient, not covered by an answer."
    ]

    flag = api.technician.do(
        code,
        "flags",
        {"reasons": ["clearance"], "text": "Short over the lingual cusps."},
        expect=201,
    )
    assert flag["case"]["state"] == "on_hold"
    assert [site["site"] for site in flag["sites"]] == ["lingual_cusps"]
    assert flag["sites"][0]["high_mm"] == 1.5

    answered = api.clinician.sign(
        f"flags/{flag['code']}/answer", code, {"kind": "re_preparation"}
    )
    assert answered["case"]["state"] == "awaiting_records"
    assert answered["answers"][0]["parameters"]["depth_mm"]["36"] == {
        "lingual_cusps": {"low": 0.0, "high": 0.5}
    }

    records = api.assistant.do(
        code, "records", {"readings": NEW_READINGS, "sent": DUE, "note": "By courier."}
    )
    assert (records["round"], records["verdict"]) == (2, "sufficient")
    api.technician.do(code, "receive", {"contents": ["impression"]})
    assert api.technician.do(code, "clear")["state"] == "cleared"

    order = api.technician.do(code, "release", expect=201)
    assert (order["number"], order["status"]) == (1, "active")
    assert [q["kind"] for q in order["content"]["queries"]] == ["re_preparation"]

    api.technician.do(code, "dispatch", {"note": "By courier."})
    api.assistant.do(code, "receipt")
    fitted = api.clinician.do(
        code, "fit", {"fitted": True, "findings": ["as_delivered"], "minutes": 15}
    )
    assert (fitted["state"], fitted["whose_move"]) == ("fitted", "nobody")

    timeline = api.clinician.get(f"cases/{code}/timeline").json()
    assert timeline["verified"] is True
    assert [entry["event"] for entry in timeline["items"]] == [
        "case.submitted",
        "case.received",
        "flag.raised",
        "answer.signed",
        "records.sent",
        "case.received",
        "case.cleared",
        "work_order.released",
        "case.dispatched",
        "case.receipt",
        "fit.reported",
    ]


def test_change_of_material_is_a_signed_revision(api: Api):
    code, flag = api.flagged()
    api.clinician.sign(
        f"flags/{flag}/answer",
        code,
        {"kind": "change_material", "changes": {"36": {"material": "zirconia_3y"}}},
    )
    case = api.clinician.case(code)
    assert (case["state"], case["revision"], case["verdict"]) == (
        "at_check",
        2,
        "sufficient",
    )
    assert case["prescription"]["units"][0]["material"] == "zirconia_3y"
    signature = case["flags"][0]["answers"][0]["signature"]
    assert case["prescription"]["signature"] == signature
    api.technician.do(code, "clear")
    api.technician.do(code, "release", expect=201)


def test_an_accepted_risk_is_built_once_countersigned(api: Api):
    code, flag = api.flagged()
    choice = {
        "kind": "accept_risk",
        "grounds": "Patient declines further preparation.",
        "consent": True,
    }
    waiting = api.clinician.sign(f"flags/{flag}/answer", code, choice)
    assert (waiting["status"], waiting["case"]["whose_move"]) == (
        "countersign_due",
        "laboratory",
    )
    refused = api.technician.post(
        f"flags/{flag}/countersign",
        {"accept": True},
        match=api.technician.version(code),
    )
    assert refused.status_code == 403
    settled = api.responsible.sign(
        f"flags/{flag}/countersign", code, {"accept": True}, shown={}
    )
    assert settled["case"]["state"] == "at_check"
    assert settled["answers"][0]["countersignature"]["name"] == "Responsible Test"
    assert api.technician.case(code)["sites"][1]["ground"] == "answer"
    api.technician.do(code, "clear")
    order = api.technician.do(code, "release", expect=201)
    assert order["content"]["grounds"][0]["answer_kind"] == "accept_risk"


def test_a_declined_risk_needs_no_signature_and_opens_the_query(api: Api):
    code, flag = api.flagged()
    choice = {"kind": "accept_risk", "grounds": "As it is.", "consent": True}
    api.clinician.sign(f"flags/{flag}/answer", code, choice)
    declined = api.responsible.post(
        f"flags/{flag}/countersign",
        {"accept": False, "reason": "Below the instructions for use."},
        match=api.responsible.version(code),
    )
    assert declined.status_code == 200
    assert declined.json()["status"] == "open"
    assert declined.json()["answers"][0]["declined_by"] == "Responsible Test"


def test_a_remount_keeps_what_was_read_in_the_mouth(api: Api):
    code = api.at_check(sufficient_unit())
    low = {
        "tooth": "36",
        "site": "lingual_cusps",
        "position": "maximal_intercuspation",
        "method": "strip",
        "held_mm": "1,0",
        "basis": "model",
        "mounting_number": 1,
    }
    assert api.technician.do(code, "readings", {"readings": [low]})["verdict"] != (
        "sufficient"
    )
    asked = {"reasons": ["clearance"], "text": "Re-mount?"}
    refused = api.technician.do(code, "flags", asked, expect=422)
    assert [e["pointer"] for e in refused["errors"]] == ["/verified"]
    flag = api.technician.do(code, "flags", {**asked, "verified": True}, expect=201)
    assert flag["verified"] is True
    api.clinician.sign(f"flags/{flag['code']}/answer", code, {"kind": "re_measure"})
    case = api.technician.case(code)
    assert (case["state"], case["round"], case["verdict"]) == (
        "at_check",
        2,
        "sufficient",
    )
    assert [r["mounting_number"] for r in case["rounds"]] == [1, 2]


def test_a_withdrawn_query_restores_state_and_order(api: Api):
    code, order = api.released()
    flag = api.technician.do(
        code, "flags", {"reasons": ["shade"], "text": "Which shade?"}, expect=201
    )
    held = api.technician.get(f"work-orders/{order}").json()
    assert held["status"] == "suspended"
    withdrawn = api.technician.post(
        f"flags/{flag['code']}/withdraw",
        {"reason": "Found in the notes."},
        match=flag["case"]["version"],
    )
    assert withdrawn.status_code == 200
    assert withdrawn.json()["case"]["state"] == "in_fabrication"
    assert api.technician.get(f"work-orders/{order}").json()["status"] == "active"


def test_a_signed_change_request_stops_the_work(api: Api):
    code, _order = api.released()
    flag = api.clinician.sign(
        f"cases/{code}/change-request",
        code,
        {"text": "Full metal instead."},
        expect=201,
    )
    assert (flag["case"]["state"], flag["origin"]) == ("on_hold", "clinic")
    assert flag["signature"]["purpose"] == "change_request"
    api.clinician.sign(
        f"flags/{flag['code']}/answer",
        code,
        {"kind": "change_material", "changes": {"36": {"material": "full_metal"}}},
    )
    assert api.clinician.case(code)["state"] == "at_check"


def test_incomplete_is_corrected_signed_and_sent_again(api: Api):
    code = api.at_check()
    sent_back = api.technician.do(code, "incomplete", {"missing": "The jaw record."})
    assert (sent_back["state"], sent_back["missing"]) == (
        "incomplete",
        "The jaw record.",
    )
    changed = api.assistant.patch(
        f"cases/{code}",
        {"prescription": {"jaw_record": "wax, in occlusion"}},
        match=api.assistant.version(code),
    )
    assert changed.status_code == 200, changed.content
    assert changed.json()["draft"]["prescription"]["jaw_record"] == "wax, in occlusion"
    assert api.technician.case(code)["draft"] is None
    again = api.clinician.sign(f"cases/{code}/resubmit", code)
    assert (again["state"], again["revision"]) == ("submitted", 2)
    assert again["prescription"]["jaw_record"] == "wax, in occlusion"
    assert [u["tooth"] for u in again["prescription"]["units"]] == ["36"]


def test_try_in_return_and_adjustment(api: Api):
    code, _order = api.released()
    assert api.technician.do(code, "try-in")["state"] == "at_try_in"
    back = api.clinician.do(code, "return", {"note": "Contact mesially open."})
    assert back["state"] == "in_fabrication"
    remade = api.technician.do(
        code, "internal-remake", {"cause": "fracture", "note": "Fell."}
    )
    assert [r["internal"] for r in remade["remakes"]] == [True]
    api.technician.do(code, "dispatch")
    misfit = api.clinician.do(
        code, "fit", {"fitted": False, "findings": ["too_high"], "note": "High."}
    )
    assert misfit["state"] == "not_fitted"
    remake = api.clinician.do(
        code,
        "remake",
        {"cause": "occlusion_high", "attribution": "undetermined"},
        expect=201,
    )
    new = api.clinician.case(remake["new_case"])
    assert (new["state"], new["remake_of"]) == ("draft", code)
    assert api.technician.case(code)["remakes"][1]["new_case"] is None


def test_a_referral_defers_and_resumes(api: Api):
    code, flag = api.flagged()
    api.clinician.sign(
        f"flags/{flag}/answer",
        code,
        {
            "kind": "refer",
            "grounds": "Too short a wall.",
            "referral": "crown_lengthening",
            "review_on": "2190-06-01",
        },
    )
    assert api.clinician.case(code)["review_on"] == "2190-06-01"
    resumed = api.assistant.do(code, "resume", {"note": "Healed."})
    assert resumed["state"] == "awaiting_records"


def test_undecided_above_the_need_is_cleared_on_the_record(api: Api):
    rows = sufficient_unit()["readings"]
    rows[1] = {
        "site": "lingual_cusps",
        "position": "maximal_intercuspation",
        "method": "silicone_caliper",
        "value_mm": 1.55,
        "u_mm": 0.1,
    }
    code = api.at_check(unit(readings=rows))
    assert api.technician.case(code)["sites"][1]["clearable"] is True
    place = {"tooth": "36", "site": "lingual_cusps"}
    cleared = api.technician.do(code, "clear", {"within_uncertainty": [place]})
    assert cleared["sites"][1]["ground"] == "uncertainty"


def test_recheck_names_the_rule_set(api: Api):
    code = api.at_check()
    before = api.technician.case(code)
    after = api.technician.do(code, "recheck", {"rule_set": before["rule_set"]})
    assert after["rule_set"] == before["rule_set"]
    assert api.technician.do(code, "recheck")["version"] == after["version"] + 1


def test_cancel_withdraws_what_is_open(api: Api):
    code, _flag = api.flagged()
    cancelled = api.clinician.do(code, "cancel", {"reason": "Extraction planned."})
    assert (cancelled["state"], cancelled["flags"][0]["status"]) == (
        "cancelled",
        "withdrawn",
    )
