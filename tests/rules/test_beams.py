"""Beams, connectors and strength classes against published and recomputed values."""

from decimal import Decimal as D

import pytest

from rules.beams import (
    beam_deflection,
    beam_stress,
    connector_areas,
    deflection_index,
    iso_6872_class_needed,
    iso_22674_type_needed,
    section_modulus,
)
from rules.terms import Cementation, Kind

ADHESIVE, CONVENTIONAL = Cementation.ADHESIVE, Cementation.CONVENTIONAL


# Law of beams (Shillingburg et al.): two pontics bend 8 times, three 27 times as much
# as one; half the height bends 8 times as much.
@pytest.mark.parametrize(
    ("pontics", "height", "index"),
    [(1, 4, 1), (2, 4, 8), (3, 4, 27), (1, 2, 8), (2, 2, 64)],
)
def test_deflection_index(pontics, height, index):
    assert deflection_index(pontics, D(height), D(4)) == index


def test_deflection_index_of_a_height_as_it_is():
    assert [deflection_index(n) for n in (1, 2, 3)] == [1, 8, 27]


# F 500 N, E 210 GPa, b 4 mm: recomputed from the formulas of a simply supported beam
# with a central load (any textbook of strength of materials).
@pytest.mark.parametrize(
    ("length", "height", "micrometres", "stress"),
    [
        (8, 4, 1.1905, 93.75),
        (16, 4, 9.5238, 187.5),
        (24, 4, 32.1429, 281.25),
        (8, 2, 9.5238, 375),
        (16, 2, 76.1905, 750),
    ],
)
def test_deflection_and_stress(length, height, micrometres, stress):
    bent = beam_deflection(500, length, 210_000, 4, height)
    assert bent * 1000 == pytest.approx(micrometres, abs=5e-5)
    assert beam_stress(500, length, 4, height) == pytest.approx(stress)
    index = deflection_index(length // 8, D(height), D(4))
    first = beam_deflection(500, 8, 210_000, 4, 4)
    assert bent / first == pytest.approx(float(index))


# 12 mm2 as 4 high and 3 wide against 3 high and 4 wide (recomputed).
def test_height_is_worth_more_than_width():
    assert section_modulus(D(3), D(4)) == 8
    assert section_modulus(D(4), D(3)) == 6


def test_a_connector_lies_between_ellipse_and_rectangle():
    least, most = connector_areas(D(4), D(3))
    assert most == 12
    assert float(least) == pytest.approx(9.42478, abs=1e-5)


# ISO 6872:2015, table 1 (from memory, to be confirmed).
@pytest.mark.parametrize(
    ("teeth", "kind", "cementation", "needed"),
    [
        (["11"], Kind.CROWN, ADHESIVE, 1),
        (["11"], Kind.CROWN, CONVENTIONAL, 3),
        (["14"], Kind.VENEER, ADHESIVE, 1),
        (["36"], Kind.ONLAY, ADHESIVE, 1),
        (["36"], Kind.CROWN, ADHESIVE, 2),
        (["36"], Kind.CROWN, CONVENTIONAL, 3),
        (["13", "14", "15"], Kind.RETAINER, ADHESIVE, 3),
        (["34", "35"], Kind.RETAINER, CONVENTIONAL, 3),
        (["34", "35", "36"], Kind.RETAINER, CONVENTIONAL, 4),
        (["12", "11", "21", "22"], Kind.RETAINER, CONVENTIONAL, 5),
    ],
)
def test_class_of_a_ceramic_span(teeth, kind, cementation, needed):
    assert iso_6872_class_needed(teeth, kind, cementation) == needed


# ISO 22674 uses by type (a laboratory's summary of the standard).
@pytest.mark.parametrize(
    ("units", "implants", "needed"), [(1, False, 2), (3, False, 3), (4, False, 4)]
)
def test_type_of_a_metal_span(units, implants, needed):
    assert iso_22674_type_needed(units, implants=implants) == needed
    assert iso_22674_type_needed(units, implants=True) == 4
