"""Sites that a partial restoration leaves out, as the prescription states."""

import pytest

from rules.check import run_check
from rules.errors import InvalidPayload
from rules.payload import check_json, dump_request, parse_check
from rules.terms import Verdict
from tests.rules.builders import SHIPPED, run, site_of, strip, unit

LINGUAL = strip("lingual_cusps", passes=1.5)
FOSSA = strip("central_fossa", passes=1.5)


def onlay(*readings, **keys):
    return unit(*readings, kind="onlay", material="lithium_disilicate", **keys)


def test_a_site_left_out_does_not_count_and_is_said():
    found = run(onlay(LINGUAL, FOSSA, not_applicable=["buccal_cusps"]))
    site = site_of(found, "buccal_cusps")
    assert site.verdict is Verdict.NOT_APPLICABLE
    assert site.advice.text() == (
        "At the buccal cusps: not covered by this restoration, as prescribed."
    )
    assert found.verdict is Verdict.SUFFICIENT
    assert found.units[0].options == ()
    without = run(onlay(LINGUAL, FOSSA))
    assert site_of(without, "buccal_cusps").verdict is Verdict.UNMEASURED


def test_its_derivation_says_who_left_it_out():
    body = {
        "units": [onlay(LINGUAL, FOSSA, not_applicable=["buccal_cusps"])],
        "explain": True,
    }
    from_body = parse_check(body, rule_set=SHIPPED)
    assert parse_check(dump_request(from_body), rule_set=SHIPPED) == from_body
    (one,) = check_json(run_check(SHIPPED, from_body))["units"]
    (site,) = [s for s in one["sites"] if s["verdict"] == "not_applicable"]
    assert (
        "The prescription states that the restoration does not cover the buccal cusps."
        in site["derivation"]
    )


@pytest.mark.parametrize(
    ("asked", "pointer", "part"),
    [
        (
            unit(LINGUAL, not_applicable=["buccal_cusps"]),
            "/units/0/not_applicable",
            "covers every site",
        ),
        (
            onlay(LINGUAL, not_applicable=["lingual_cusps"]),
            "/units/0/not_applicable/0",
            "was read",
        ),
        (
            onlay(
                strip("mesiolingual_cusp", passes=1.5), not_applicable=["lingual_cusps"]
            ),
            "/units/0/not_applicable/0",
            "was read",
        ),
        (
            onlay(LINGUAL, not_applicable=["marginal_ridge"]),
            "/units/0/not_applicable/0",
            "not required",
        ),
        (
            onlay(not_applicable=["buccal_cusps", "lingual_cusps", "central_fossa"]),
            "/units/0/not_applicable",
            "At least one",
        ),
        (onlay(not_applicable=["roof"]), "/units/0/not_applicable/0", "roof"),
    ],
)
def test_what_cannot_be_left_out(asked, pointer, part):
    with pytest.raises(InvalidPayload) as refused:
        parse_check({"units": [asked]}, rule_set=SHIPPED)
    (fault,) = refused.value.faults
    assert fault.pointer == pointer
    assert part in fault.text()
