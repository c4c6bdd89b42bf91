"""What people may write, and what stands on paper for it."""

import pytest

from cases.documents.fonts import covered, faces_for
from cases.documents.printable import printable, printable_content


@pytest.mark.parametrize(
    ("written", "printed"),
    [
        ("plain 1.5 mm ± 0.2", "plain 1.5 mm ± 0.2"),
        ("Łukasz Çelik Nguyễn Ελένη Иван", "Łukasz Çelik Nguyễn Ελένη Иван"),
        ("<b>&amp;</b> {{ x }}", "<b>&amp;</b> {{ x }}"),
        ("two\r\nlines\rand\nmore", "two\nlines\nand\nmore"),
        ("a\u2028b\u2029c", "a\nb\nc"),
        ("e\u0301", "é"),
        ("\U0001f600", "[grinning face]"),
        ("\U0001f44d\U0001f3fd", "[thumbs up sign][emoji modifier fitzpatrick type-4]"),
        ("\u2714\ufe0f", "[heavy check mark]"),
        ("\ue000", "[U+E000]"),
        ("\x00\x07\x1b[0m", "[0m"),
        ("abc\u202edef\u202c\u2066x\u2069", "abcdefx"),
        ("zero\u200bwidth\u200djoin\ufeff", "zerowidthjoin"),
        ("ideographic\u3000space", "ideographic space"),
        ("שלום", "שלום"),
        ("≥ 1.5", "≥ 1.5"),
    ],
)
def test_text_is_printed_as(written, printed):
    assert printable(written) == printed


def test_a_lone_half_of_a_pair_is_left_out():
    assert printable("a\ud83db") == "ab"


def test_a_pile_of_marks_keeps_its_first_three():
    assert printable("x" + "\u0336" * 40) == "x" + "\u0336" * 3


def test_what_no_font_has_is_named():
    assert printable("中a", frozenset("中")) == "[cjk unified ideograph-4e2d]a"
    # Never what our own fonts have, whatever a machine says.
    assert printable("a", frozenset("a")) == "a"


def test_content_is_walked_and_its_keys_stay():
    assert printable_content(
        {"\x00k": ["\x00a", {"n": 1, "f": 1.5, "none": None, "yes": True}]}
    ) == {"\x00k": ["a", {"n": 1, "f": 1.5, "none": None, "yes": True}]}


def test_our_fonts_have_every_sign_the_document_itself_uses():
    assert {ord(sign) for sign in "±·–…“”[]/“”’−"} <= covered()


def test_faces_are_those_a_text_needs():
    assert [face.part for face in faces_for("abc")] == ["latin"] * 2
    assert {face.part for face in faces_for("Łódź")} == {"latin", "latin-ext"}
    assert {face.part for face in faces_for("שלום")} == {"latin"}
    assert {face.weight for face in faces_for("")} == {400, 600}
