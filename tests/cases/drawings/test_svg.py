import pytest

from cases.drawings.svg import document, escape, number, tag, text, text_width, wrap
from tests.cases.drawings.reading import SVG, parsed

HOSTILE = '<script>alert("1")</script> & \' ]]> \x00\x0b \ud800 "onload="x'


def test_escape_leaves_no_markup_and_no_character_outside_xml():
    assert escape(HOSTILE) == (
        "&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt; &amp; &#39; ]]&gt;   "
        "&quot;onload=&quot;x"
    )


def test_hostile_text_stays_text():
    root = parsed(
        document(
            width=10, height=10, title=HOSTILE, describe=HOSTILE, uid='a" onload="b',
            class_="chart", body=[text(0, 0, HOSTILE)],
        )
    )  # fmt: skip
    assert [child.tag for child in root] == [f"{SVG}title", f"{SVG}desc", f"{SVG}text"]
    assert root.get("onload") is None
    assert "<script>" in (root[2].text or "")


@pytest.mark.parametrize(
    ("uid", "expected"),
    [("chart-36", "chart-36-t"), ("a b\"<'", "ab-t"), ("", "drawing-t")],
)
def test_document_is_named_by_ids_made_from_uid(uid, expected):
    root = parsed(
        document(
            width=1, height=1, title="T", describe="D", uid=uid, class_="c", body=[]
        )
    )
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == expected == root[0].get("id")
    assert root.get("aria-describedby") == root[1].get("id")
    assert (root[0].text, root[1].text) == ("T", "D")


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0, "0"),
        (-0.001, "0"),
        (1.0, "1"),
        (2.456, "2.46"),
        (-3.5, "-3.5"),
        (100, "100"),
    ],
)
def test_number_is_short(value, shown):
    assert number(value) == shown


def test_tag_leaves_out_what_is_none():
    assert (
        tag("g", class_="a", fill=None, stroke_width=2)
        == '<g class="a" stroke-width="2"/>'
    )


@pytest.mark.parametrize(
    "words",
    ["short by up to 0.5", "x" * 300, "maximal intercuspation " * 9, "W" * 40 + " ii"],
)
def test_wrap_keeps_every_character_and_the_column(words):
    lines = wrap(words, size=13, width=120)
    assert "".join(lines).replace(" ", "") == words.replace(" ", "")
    assert max(text_width(line, 13) for line in lines) <= 120


def test_wrap_of_nothing_is_nothing():
    assert wrap("  ", size=13, width=100) == []
