"""Repeated rows of a page: gaps, blanks, and the way back from a pointer."""

from cases.errors import Invalid, InvalidField
from cases.forms.rows import (
    MAX_ROWS,
    field_name,
    placed_faults,
    read_rows,
    row_numbers,
)

FIELDS = ("tooth", "value_mm")


def test_rows_come_in_order_with_their_numbers():
    data = {"readings-10-tooth": "36", "readings-2-tooth": "16", "other-1-tooth": "11"}
    assert row_numbers(data, "readings") == [2, 10]


def test_a_row_with_only_presets_is_blank():
    data = {
        "readings-0-tooth": "36",
        "readings-0-value_mm": "  ",
        "readings-1-tooth": "36",
        "readings-1-value_mm": " 1,5 ",
    }
    (row,) = read_rows(data, "readings", FIELDS, preset=("tooth",))
    assert row.number == 1
    assert row.filled() == {"tooth": "36", "value_mm": "1,5"}
    assert row.filled(without=("tooth",)) == {"value_mm": "1,5"}


def test_hostile_numbers_are_no_rows():
    data = {
        "readings-99999-tooth": "36",
        "readings--1-tooth": "36",
        "readings-٣-tooth": "36",
        "readings-x-tooth": "36",
    }
    assert row_numbers(data, "readings") == []
    many = {f"readings-{n}-tooth": "36" for n in range(MAX_ROWS + 50)}
    assert len(row_numbers(many, "readings")) == MAX_ROWS


def test_a_pointer_leads_back_to_the_field_that_was_typed():
    places = {"units": [0, 2], "units-2-readings": [5]}
    assert field_name("/units/1/readings/0/held_mm", places) == (
        "units-2-readings-5-held_mm"
    )
    assert field_name("/units/0/tooth", places) == "units-0-tooth"
    assert field_name("/units/7/tooth", places) == "units-7-tooth"
    assert field_name("/wanted_on", places) == "wanted_on"


def test_faults_keep_their_words():
    error = Invalid(
        InvalidField(
            "/readings/0/value_mm", "Enter at most {limit}.", (("limit", "20"),)
        )
    )
    assert placed_faults(error, {"readings": [3]}) == [
        ("readings-3-value_mm", "Enter at most 20.")
    ]
