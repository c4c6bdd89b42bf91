"""Tables of the audit as CSV: read back exactly, safe in a spreadsheet, honest."""

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.audit.report_types import CauseRow, KeptUnmade
from cases.documents.audit_csv import (
    HIDDEN,
    Cell,
    Table,
    about,
    file_name,
    text_cell,
    written,
)
from cases.documents.audit_tables import NAMES, table_of
from cases.errors import NotFound
from tests.cases.documents.audit_samples import AS_OF, SETUP, rate, report

BEFORE = about(
    as_of=AS_OF, first=SETUP.first, last=SETUP.last, filters={"material": "zirconia_3y"}
)


def _read(content: bytes) -> list[list[str]]:
    text = content.decode("utf-8")
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def _rows(table: Table) -> list[dict[str, str]]:
    head, *rows = _read(written(table, before=BEFORE))
    return [dict(zip(head, row, strict=True)) for row in rows]


def _one(*cells: Cell) -> list[str]:
    columns = tuple(f"c{i}" for i in range(len(cells)))
    (row,) = _read(written(Table("t", columns, (cells,)), before=()))[1:]
    return row


# Every character UTF-8 can carry.
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


@pytest.mark.property
@given(st.lists(st.tuples(TEXTS, TEXTS), max_size=6))
def test_any_text_is_read_back_as_it_was_written(texts):
    table = Table("t", ("a", "b"), tuple(texts))
    rows = _read(written(table, before=()))[1:]
    assert rows == [[text_cell(a), text_cell(b)] for a, b in texts]


@pytest.mark.property
@given(TEXTS, st.sampled_from("=+-@\t\r\n\x00＝＋－＠"))
def test_no_text_begins_a_formula(text, sign):
    (cell,) = _one(sign + text)
    assert cell == f"'{sign}{text}"


@pytest.mark.property
@given(st.integers(-(10**15), 10**15), st.floats(-1e6, 1e6))
def test_numbers_stay_numbers(whole, share):
    whole_cell, share_cell = _one(whole, share)
    assert int(whole_cell) == whole
    assert float(share_cell) == pytest.approx(share, abs=5e-7)


def test_a_formula_in_a_name_computes_nothing():
    attack = '=HYPERLINK("http://x","y")'
    rows = report(headline=(rate("remade", 20, 6, label=attack),))
    (row,) = _rows(table_of(rows, "headline"))
    assert row["label"] == f"'{attack}"
    assert (row["n"], row["count"]) == ("20", "6")


def test_lines_end_as_rfc_4180_says_and_quotes_are_doubled():
    table = Table("t", ("a", "b"), (('say "x"', "one,\r\ntwo"),))
    assert written(table, before=()) == (
        b'data_as_of,period_from,period_to,filter,a,b\r\n"say ""x""","one,\r\ntwo"\r\n'
    )


def test_every_row_says_moment_period_and_filter():
    for name in NAMES:
        for row in _rows(table_of(report(), name)):
            assert row["data_as_of"] == "2026-10-31T06:30:00+00:00"
            assert (row["period_from"], row["period_to"]) == ("2026-07", "2026-09")
            assert row["filter"] == "material=zirconia_3y"


def test_no_filter_is_said_too():
    assert about(as_of=AS_OF, first=SETUP.first, last=SETUP.last, filters={})[3] == (
        "none"
    )


def test_what_is_hidden_is_a_word_and_no_number_beside_it_tells_it():
    bridge, total = (
        row for row in _rows(table_of(report(), "rates-kind")) if row["hidden"]
    )
    for row, why in ((bridge, "small"), (total, "secondary")):
        assert row["hidden"] == why
        assert {row[c] for c in ("count", "rate", "low", "high")} == {"hidden"}
    assert bridge["n"] == "105"


def test_too_few_for_a_rate_hides_the_rate_and_not_the_count():
    table = report(headline=(rate("remade", 7, 0, hidden="few"),))
    (row,) = _rows(table_of(table, "headline"))
    assert (row["n"], row["count"], row["rate"]) == ("7", "0", "hidden")
    assert row["hidden"] == "few"


def test_nothing_to_divide_by_is_empty_and_not_hidden():
    (row,) = _rows(table_of(report(headline=(rate("remade", 0, 0),)), "headline"))
    assert (row["count"], row["rate"], row["hidden"]) == ("0", "", "")


def test_attributions_and_places_are_tables_of_their_own():
    made = report(
        attributions=(rate("clinic", 31, 16), rate("others", 31, 15)),
        detected=(rate("seating", 31, 31),),
    )
    clinic, others = _rows(table_of(made, "attributions"))
    assert (clinic["key"], clinic["n"], clinic["count"]) == ("clinic", "31", "16")
    assert others["count"] == "15"
    assert [row["key"] for row in _rows(table_of(made, "detected"))] == ["seating"]
    assert "attributed_clinic" not in table_of(made, "causes").columns


def test_a_small_count_before_dispatch_is_hidden():
    rows = (
        CauseRow("shade", "Shade", 11, None, 0.5, 0.5),
        CauseRow("fracture", "Fracture", 0, 7, 0.0, 0.5),
    )
    shade, fracture = _rows(table_of(report(causes=rows), "causes"))
    assert shade["remade_before_dispatch"] == "hidden"
    assert (shade["remade"], shade["hidden"]) == ("11", "")
    assert fracture["remade_before_dispatch"] == "7"


def test_a_clinic_learns_nothing_of_what_was_made_again_before_dispatch():
    clinic = report(setup=replace(SETUP, viewer="clinic"))
    assert "remade_before_dispatch" in table_of(report(), "causes").columns
    assert "remade_before_dispatch" not in table_of(clinic, "causes").columns


def test_hidden_points_clinics_bars_and_steps_stay_hidden():
    september = _rows(table_of(report(), "control-chart"))[2]
    assert september["signal"] == september["rate"] == september["count"] == "hidden"
    west = _rows(table_of(report(), "funnel"))[2]
    assert west["place"] == west["count"] == "hidden"
    assert _rows(table_of(report(), "waiting"))[-1]["count"] == "hidden"
    assert _rows(table_of(report(), "flow"))[1]["count"] == "hidden"
    unmade = report(time_to_remake=KeptUnmade((), "small"))
    (row,) = _rows(table_of(unmade, "time-to-remake"))
    assert (row["share_remade"], row["hidden"]) == ("hidden", "small")


def test_a_finding_is_written_out():
    (row,) = _rows(table_of(report(), "findings"))
    assert row["finding"] == "Clinic South: 11.7 % of 205 restorations were made again."
    assert row["certainty"] == "Exact binomial, p = 0.0004."


def test_a_table_nobody_has_does_not_exist():
    for name in ("rates-technician", "rates-", "cases.csv", "", "causes-material"):
        with pytest.raises(NotFound):
            table_of(report(), name)


def test_columns_and_cells_are_as_many():
    for name in NAMES:
        table = table_of(report(), name)
        assert table.rows, name
        assert {len(row) for row in table.rows} == {len(table.columns)}
        assert len(set(table.columns)) == len(table.columns)
    assert table_of(report(funnel=None), "funnel").rows == ()


def test_the_file_name_says_table_period_and_moment():
    name = file_name(
        "rates",
        as_of=datetime(2026, 10, 31, 6, 30, tzinfo=UTC),
        first=date(2026, 7, 1),
        last=date(2026, 9, 1),
    )
    assert name == "audit-rates_2026-07_2026-09_20261031T0630Z.csv"


def test_dates_truths_and_nothing_have_one_form():
    cells = _one(date(2026, 7, 1), True, False, None, HIDDEN, -0.0000001)
    assert cells == ["2026-07-01", "yes", "no", "", "hidden", "0.0"]


def test_what_is_no_finite_number_is_no_number():
    assert _one(float("inf"), float("nan"), float("-inf")) == ["", "", ""]
