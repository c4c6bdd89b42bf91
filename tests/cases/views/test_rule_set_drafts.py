"""A draft begun, brought in, set and given products: refusals beside their field."""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from cases.models import RuleSetDraft
from cases.tenancy import acting
from rules.loader import shipped_rule_set
from rules.toml_text import to_toml
from tests.cases.views.conftest import Desk
from tests.cases.views.managers import copied, fresh, proposed, published
from tests.cases.views.test_rule_sets import body, queries

COPY, IMPORT = "/rule-sets/copy/", "/rule-sets/import/"


def drafts(desk: Desk) -> list[RuleSetDraft]:
    with acting(desk.personas.lab_manager.actor):
        return list(RuleSetDraft.objects.order_by("pk"))


def page_of(draft: Any, more: str = "") -> str:
    return f"/rule-sets/drafts/{draft.code}/{more}"


def test_a_copy_begins_as_the_set_it_was_taken_from(desk: Desk):
    browser = desk.browser("lab_manager")
    rule_set = published(desk, k="2")
    shown = body(browser.get(f"{COPY}?digest={rule_set.digest}"))
    assert f'value="{rule_set.digest}" selected' in shown
    assert "Shipped with Chairbench" in shown

    digest = shipped_rule_set().digest
    made = browser.post(COPY, {"digest": digest, "name": "Ours", "label": "7"})

    draft = drafts(desk)[-1]
    assert made["Location"] == page_of(draft)
    assert (draft.name, draft.label, draft.based_on) == ("Ours", "7", digest)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": ""}, "Enter a name for the rule set."),
        ({"label": ""}, "Enter what this version is called."),
        ({"label": "x" * 41}, "at most 40 characters"),
        ({"name": "a\u202eb"}, "without control characters"),
        ({"digest": "0" * 64}, "not one of the available choices"),
    ],
)
def test_a_copy_that_cannot_be_says_why(desk: Desk, fields: dict[str, str], said: str):
    digest = shipped_rule_set().digest
    sent = {"digest": digest, "name": "Ours", "label": "7", **fields}

    answer = desk.browser("lab_manager").post(COPY, sent)

    assert answer.status_code == 422
    assert said in body(answer)
    assert drafts(desk) == []


def toml() -> str:
    return to_toml(shipped_rule_set())


def upload(content: str | bytes, name: str = "ours.toml") -> dict[str, Any]:
    data = content.encode() if isinstance(content, str) else content
    return {"file": SimpleUploadedFile(name, data, "application/toml")}


def test_a_file_becomes_a_draft_and_leaves_as_it_came(desk: Desk):
    browser = desk.browser("lab_manager")

    browser.post(IMPORT, upload(toml()))
    browser.post(IMPORT, {"text": toml()})

    one, two = drafts(desk)
    assert one.digest == two.digest == shipped_rule_set().digest
    file = browser.get(page_of(one, "toml/"))
    assert body(file) == toml()
    assert file["Content-Type"] == "application/toml"


def test_every_fault_of_a_file_has_its_line_and_key_and_nothing_is_stored(desk: Desk):
    text = toml().replace('source = "common practice, no source"', "", 2)
    text = text.replace("target_mm = 1.5", "target_mm = 0.1", 1)
    text = text.replace('site = "central_fossa"', 'site = "nose"', 1)

    answer = desk.browser("lab_manager").post(IMPORT, upload(text))

    shown = body(answer)
    assert answer.status_code == 422
    assert "faults: nothing was stored" in shown
    assert "<title>Error:" in shown
    assert "Say where this comes from" in shown
    assert "Choose the site or cusp role." in shown
    assert "The target cannot be below the need." in shown
    number = text[: text.index('site = "nose"')].count("\n") + 1
    assert f'data-label="Line">{number}</td>' in shown
    assert "/groups/" in shown
    assert drafts(desk) == []


def test_a_fault_of_the_version_names_the_key_of_the_file(desk: Desk):
    written = f'version = "{shipped_rule_set().version}"'
    text = toml().replace(written, "version = 3")

    shown = body(desk.browser("lab_manager").post(IMPORT, {"text": text}))

    assert '<code class="digest">/version</code>' in shown


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "Choose a TOML file, or paste its text."),
        (upload(b""), "This file is empty."),
        (upload(b"x" * 10_000_000), "This file has 10.0 MB"),
        (upload(b"\xff\xfe\x00"), "not UTF-8"),
        (upload("name = ["), "This is not TOML"),
        ({"text": "[" * 5000}, "This is not TOML"),
        ({"text": 'name = "x"'}, "is missing: state it"),
        ({"text": "<script>alert(1)</script>"}, "This is not TOML"),
        ({"text": "k = 1", **upload("k = 1")}, "not both"),
    ],
)
def test_what_is_no_rule_set_is_refused_in_words(
    desk: Desk, sent: dict[str, Any], said: str
):
    answer = desk.browser("lab_manager").post(IMPORT, sent)

    assert answer.status_code == 422
    assert said in body(answer)
    assert "<script>alert" not in body(answer)
    assert drafts(desk) == []


def test_a_draft_counts_lines_and_what_they_change(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    assert "Nothing yet, name and version aside." in body(browser.get(page_of(draft)))
    sent = {**settings_of(draft), "k": "2"}
    browser.post(page_of(draft, "settings/"), sent)

    shown = body(browser.get(page_of(draft)))
    assert "The guard factor k is 2.0 instead of 1.645" in shown
    whole = body(browser.get(page_of(draft, "whole/")))
    assert "it does not hold for any case" in whole
    assert "2.0: a reading of a point decides" in whole
    listed = body(browser.get(page_of(draft, "differences/")))
    assert "The guard factor k is 2.0 instead of 1.645" in listed


def test_a_drafts_page_asks_the_same_for_one_and_three(desk: Desk):
    draft = copied(desk)
    one = queries(desk, "lab_manager", page_of(draft))
    copied(desk)
    copied(desk)

    assert queries(desk, "lab_manager", page_of(draft)) == one


def settings_of(draft: RuleSetDraft) -> dict[str, Any]:
    document = draft.document
    sent = {"version": draft.version, "name": document["name"]}
    sent |= {"label": document["version"], **document["decision"]}
    for line in document["methods"]:
        sent[f"u_{line['method']}"] = line["u_mm"]
        sent[f"source_{line['method']}"] = line["source"]
    return sent


def test_settings_sent_as_they_came_change_nothing(desk: Desk):
    draft = copied(desk)

    answer = desk.browser("lab_manager").post(
        page_of(draft, "settings/"), settings_of(draft)
    )

    assert answer.status_code == 302
    assert fresh(desk, draft).digest == draft.digest


def test_a_wider_allowance_is_refused_where_a_target_falls_short(desk: Desk):
    draft = copied(desk)
    sent = {**settings_of(draft), "adjustment_mm": "0,9"}

    answer = desk.browser("lab_manager").post(page_of(draft, "settings/"), sent)

    assert answer.status_code == 422
    assert "Zirconia 3Y, Crown, retainer: Functional cusp, clearance" in body(answer)
    assert 'value="0,9"' in body(answer)
    assert fresh(desk, draft).digest == draft.digest


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("k", "", "is missing"),
        ("k", "-1", "cannot be negative"),
        ("k", "1_6", "is no number here"),
        ("drag_mm", "2", "out of range"),
        ("u_scan", "", "Enter the standard uncertainty in mm."),
        ("u_scan", "0", "out of range"),
        ("source_scan", "", "Say where this comes from"),
        ("name", "", "Enter a name for the rule set."),
        ("label", " ", "Enter what this version is called."),
    ],
)
def test_settings_are_refused_at_their_field(
    desk: Desk, field: str, value: str, said: str
):
    draft = copied(desk)
    sent = {**settings_of(draft), field: value}

    answer = desk.browser("lab_manager").post(page_of(draft, "settings/"), sent)

    assert answer.status_code == 422
    assert said in body(answer)
    assert f'href="#id_{field}"' in body(answer)
    assert fresh(desk, draft).version == draft.version


def product(draft: RuleSetDraft, **fields: Any) -> dict[str, Any]:
    return {
        "version": draft.version,
        "label": "Norrel Zr",
        "under": "zirconia_3y",
        "instructions": "Instructions for use, edition 4",
        "cementations": ["conventional", "adhesive"],
        "usual": "conventional",
        **fields,
    }


def test_a_product_is_added_and_its_lines_come_next(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")

    made = browser.post(page_of(draft, "products/"), product(draft))

    assert made["Location"] == page_of(draft, "lines/norrel_zr/")
    lines = body(browser.get(made["Location"]))
    assert "Start from the lines of Zirconia 3Y" in lines
    assert 'name="groups-0-lines-2-thickness_mm"' in lines
    copied_lines = body(browser.get(made["Location"] + "?start=class"))
    assert "0.5 + 0.05 + 0.15 = 0.70" in copied_lines
    stored = fresh(desk, draft).document["materials"][-1]
    assert stored == {
        "key": "norrel_zr",
        "label": "Norrel Zr",
        "under": "zirconia_3y",
        "instructions": "Instructions for use, edition 4",
        "cementations": ["conventional", "adhesive"],
    }
    again = browser.post(
        page_of(draft, "products/"), product(fresh(desk, draft), label="Norrel ZR")
    )
    assert again["Location"] == page_of(draft, "lines/norrel_zr_2/")


def test_lines_left_blank_are_left_out(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    browser.post(page_of(draft, "products/"), product(draft))
    path = page_of(draft, "lines/norrel_zr/")
    sent = {
        "version": draft.version + 1,
        "groups-0-kinds": ["crown"],
        "groups-0-lines-0-site": "functional_cusp",
        "groups-0-lines-0-quantity": "clearance",
        "groups-0-lines-0-thickness_mm": "0,6",
        "groups-0-lines-0-target_mm": "1,0",
        "groups-0-lines-0-source": "instructions for use, edition 4",
        "groups-0-lines-1-site": "central_fossa",
        "groups-0-lines-1-quantity": "clearance",
    }

    assert browser.post(path, sent).status_code == 302

    mine = [
        n for n in fresh(desk, draft).document["needs"] if n["material"] == "norrel_zr"
    ]
    assert [line["site"] for line in mine] == ["functional_cusp"]
    shown = body(browser.get(page_of(draft)))
    assert "New product: Norrel Zr, under Zirconia 3Y." in shown


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"label": ""}, "Enter the name of the product."),
        ({"under": ""}, "Choose the class it belongs to."),
        ({"under": "gold"}, "is not a material of this rule set"),
        ({"instructions": ""}, "Name the instructions for use"),
        ({"cementations": []}, "Tick at least one way of cementation."),
        ({"iso_6872_class": "5"}, "Say where the class or type comes from."),
        ({"iso_6872_class": "9"}, "not one of the available choices"),
    ],
)
def test_a_product_is_refused_at_its_field(
    desk: Desk, fields: dict[str, Any], said: str
):
    draft = copied(desk)

    answer = desk.browser("lab_manager").post(
        page_of(draft, "products/"), product(draft, **fields)
    )

    assert answer.status_code == 422
    assert said in body(answer)
    assert fresh(desk, draft).version == draft.version


def test_a_material_is_changed_and_keeps_what_the_page_does_not_show(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    path = page_of(draft, "materials/pmma_provisional/")
    assert "PMMA provisional" in body(browser.get(path))

    sent = product(draft, label="PMMA, milled", cementations=["conventional"])
    del sent["under"], sent["instructions"]
    assert browser.post(path, sent).status_code == 302

    row = next(
        m
        for m in fresh(desk, draft).document["materials"]
        if m["key"] == "pmma_provisional"
    )
    assert row["label"] == "PMMA, milled"
    assert row["provisional"] is True


def test_a_material_is_removed_after_asking_unless_a_product_stands_under(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    browser.post(page_of(draft, "products/"), product(draft))
    above, own = (
        page_of(draft, "remove/zirconia_3y/"),
        page_of(draft, "remove/norrel_zr/"),
    )
    assert "Products stand under it" in body(browser.get(above))
    version = draft.version + 1
    assert browser.post(above, {"version": version}).status_code == 422

    assert browser.post(own, {"version": version}).status_code == 302
    assert browser.post(own, {"version": version}).status_code == 302
    assert browser.get(own).status_code == 404
    assert browser.post(above, {"version": version}).status_code == 412
    assert browser.post(above, {"version": version + 1}).status_code == 302
    keys = [m["key"] for m in fresh(desk, draft).document["materials"]]
    assert "zirconia_3y" not in keys


def test_span_limits_of_one_material_leave_the_others_alone(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    path = page_of(draft, "spans/full_metal/")
    others = [x for x in draft.document["span_limits"] if x["material"] != "full_metal"]
    sent = {
        "version": draft.version,
        "span_limits-0-region": "posterior",
        "span_limits-0-units_from": "2",
        "span_limits-0-units_to": "4",
        "span_limits-0-cantilever": "1",
        "span_limits-0-refused": "1",
        "span_limits-0-source": "our own experience, no source",
        "span_limits-1-region": "anterior",
    }

    assert browser.post(path, sent).status_code == 302

    after = fresh(desk, draft).document["span_limits"]
    assert [x for x in after if x["material"] != "full_metal"] == others
    assert [x for x in after if x["material"] == "full_metal"] == [
        {
            "material": "full_metal",
            "region": "posterior",
            "units_from": 2,
            "units_to": 4,
            "cantilever": True,
            "allowed": False,
            "source": "our own experience, no source",
        }
    ]
    assert "not indicated" in body(browser.get(path))


def test_every_fault_of_the_span_limits_is_said(desk: Desk):
    draft = copied(desk)
    sent = {
        "version": draft.version,
        "span_limits-3-region": "posterior",
        "span_limits-3-units_from": "5",
        "span_limits-3-units_to": "3",
        "span_limits-3-connector_mm2": "0",
        "span_limits-3-source": "x",
        "span_limits-8-units_from": "1",
        "span_limits-8-units_to": "two",
    }

    answer = desk.browser("lab_manager").post(page_of(draft, "spans/full_metal/"), sent)

    shown = body(answer)
    assert answer.status_code == 422
    for said in (
        "Line 1: The most units cannot be below the least.",
        "Line 2: Choose the region.",
        "Line 2: “two” is no number here",
        "Line 2: Say where this comes from",
    ):
        assert said in shown
    assert 'href="#id_span_limits-8-region"' in shown
    assert fresh(desk, draft).version == draft.version


def test_charges_are_stored_refused_and_added(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    path = page_of(draft, "charges/")
    sent = {
        "version": draft.version,
        "charges-0-material": "full_metal",
        "charges-0-days": "2,5",
        "charges-0-charge": "By weight.",
        "charges-0-kinds": ["crown", "retainer"],
        "charges-1-material": "full_metal",
    }
    assert "charges-2-material" in body(browser.post(path, {**sent, "add": "row"}))
    refused = browser.post(path, sent)
    assert refused.status_code == 422
    assert 'href="#id_charges-0-days"' in body(refused)

    sent["charges-0-days"] = "2"
    assert browser.post(path, sent).status_code == 302
    assert fresh(desk, draft).document["charges"] == [
        {
            "material": "full_metal",
            "days": 2,
            "charge": "By weight.",
            "kinds": ["crown", "retainer"],
        }
    ]
    assert "By weight." in body(browser.get(path))


@pytest.mark.parametrize(
    "page",
    [
        "settings/",
        "charges/",
        "products/",
        "spans/full_metal/",
        "materials/full_metal/",
        "remove/full_metal/",
        "propose/",
    ],
)
def test_no_editor_opens_while_a_draft_waits(desk: Desk, page: str):
    draft = proposed(desk, copied(desk))
    browser = desk.browser("lab_manager")

    opened = browser.get(page_of(draft, page))

    assert opened.status_code == 409
    assert "not being edited now" in body(opened)


@pytest.mark.parametrize("page", ["spans/gold/", "materials/gold/", "remove/gold/"])
def test_no_such_material_is_not_found(desk: Desk, page: str):
    draft = copied(desk)

    assert desk.browser("lab_manager").get(page_of(draft, page)).status_code == 404


@pytest.mark.parametrize(
    "page",
    [
        "settings/",
        "charges/",
        "products/",
        "spans/full_metal/",
        "materials/full_metal/",
        "remove/full_metal/",
        "propose/",
        "discard/",
    ],
)
def test_who_looks_again_gets_the_present_version_and_nothing_is_stored(
    desk: Desk, page: str
):
    draft = copied(desk)
    sent = {**settings_of(draft), **product(draft), "look": "look", "version": 1}
    desk.browser("lab_manager").post(
        page_of(draft, "settings/"), {**settings_of(draft), "k": "2"}
    )

    looked = desk.browser("lab_manager").post(page_of(draft, page), sent)

    assert looked.status_code == 200
    assert 'name="version" value="2"' in body(looked)
    assert fresh(desk, draft).version == 2


def test_a_lines_charge_named_twice_is_named_in_words(desk: Desk):
    draft = copied(desk)
    sent: dict[str, Any] = {"version": draft.version}
    for number in (0, 4):
        sent |= {
            f"charges-{number}-material": "full_metal",
            f"charges-{number}-days": "2",
            f"charges-{number}-charge": "By weight.",
        }

    answer = desk.browser("lab_manager").post(page_of(draft, "charges/"), sent)

    assert "Line 2: This line and “line 1” answer the same question." in body(answer)


def test_a_set_without_charges_or_strength_is_read_all_the_same(desk: Desk):
    draft = copied(desk)
    browser = desk.browser("lab_manager")
    browser.post(page_of(draft, "products/"), product(draft))
    sent = {
        "version": draft.version + 1,
        "charges-0-material": "norrel_zr",
        "charges-0-days": "1",
        "charges-0-charge": "As one crown.",
    }
    browser.post(page_of(draft, "charges/"), sent)
    sent = {**settings_of(fresh(desk, draft)), "k": "0"}
    browser.post(page_of(draft, "settings/"), sent)

    whole = body(browser.get(page_of(draft, "whole/")))

    assert "As one crown." in whole
    assert "own product under Zirconia 3Y" in whole
    assert "simple acceptance" in whole
