"""Reading untrusted documents: typed access that collects every fault.

Nothing here recurses: each function looks at one value and says what is wrong with
it at its JSON pointer; the caller walks the levels it knows.
"""

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Any, TypeVar

from rules.errors import Fault, InvalidNumber
from rules.readings import parse_mm

__all__ = [
    "Faults",
    "Read",
    "at",
    "choice",
    "choices",
    "flag",
    "length",
    "shown",
    "text",
]

T = TypeVar("T", bound=StrEnum)

# One object with thousands of unknown keys would make an answer larger than the
# question; the first ones are enough to find the mistake.
_UNKNOWN_NAMED = 10
_SHOWN = 40
_LARGE = 10**12


def _(text: str) -> str:
    return text


def at(pointer: str, key: str | int) -> str:
    """Return the JSON pointer (RFC 6901) of a key or index under a pointer."""
    escaped = str(key)[:_SHOWN].replace("~", "~0").replace("/", "~1")
    return f"{pointer}/{escaped}"


def shown(value: object) -> str:
    """Return a value as it may be repeated in a message: short, one line."""
    if isinstance(value, str):
        text = "".join(c if c.isprintable() else "?" for c in value[:_SHOWN])
        return text + ("…" if len(value) > _SHOWN else "")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        # Python refuses to print integers of many thousand digits.
        return str(value) if abs(value) < _LARGE else "…"
    if isinstance(value, float | Decimal):
        return str(value)[:_SHOWN]
    return {dict: "{…}", list: "[…]", tuple: "[…]", type(None): "null"}.get(
        type(value), "…"
    )


class Faults:
    """A list of faults that grows while a document is read."""

    def __init__(self) -> None:
        self.items: list[Fault] = []

    def add(self, pointer: str, message: str, **params: str) -> None:
        """Note one fault."""
        self.items.append(Fault(pointer, message, params))

    def mapping(
        self,
        value: object,
        pointer: str,
        *,
        required: Iterable[str] = (),
        optional: Iterable[str] = (),
    ) -> dict[str, object] | None:
        """Return a JSON object's known keys; faults for missing and unknown ones."""
        if not isinstance(value, dict):
            self.add(pointer, _("An object with named fields belongs here."))
            return None
        needed, known = tuple(required), {*required, *optional}
        unknown = [str(key) for key in value if key not in known]
        for key in unknown[:_UNKNOWN_NAMED]:
            self.add(
                at(pointer, key),
                _("“{key}” is not a field here. Known fields: {known}."),
                key=shown(key),
                known=", ".join(sorted(known)),
            )
        if len(unknown) > _UNKNOWN_NAMED:
            self.add(
                pointer,
                _("{count} more fields are not known here."),
                count=str(len(unknown) - _UNKNOWN_NAMED),
            )
        for key in needed:
            if key not in value:
                self.add(at(pointer, key), _("“{key}” is missing: state it."), key=key)
        return {key: item for key, item in value.items() if key in known}

    def sequence(
        self, value: object, pointer: str, *, at_most: int, at_least: int = 0
    ) -> list[object] | None:
        """Return a JSON array within its length limits."""
        if not isinstance(value, list | tuple):
            self.add(pointer, _("A list belongs here."))
            return None
        if len(value) > at_most:
            self.add(
                pointer,
                _("At most {limit} entries are read here, {count} were sent."),
                limit=str(at_most),
                count=str(len(value)),
            )
            return None
        if len(value) < at_least:
            self.add(
                pointer,
                _("At least {limit} entry belongs here."),
                limit=str(at_least),
            )
            return None
        return list(value)

    def choice(self, value: object, pointer: str, words: type[T]) -> T | None:
        """Return a word of a closed list."""
        if isinstance(value, str) and value in set(words):
            return words(value)
        self.add(
            pointer,
            _("“{value}” is not one of: {known}."),
            value=shown(value),
            known=", ".join(words),
        )
        return None

    def choices(
        self, value: object, pointer: str, words: type[T], *, at_least: int = 0
    ) -> tuple[T, ...]:
        """Return distinct words of a closed list, in the order written."""
        items = self.sequence(value, pointer, at_most=len(words), at_least=at_least)
        found: list[T] = []
        for index, item in enumerate(items or ()):
            word = self.choice(item, at(pointer, index), words)
            if word in found:
                self.add(at(pointer, index), _("“{value}” stands twice."), value=word)
            elif word is not None:
                found.append(word)
        return tuple(found)

    def text(self, value: object, pointer: str, *, at_most: int) -> str | None:
        """Return a non-empty text of limited length."""
        if isinstance(value, str) and 0 < len(value) <= at_most:
            return value
        self.add(
            pointer,
            _("A text of 1 to {limit} characters belongs here."),
            limit=str(at_most),
        )
        return None

    def flag(self, value: object, pointer: str) -> bool:
        """Return true or false; anything else is a fault and false."""
        if isinstance(value, bool):
            return value
        self.add(pointer, _("Only true or false belongs here."))
        return False

    def number(
        self,
        value: object,
        pointer: str,
        *,
        minimum: Decimal,
        maximum: Decimal,
        places: int = 2,
    ) -> Decimal | None:
        """Return a length through the one strict pattern of ``parse_mm``."""
        try:
            return parse_mm(value, minimum=minimum, maximum=maximum, places=places)
        except InvalidNumber as error:
            self.add(pointer, error.message, **error.params)
            return None

    def fields(
        self,
        value: object,
        pointer: str,
        *,
        required: Mapping[str, "Read"],
        optional: Mapping[str, "Read"],
    ) -> dict[str, Any]:
        """Return the fields of an object that could be read; faults for the others."""
        row = self.mapping(
            value, pointer, required=tuple(required), optional=tuple(optional)
        )
        found: dict[str, Any] = {}
        for key, read in {**required, **optional}.items():
            if row is None or key not in row:
                continue
            before = len(self.items)
            item = read(self, row[key], at(pointer, key))
            if len(self.items) == before:
                found[key] = item
        return found


Read = Callable[[Faults, object, str], Any]


def text(at_most: int) -> Read:
    """Read a text of at most so many characters."""
    return lambda faults, value, pointer: faults.text(value, pointer, at_most=at_most)


def choice(words: type[StrEnum]) -> Read:
    """Read a word of a closed list."""
    return lambda faults, value, pointer: faults.choice(value, pointer, words)


def choices(words: type[StrEnum], *, at_least: int = 0) -> Read:
    """Read a list of distinct words of a closed list."""
    return lambda faults, value, pointer: faults.choices(
        value, pointer, words, at_least=at_least
    )


def flag(faults: Faults, value: object, pointer: str) -> bool:
    """Read true or false."""
    return faults.flag(value, pointer)


def length(minimum: str, maximum: str, places: int = 2) -> Read:
    """Read a number in a range, in mm where it is a length."""
    least, most = Decimal(minimum), Decimal(maximum)
    return lambda faults, value, pointer: faults.number(
        value, pointer, minimum=least, maximum=most, places=places
    )
