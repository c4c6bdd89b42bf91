"""Rule sets as text: written and read back they are the same set."""

import pytest
from hypothesis import given, settings

from rules.parse import LARGEST_TOML, parse_rule_set, parse_toml
from rules.toml_text import to_toml
from tests.rules.builders import SHIPPED
from tests.rules.rule_sets import rule_sets
from tests.rules.test_parse import small
from tests.rules.test_rule_set_lines import FULL


@pytest.mark.parametrize("rule_set", [SHIPPED, FULL, parse_rule_set(small())])
def test_the_text_reads_back_equal(rule_set):
    text = to_toml(rule_set)
    again = parse_toml(text)
    assert again == rule_set
    assert again.digest == rule_set.digest
    assert to_toml(again) == text
    assert len(text.encode()) < LARGEST_TOML / 4


def test_a_need_stands_on_one_line_with_its_lengths_as_numbers():
    text = to_toml(FULL)
    (line,) = [row for row in text.splitlines() if '"no wall"' in row]
    assert line.startswith('  { site = "central_fossa", quantity = "clearance", ')
    assert "min_mm = 1.4, target_mm = 1.4, max_mm = 2.0" in line
    assert 'alternatives = [{ min_mm = 0.0, source = "a text", note = "no wall" }]' in (
        line
    )
    assert text.count("[[groups]]") == 2


def test_a_sum_is_written_as_its_thickness():
    text = to_toml(SHIPPED)
    assert "thickness_mm = 0.5" in text
    assert 'min_mm = 0.7, target_mm = 1.0, source = "Weigl' not in text


def test_quotes_backslashes_and_hashes_survive():
    data = small()
    said = 'a "b" \\ # c = [1] — é'
    data["needs"][0]["note"] = said
    found = parse_toml(to_toml(parse_rule_set(data)))
    assert found.needs[0].note == said


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(rule_sets())
def test_round_trips_are_identity(rule_set):
    by_text = parse_toml(to_toml(rule_set))
    by_values = parse_rule_set(rule_set.dump())
    assert by_text == by_values == rule_set
    assert by_text.digest == by_values.digest == rule_set.digest
