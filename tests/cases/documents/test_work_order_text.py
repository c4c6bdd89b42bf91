"""Every item a work order has to carry, read back from the document."""

import re

import pytest

from cases.canonical import canonical_json, sha256_hex
from cases.documents.work_order import PatientLine, render_work_order
from rules.loader import shipped_rule_set
from tests.cases.documents import samples
from tests.cases.documents.reading import pages, rendered, text, unbroken

EVERY_SAMPLE = (
    "sufficient",
    "one_ground",
    "accepted_risk",
    "asked",
    "coping",
    "bridge",
)


@pytest.mark.parametrize(
    "item",
    [
        "Work order 14",
        "Prescription revision 1, round 1",
        "Case K3V8R1ZN0D",
        "order code 7QX4M2C9TA",
        "Ashgrove Dental Laboratory",
        "Unit 4, Kiln Lane",
        "Linden Street Dental Practice",
        "12 Linden Street",
        "Dr Ruth Amsel",
        "licence number D-48213",
        "Patient P-2041 M. K., age 40–49",
        "Due (promised) Wed 18 Mar 2026",
        "Wanted Fri 20 Mar 2026",
        "Pan 41",
        "canine guidance",
        "impression disinfected, 10 min",
        "silicone record in maximal intercuspation",
        "released 6 Mar 2026, 09:30 (UTC+01:00)",
        "Room for the restoration: sufficient",
        "36 lower left first molar Crown Zirconia 3Y Conventional cementation Tab 3 "
        "Chamfer Natural tooth",
        "Keep the distal contact light. Photograph of the neighbour attached.",
        "Buccal cusps 0.7 [1] 2.0 slid Maximal intercuspation Thickness strip; in the "
        "mouth Clinic, Mon 2 Mar 2026 sufficient",
        "Lingual cusps 0.7 [1] 1.5 slid, 2.0 held",
        "Central fossa 0.7 [1] 1.9 ± 0.2 Maximal intercuspation Silicone and caliper; "
        "on the mounted models, mounting 1 Laboratory, Mon 2 Mar 2026 sufficient",
        f"Needs of the rule set “{shipped_rule_set().name}”, version "
        f"{shipped_rule_set().version}.",
        "Sources of the needs: [1]",
        "Checked 5 Mar 2026, 14:05 (UTC+01:00).",
        "Prescription, signed electronically Dr Ruth Amsel Clinician “I prescribe this "
        "restoration as written.” 2 Mar 2026, 11:02 (UTC+01:00) · code of the second "
        "factor",
        "Released to the bench Theo Marlow",
        "At the bench, by hand Name Date Signature",
        "Final check before dispatch",
        "Decision support only. The licensed clinician who prescribes decides",
        "The instructions for use of the actual material and batch come first, and so "
        "does local dental, medical-",
        "A figure is valid only with its method, jaw position and uncertainty.",
        "Never grind the opposing tooth to hide a shortage. Only the clinician adjusts "
        "it, with the patient's recorded consent.",
    ],
)
def test_a_crown_with_room_carries(item):
    assert item in text(rendered("sufficient"))


@pytest.mark.parametrize("sample", EVERY_SAMPLE)
def test_number_case_and_page_stand_on_every_page(sample):
    found = pages(rendered(sample))

    for index, page in enumerate(found, start=1):
        assert "Work order 14 · revision" in page
        assert "case K3V8R1ZN0D" in page
        assert f"{index} / {len(found)}" in page


@pytest.mark.parametrize("sample", ["sufficient", "asked", "one_ground"])
def test_a_single_crown_takes_two_pages(sample):
    assert len(pages(rendered(sample))) == 2


@pytest.mark.parametrize("sample", EVERY_SAMPLE)
def test_the_printed_digest_is_that_of_the_canonical_content(sample):
    body = getattr(samples, sample)()
    digest = sha256_hex(canonical_json(body))

    assert digest in text(rendered(sample))
    assert f"Content digest begins {digest[:16]}." in text(rendered(sample))
    assert f"{samples.VERIFY}{digest}/" in unbroken(rendered(sample))
    assert body["prescription_signature"]["content_sha256"] in text(rendered(sample))
    assert body["check"]["result"]["rule_set"]["digest"] in text(rendered(sample))


def test_a_crown_with_room_says_nothing_of_requirements_not_met():
    found = text(rendered("sufficient"))

    assert "Requirements not met" not in found
    assert "Coping enclosed" not in found
    assert "Questions and signed answers" not in found


@pytest.mark.parametrize(
    "item",
    [
        "Room for the restoration: insufficient · not every requirement is met; the "
        "grounds stand in the box below",
        "Requirements not met, and on what grounds Accepted with documented risk",
        "36 Lingual cusps 1.5 1.0 to 1.5 insufficient short by up to 0.5 mm",
        "Query Q4T7B2WX9M · Clearance · asked by Theo Marlow, 3 Mar 2026, 08:55 "
        "(UTC+01:00) · 36 lingual cusps",
        "The lingual cusps show 1.0 to 1.5 mm in maximal intercuspation and need 1.5.",
        "Answer: Accept with documented risk",
        "Further reduction would bring the wall under 3 mm and near the pulp.",
        "The patient was informed and consented; the clinician recorded it.",
        "Signed: Dr Ruth Amsel, Clinician, 4 Mar 2026, 17:20 (UTC+01:00), “This is my "
        "answer to the query.”; password entered again; digest",
        "Countersigned: Theo Marlow, Technician, 5 Mar 2026, 08:10 (UTC+01:00), “The "
        "laboratory builds on this risk.”; code of the second factor; digest",
        "Cleared within measuring uncertainty Tooth Site Need (mm) Measured (mm) "
        "Verdict 36 Central fossa 1.5 1.6 ± 0.2 undecided",
        "A technician cleared it on the record",
        "Metal-ceramic Ceramic occlusal surface, conventional cementation",
        "Radial shoulder",
        "Maximal intercuspation (governs)",
        "further reading 1.5 slid, 2.0 held Left laterotrusion",
        "insufficient short by up to 0.5 mm",
    ],
)
def test_an_accepted_risk_carries(item):
    assert item in text(rendered("accepted_risk"))


def test_signatures_print_the_beginning_of_what_was_signed():
    query = samples.accepted_risk()["queries"][0]
    found = text(rendered("accepted_risk"))

    for key in ("signature", "countersignature"):
        assert f"digest {query[key]['content_sha256'][:16]}…" in found


def test_a_query_that_covers_nothing_stands_with_its_signed_answer():
    found = text(rendered("asked"))

    assert "Questions and signed answers" in found
    assert "Answer: Re-measure or remount at the laboratory" in found
    assert "Signed: Dr Ruth Amsel, Clinician, 4 Mar 2026, 17:20 (UTC+01:00)" in found
    assert "Requirements not met" not in found


def test_an_answer_covers_by_its_code_where_the_content_names_it():
    body = samples.one_ground()
    wrong = body["queries"][0] | {"flag": "WRONG", "answer": "ANSWER0002"}
    right = body["queries"][0] | {"flag": "RIGHT", "answer": "ANSWER0001"}
    body["queries"] = [right, wrong]
    found = text(render_work_order(**samples.render_arguments(body)))

    box, rest = found.split("Readings against needs")
    assert "Query RIGHT" in box
    assert "Query WRONG" in rest


def test_an_enclosed_coping_is_named_on_top():
    found = pages(rendered("coping"))

    assert "Coping enclosed." in found[0]
    assert "Reduction coping: the tooth is trimmed at the fit" in found[0]


def test_a_bridge_shows_its_units_and_its_pontic_on_grounds():
    found = text(rendered("bridge"))

    for tooth, kind in (("14", "Retainer"), ("15", "Pontic"), ("16", "Retainer")):
        assert f"{tooth} · {kind}, Zirconia 3Y" in found
        assert f"Site on {tooth}" in found
    assert found.count("Bridge A") == 3
    assert "Palatal cusps" in found
    assert "Lingual cusps" not in found
    assert "3.0 slid, 4.0 held" in found
    assert "Bridge 16-15-14." in found


def test_an_edge_read_as_clearance_and_as_reduction_stands_twice():
    found = text(rendered("incisor"))

    assert re.search(r"Incisal edge 1\.5 \[\d\] 2\.0 slid Protrusion", found)
    assert "Incisal edge reduction" in found
    assert "Palatal surface" in found
    assert "Finish line width" in found
    assert found.count("21, upper left central incisor") == 2


@pytest.mark.parametrize(
    ("system", "printed", "in_chart"),
    [
        ("iso3950", "36 lower left first molar Crown", "crown sufficient"),
        (
            "universal",
            "36 (Universal 19) lower left first molar Crown",
            "Universal 19, crown sufficient",
        ),
        (
            "palmer",
            "36 (Palmer LL6) lower left first molar Crown",
            "Palmer LL6, crown sufficient",
        ),
    ],
)
def test_teeth_print_in_iso_3950_and_the_clinics_own(system, printed, in_chart):
    body = samples.sufficient()
    body["clinic"] |= {"tooth_system": system}
    found = text(render_work_order(**samples.render_arguments(body)))

    assert printed in found
    assert in_chart in found
    assert ("(Universal" in found) is (system == "universal")
    assert ("(Palmer" in found) is (system == "palmer")


@pytest.mark.parametrize("sample", EVERY_SAMPLE)
def test_every_verdict_is_a_word_as_well_as_a_shape_and_a_colour(sample):
    body = getattr(samples, sample)()
    found = text(rendered(sample))

    for unit in body["check"]["result"]["units"]:
        for site in unit["sites"]:
            # In the chart and in the table; the chart's callout adds the unit's.
            word = site["verdict"]
            sites = [s for u in body["check"]["result"]["units"] for s in u["sites"]]
            count = sum(s["verdict"] == word for s in sites)
            assert found.count(f" {word} ") >= 2 * count


def test_an_erased_identity_is_said_and_nothing_else_changes():
    body = samples.sufficient()
    erased = text(
        render_work_order(
            **samples.render_arguments(body, patient=PatientLine(reference=""))
        )
    )

    assert "Patient identity erased" in erased
    assert "P-2041" not in erased
    assert sha256_hex(canonical_json(body)) in erased


def test_what_an_answer_fixed_is_written_out():
    found = text(rendered("mouthful"))

    assert "36 (Universal 19) lingual cusps: remove up to 0.5 mm" in found
    assert "36 (Universal 19): Full metal" in found
    assert "Crown lengthening" in found
    assert "Review on Mon 4 May 2026" in found


def test_a_delegate_signs_for_the_prescriber():
    body = samples.sufficient()
    body["prescription_signature"] |= {"name": "Dr Odo Kern", "signed_for": "Dr R. A."}
    found = text(render_work_order(**samples.render_arguments(body)))

    assert "Dr Odo Kern Clinician, for Dr R. A." in found


def test_an_order_without_check_or_dates_still_prints():
    body = samples.content([samples.molar()])
    body |= {
        "check": {"verdict": None, "made_at": None, "result": None},
        "promised_on": None,
        "wanted_on": None,
        "prescription_signature": None,
        "pan_number": "",
    }
    found = text(render_work_order(**samples.render_arguments(body)))

    assert "Room for the restoration: unmeasured" in found
    assert "Due (promised)" not in found
    # The readings stand there, not judged.
    assert "Buccal cusps clearance – 2.0 slid" in found
    assert "not judged" in found


def test_a_product_an_abutment_and_a_screw_are_named():
    body = samples.content(
        [
            samples.unit(
                "46",
                [samples.reading("central_fossa", passes_mm="1.50")],
                kind="implant_crown",
                cementation="conventional",
                retention="screw",
                abutment="custom titanium",
                material_label="Wobble zirconia (invented)",
                instructions="WZ-1 (invented), issue 3",
            )
        ]
    )
    found = text(render_work_order(**samples.render_arguments(body)))

    assert "Wobble zirconia (invented) Screw-retained, custom titanium" in found
    assert "Instructions for use: WZ-1 (invented), issue 3" in found
    # The material's usual cementation says nothing of a screw.
    assert "onventional cementation" not in found
