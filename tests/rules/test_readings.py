"""Strict number parsing, strip intervals, and how readings combine."""

from decimal import Decimal as D
from typing import Any

import pytest

from rules.errors import InvalidNumber
from rules.readings import (
    Interval,
    Reading,
    combine,
    parse_mm,
    plain,
    strip_interval,
)
from rules.terms import Method, Site


def read(value, minimum=0, maximum=20, places=2):
    return parse_mm(value, minimum=D(minimum), maximum=D(maximum), places=places)


@pytest.mark.parametrize(
    ("written", "length"),
    [
        ("1.5", "1.5"),
        ("1,5", "1.5"),
        (" 1.5 ", "1.5"),
        ("0", "0"),
        ("-0.0", "0"),
        ("-0", "0"),
        ("20", "20"),
        ("2,0", "2"),
        ("0.05", "0.05"),
        (0, "0"),
        (2, "2"),
        (1.5, "1.5"),
        (-0.0, "0"),
        (20.0, "20"),
        (0.1, "0.1"),
        (D("1.50"), "1.5"),
        (D("1.5000"), "1.5"),
        (D("2E0"), "2"),
    ],
)
def test_lengths_that_are_read(written, length):
    found = read(written)
    assert found == D(length)
    assert not found.is_signed()


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("1_5", "no number"),
        ("1,500", "two things"),
        ("1.500", "too many decimals"),
        ("1.500,0", "no number"),
        ("1e9", "no number"),
        ("1e0", "no number"),
        ("NaN", "no number"),
        ("inf", "no number"),
        ("", "no number"),
        (" ", "no number"),
        ("1.5 mm", "no number"),
        ("1 .5", "no number"),
        ("\t1.5", "no number"),
        ("1.5\n", "no number"),
        (".5", "no number"),
        ("5.", "no number"),
        ("01.5", "no number"),
        ("+1.5", "no number"),
        ("--1", "no number"),
        ("0x1", "no number"),
        ("١٫٥", "no number"),
        ("١.٥", "no number"),
        ("１.５", "no number"),
        ("1.5\u200b", "no number"),
        ("1.5\x00", "no number"),
        ("1.555", "too many decimals"),
        ("9" * 5000, "no number"),
        ("-1", "cannot be negative"),
        (-0.01, "cannot be negative"),
        ("20.01", "out of range"),
        (21, "out of range"),
        pytest.param(10**6000, "no number", id="huge"),
        pytest.param(-(10**6000), "no number", id="-huge"),
        (1e300, "no number"),
        (1.555, "too many decimals"),
        (0.1 + 0.2, "too many decimals"),
        (1e-9, "too many decimals"),
        (1e-300, "no number"),
        (float("nan"), "no number"),
        (float("inf"), "no number"),
        (D("NaN"), "no number"),
        (D("sNaN"), "no number"),
        (D("1E+999999"), "no number"),
        (D("1E-999999"), "no number"),
        (True, "A number belongs here"),
        (None, "A number belongs here"),
        ([1], "A number belongs here"),
        ({}, "A number belongs here"),
        (b"1.5", "A number belongs here"),
        (1j, "A number belongs here"),
    ],
)
def test_what_is_no_length_is_refused(written, words):
    with pytest.raises(InvalidNumber, match=words) as caught:
        read(written)
    assert len(str(caught.value)) < 120


def test_a_message_names_the_range():
    with pytest.raises(InvalidNumber, match=r"“25” is out of range: from 0 to 20\."):
        read("25")
    assert read("-3", minimum=-20) == D(-3)
    with pytest.raises(InvalidNumber, match="out of range: from -20 to 20"):
        read("-21", minimum=-20)


def test_four_places_where_allowed():
    assert read("0.1234", places=4) == D("0.1234")
    assert read("0,125", places=4) == D("0.125")
    with pytest.raises(InvalidNumber, match="two things"):
        read("1,125", places=4)


def test_plain_text_of_a_decimal():
    assert [plain(D(t)) for t in ("1.50", "2", "20", "0.0500", "1E+1")] == [
        "1.5",
        "2",
        "20",
        "0.05",
        "10",
    ]


def strip_of(**lengths):
    fields: dict[str, Any] = {f"{key}_mm": D(value) for key, value in lengths.items()}
    return Reading(Site.CENTRAL_FOSSA, Method.STRIP, None, **fields)


def interval_of(delta="0", drag="0.1", **lengths):
    return strip_interval(strip_of(**lengths), delta=D(delta), drag=D(drag))


# Vectors of interval-valued strips: slid t1, held t2 gives [t1, t2); all slid gives
# [t1, open); none slid gives [0, t2). By definition of the reading, no source.
@pytest.mark.parametrize(
    ("lengths", "low", "high", "closed"),
    [
        ({"passes": "1.0", "held": "1.5"}, "1.0", "1.5", False),
        ({"passes": "2.0"}, "2.0", None, False),
        ({"held": "1.0"}, "0", "1.0", False),
        ({"drags": "1.5"}, "1.4", "1.6", True),
        ({"drags": "0.05"}, "0", "0.15", True),
        ({"passes": "1.0", "drags": "1.5", "held": "2.0"}, "1.4", "1.6", True),
        ({"passes": "1.45", "drags": "1.5", "held": "1.55"}, "1.45", "1.55", False),
    ],
)
def test_a_strip_is_an_interval(lengths, low, high, closed):
    found = interval_of(**lengths)
    assert found == Interval(D(low), None if high is None else D(high), closed)


def test_strip_tolerance_widens_the_interval():
    assert interval_of(delta="0.05", passes="1.0", held="1.5") == Interval(
        D("0.95"), D("1.55")
    )
    assert interval_of(delta="0.05", passes="0.02").low == 0


def test_intervals_meet_or_miss():
    a, b = Interval(D(1), D(2)), Interval(D(2), D(3), closed=True)
    assert a.meet(b) is None
    assert Interval(D(1), D(2), closed=True).meet(b) == Interval(D(2), D(2), True)
    assert Interval(D(1)).meet(Interval(D(2))) == Interval(D(2))
    assert Interval(D(1)).meet(b) == b
    assert Interval(D(3), D(4)).meet(Interval(D(1), D(2))) is None


def test_a_range_touches_an_interval():
    half_open = Interval(D(1), D(2))
    assert half_open.touches(D(0), D(1))
    assert not half_open.touches(D(2), D(3))
    assert Interval(D(1), D(2), closed=True).touches(D(2), D(3))
    assert Interval(D(1)).touches(D(5), D(6))
    assert not Interval(D(1)).touches(D(0), D("0.9"))


def point_of(value, u=None, method=Method.OTHER):
    return Reading(
        Site.CENTRAL_FOSSA, method, None, value_mm=D(value), u_mm=D(u) if u else None
    )


def combined(*readings):
    return combine(readings, delta=D(0), drag=D("0.1"), u_of={Method.OTHER: D("0.25")})


def test_strips_intersect():
    found = combined(
        strip_of(passes="1.0"), strip_of(held="1.5"), strip_of(drags="1.2")
    )
    assert (found.low, found.high, found.disagreeing) == (D("1.1"), D("1.3"), False)
    assert found.point is None


def test_strips_that_miss_each_other_disagree():
    found = combined(strip_of(passes="1.5"), strip_of(held="1.0"), strip_of(passes="1"))
    assert found.disagreeing
    assert (found.low, found.high) == (D(0), None)


def test_points_agree_below_the_combined_uncertainty():
    # Limit 2 * sqrt(0.03^2 + 0.04^2) = 0.10 exactly; reaching it is disagreement.
    assert not combined(point_of("1.5", "0.03"), point_of("1.59", "0.04")).disagreeing
    assert combined(point_of("1.5", "0.03"), point_of("1.6", "0.04")).disagreeing


def test_the_smaller_uncertainty_governs_whatever_the_order():
    coarse, fine = point_of("1.6", "0.2"), point_of("1.5", "0.05")
    for order in ((coarse, fine), (fine, coarse)):
        found = combined(*order)
        assert (found.low, found.high, found.point.u) == (D("1.5"), D("1.5"), D("0.05"))
    a, b = point_of("1.6", "0.2"), point_of("1.5", "0.2")
    assert combined(a, b).low == combined(b, a).low == D("1.5")


def test_a_point_governs_over_an_interval_it_reaches():
    found = combined(strip_of(passes="1.5", held="2.0"), point_of("1.4", "0.1"))
    assert found.point.value == D("1.4")
    assert combined(strip_of(passes="1.5"), point_of("1.2", "0.1")).disagreeing
    # y - 2u just reaches the open end 1.0, which the interval does not hold.
    assert combined(strip_of(held="1.0"), point_of("1.2", "0.1")).disagreeing


def test_the_method_gives_the_uncertainty_that_was_not_stated():
    assert combined(point_of("1.5")).point.u == D("0.25")


def test_a_negative_scan_is_interpenetration():
    assert combined(point_of("-0.1", "0.05")).interpenetration
    assert not combined(point_of("0", "0.05")).interpenetration
