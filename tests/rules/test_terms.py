"""Closed lists and messages."""

from enum import StrEnum

from rules import terms
from rules.errors import Fault, InvalidPayload, UnknownRuleSet
from rules.terms import Doubt, Message, Verdict, label


def test_every_shown_word_has_its_own_label():
    lists = [
        item
        for item in vars(terms).values()
        if isinstance(item, type)
        and issubclass(item, StrEnum)
        and item not in (StrEnum, Doubt)
    ]
    assert len(lists) > 10
    for words in lists:
        labels = [label(word) for word in words]
        assert all("_" not in text for text in labels)
        assert len(set(labels)) == len(labels)
    codes = [word.value for words in lists for word in words]
    assert {c for c in codes if codes.count(c) > 1} <= {"functional_cusp"}


def test_a_term_without_label_shows_its_code():
    assert label(Doubt.NO_NEED) == "no_need"


def test_a_message_translates_template_and_parameters_apart():
    message = Message(
        "At the {site}: {low} mm{gap}.", {"site": "fossa", "low": "1.5", "gap": ""}
    )
    words = {
        "At the {site}: {low} mm{gap}.": "{site}: {low} mm{gap}!",
        "fossa": "Grube",
    }
    assert message.text() == "At the fossa: 1.5 mm."
    assert message.text(lambda text: words.get(text, text)) == ("Grube: 1.5 mm!")


def test_a_fault_reads_as_a_sentence():
    fault = Fault("/units/0/tooth", "“{tooth}” is no tooth.", {"tooth": "99"})
    assert fault.text() == "“99” is no tooth."
    assert str(InvalidPayload([fault])) == "/units/0/tooth: “99” is no tooth."
    assert UnknownRuleSet("ab").digest == "ab"


def test_verdicts_stand_from_worst_to_best():
    assert [v.value for v in Verdict] == [
        "insufficient",
        "undecided",
        "unmeasured",
        "sufficient",
        "not_applicable",
    ]
