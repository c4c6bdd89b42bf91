"""Tooth numbers: the whole table, and an independent package as second opinion."""

import pytest
import toothnotation

from rules.errors import UnknownTooth
from rules.teeth import (
    ALL_TEETH,
    PERMANENT_TEETH,
    arch,
    arch_order,
    faces,
    from_palmer,
    from_universal,
    neighbours,
    to_palmer,
    to_universal,
    tooth_class,
)

# Source: the three numbering systems as published (ISO 3950 two-digit, Universal,
# Palmer with quadrant letters), all 52 teeth: ISO = Universal = Palmer.
TABLE = """
11=8=UR1 12=7=UR2 13=6=UR3 14=5=UR4 15=4=UR5 16=3=UR6 17=2=UR7 18=1=UR8
21=9=UL1 22=10=UL2 23=11=UL3 24=12=UL4 25=13=UL5 26=14=UL6 27=15=UL7 28=16=UL8
31=24=LL1 32=23=LL2 33=22=LL3 34=21=LL4 35=20=LL5 36=19=LL6 37=18=LL7 38=17=LL8
41=25=LR1 42=26=LR2 43=27=LR3 44=28=LR4 45=29=LR5 46=30=LR6 47=31=LR7 48=32=LR8
51=E=URA 52=D=URB 53=C=URC 54=B=URD 55=A=URE
61=F=ULA 62=G=ULB 63=H=ULC 64=I=ULD 65=J=ULE
71=O=LLA 72=N=LLB 73=M=LLC 74=L=LLD 75=K=LLE
81=P=LRA 82=Q=LRB 83=R=LRC 84=S=LRD 85=T=LRE
"""
ROWS = [tuple(row.split("=")) for row in TABLE.split()]


def test_the_table_holds_all_teeth():
    assert [row[0] for row in ROWS] == list(ALL_TEETH)
    assert len(ALL_TEETH) == 52


@pytest.mark.parametrize(("tooth", "universal", "palmer"), ROWS)
def test_a_tooth_converts_both_ways(tooth, universal, palmer):
    assert to_universal(tooth) == universal
    assert from_universal(universal) == tooth
    assert to_palmer(tooth) == palmer
    assert from_palmer(palmer) == tooth


@pytest.mark.parametrize("tooth", ALL_TEETH)
def test_an_independent_package_agrees(tooth):
    # Reference: toothnotation 0.1.0 (PyPI, MIT), written by others.
    assert toothnotation.convert(tooth, "fdi", "universal") == to_universal(tooth)
    assert toothnotation.convert(tooth, "fdi", "palmer") == to_palmer(tooth)
    back = toothnotation.convert(to_palmer(tooth), "palmer", "fdi")
    assert from_palmer(to_palmer(tooth)) == back


@pytest.mark.parametrize(
    "text",
    [
        "00",
        "09",
        "10",
        "19",
        "20",
        "29",
        "39",
        "49",
        "56",
        "66",
        "76",
        "86",
        "90",
        "0",
        "1",
        "111",
        "UR6",
        "#36",
        "3६",
        "３６",
    ]
    + [""],
)
def test_no_tooth_in_iso_3950(text):
    with pytest.raises(UnknownTooth):
        to_universal(text)
    with pytest.raises(UnknownTooth):
        arch(text)


@pytest.mark.parametrize("text", ["0", "33", "U", "Z", "a", "", "01", "36 "])
def test_no_tooth_in_universal(text):
    with pytest.raises(UnknownTooth):
        from_universal(text)


@pytest.mark.parametrize("text", ["UR9", "UR0", "URF", "ur6", "XX1", "UR", "6", "UR٦"])
def test_no_tooth_in_palmer(text):
    with pytest.raises(UnknownTooth):
        from_palmer(text)


def test_the_message_names_the_tooth():
    with pytest.raises(UnknownTooth, match="“19” is no tooth in ISO 3950") as caught:
        to_universal("19")
    assert caught.value.params == {"tooth": "19"}
    assert "{tooth}" in caught.value.message


def test_class_and_arch():
    classes = {t: tooth_class(t).value for t in ("11", "23", "34", "45", "46", "38")}
    assert classes == {
        "11": "incisor",
        "23": "canine",
        "34": "premolar",
        "45": "premolar",
        "46": "molar",
        "38": "molar",
    }
    assert [tooth_class(t) for t in ("52", "63", "74", "85")] == [
        "incisor",
        "canine",
        "molar",
        "molar",
    ]
    assert [arch(t) for t in ("11", "28", "31", "48", "55", "65", "75", "85")] == [
        *["upper"] * 2,
        *["lower"] * 2,
        *["upper"] * 2,
        *["lower"] * 2,
    ]


def test_the_arch_runs_over_the_midline():
    upper = sorted((t for t in PERMANENT_TEETH if t[0] in "12"), key=arch_order)
    assert upper[:2] == ["18", "17"]
    assert upper[6:10] == ["12", "11", "21", "22"]
    assert neighbours("11") == ("12", "21")
    assert neighbours("31") == ("41", "32")
    assert neighbours("18") == ("17",)
    assert neighbours("38") == ("37",)


def test_teeth_face_only_across_the_arch_and_nearby():
    assert faces("36", "26")
    assert faces("36", "25")
    assert faces("11", "31")
    assert not faces("36", "16")
    assert not faces("36", "46")
    assert not faces("36", "37")
    assert not faces("36", "22")
