"""Connectors, convergence, dentine and retention of a request, fault by fault."""

from decimal import Decimal as D

import pytest

from rules.errors import InvalidPayload
from rules.payload import dump_request, parse_check
from rules.request import Connector
from rules.terms import Retention
from tests.rules.builders import SHIPPED, unit

BRIDGE = [
    unit(tooth="34", kind="retainer", span="A"),
    unit(tooth="35", kind="pontic", span="A"),
    unit(tooth="36", kind="retainer", span="A"),
]


def parse(units, **keys):
    return parse_check({"units": units, **keys}, rule_set=SHIPPED)


def faults(units, **keys):
    with pytest.raises(InvalidPayload) as caught:
        parse(units, **keys)
    return {fault.pointer: fault.text() for fault in caught.value.faults}


def connector(first, second, height=4, width=3):
    return {"between": [first, second], "height_mm": height, "width_mm": width}


def test_what_is_stated_of_a_bridge_is_read_and_written_back():
    body = [
        BRIDGE[0] | {"convergence_deg": "12.5", "dentine_mm": 2},
        *BRIDGE[1:],
    ]
    request = parse(body, connectors=[connector("35", "34", "4.1", 3)], explain=True)
    assert request.connectors == (Connector(("34", "35"), D("4.1"), D(3)),)
    assert (request.units[0].convergence_deg, request.units[0].dentine_mm) == (
        D("12.5"),
        D(2),
    )
    assert request.explain is True
    assert parse_check(dump_request(request), rule_set=SHIPPED) == request
    plain = parse(body)
    assert (plain.connectors, plain.explain) == ((), False)
    assert "connectors" not in dump_request(plain)
    assert "explain" not in dump_request(plain)


def test_a_connector_across_the_midline_joins_neighbours():
    units = [
        unit(tooth=tooth, kind="retainer", span="A") for tooth in ("12", "11", "21")
    ]
    read = parse(units, connectors=[connector("21", "11"), connector("12", "11")])
    assert [each.between for each in read.connectors] == [("11", "21"), ("12", "11")]


@pytest.mark.parametrize(
    ("given", "pointer", "message"),
    [
        (connector("34", "36"), "/connectors/0/between", "not neighbours"),
        (connector("34", "34"), "/connectors/0/between", "not neighbours"),
        (connector("34", "33"), "/connectors/0/between", "Tooth 33 is no unit"),
        (connector("36", "37"), "/connectors/0/between", "not of one span"),
        (connector("34", 35), "/connectors/0/between/1", "is no tooth"),
        (connector("34", "35", 0), "/connectors/0/height_mm", "from 0.1 to 20"),
        (connector("34", "35", 4, "20.01"), "/connectors/0/width_mm", "out of range"),
        ({"between": ["34"]}, "/connectors/0/between", "At least 2"),
        (connector("34", "35") | {"mm2": 9}, "/connectors/0/mm2", "not a field"),
        ([], "/connectors/0", "An object"),
    ],
)
def test_faulty_connectors_say_where(given, pointer, message):
    units = [*BRIDGE, unit(tooth="37")]
    assert message in faults(units, connectors=[given])[pointer]


def test_a_pair_is_stated_once_and_the_list_is_bounded():
    twice = [connector("34", "35"), connector("35", "34")]
    found = faults(BRIDGE, connectors=twice)
    assert found == {"/connectors/1/between": "The connector 34 to 35 stands twice."}
    many = faults(BRIDGE, connectors=[connector("34", "35")] * 31)
    assert "At most 30" in many["/connectors"]
    assert "true or false" in faults(BRIDGE, explain=1)["/explain"]


def test_only_an_implant_crown_has_a_retention():
    found = faults([unit(retention="screw")])
    assert "Only an implant crown" in found["/units/0/retention"]
    read = parse([unit(kind="implant_crown", retention="screw")])
    assert read.units[0].retention is Retention.SCREW
    assert parse_check(dump_request(read), rule_set=SHIPPED) == read


@pytest.mark.parametrize(
    ("key", "value"),
    [("convergence_deg", "90.1"), ("convergence_deg", -1), ("dentine_mm", 21)],
)
def test_figures_of_a_preparation_have_a_range(key, value):
    assert f"/units/0/{key}" in faults([unit(**{key: value})])
