"""What the rule core refuses, as values: pointer, message template, parameters.

Messages are English templates with {named} parameters, so that an interface can
translate the template and every parameter apart and fill in afterwards.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

__all__ = [
    "Fault",
    "InvalidNumber",
    "InvalidPayload",
    "InvalidRuleSet",
    "RulesError",
    "UnknownRuleSet",
    "UnknownTooth",
    "fill",
]


def _same(text: str) -> str:
    return text


def fill(
    template: str, params: dict[str, str], translate: Callable[[str], str] = _same
) -> str:
    """Return a template with its parameters filled in, each passed to translate."""
    # gettext answers the empty string with its catalogue header: never ask it that.
    words = {name: translate(value) if value else "" for name, value in params.items()}
    return translate(template).format(**words)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a document: JSON pointer (RFC 6901), message, parameters.

    ``line`` is the line of the text it was read from, counted from 1, where known.
    """

    pointer: str
    message: str
    params: dict[str, str] = field(default_factory=dict)
    line: int | None = None

    def text(self, translate: Callable[[str], str] = _same) -> str:
        """Return the sentence, translated where a translator is given."""
        return fill(self.message, self.params, translate)


class RulesError(Exception):
    """Base of everything the rule core raises on purpose."""


class InvalidNumber(RulesError, ValueError):
    """A text that is no length; carries the message template and parameters."""

    def __init__(self, message: str, **params: str) -> None:
        super().__init__(fill(message, params))
        self.message = message
        self.params = params


class UnknownTooth(RulesError, ValueError):
    """A tooth number outside the named numbering system."""

    def __init__(self, message: str, **params: str) -> None:
        super().__init__(fill(message, params))
        self.message = message
        self.params = params


class _Faulty(RulesError, ValueError):
    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{f.pointer}: {f.text()}" for f in self.faults))


class InvalidPayload(_Faulty):
    """A check request with faults; ``faults`` holds every one of them."""


class InvalidRuleSet(_Faulty):
    """A rule set with faults; ``faults`` holds every one of them."""


class UnknownRuleSet(RulesError, LookupError):
    """No rule set with this digest was ever shipped or published here."""

    def __init__(self, digest: str) -> None:
        super().__init__(f"no rule set has the digest {digest[:64]}")
        self.digest = digest
