"""Which line of a TOML text a value stands on.

``tomllib`` keeps no positions, so the text is walked once more, by tokens, and only
when there is a fault to place. The text must be valid TOML: what it means has been
settled by ``tomllib`` before.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace

from rules.errors import Fault
from rules.reader import at

__all__ = ["line_numbers", "placed"]

_TOKEN = re.compile(
    r'"""(?:\\.|(?!""").)*"{3,5}'
    r"|'''(?:(?!''').)*'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*|\n|[\[\]{},=.]"
    r"|[^\s\[\]{},=.\"'#]+",
    re.DOTALL,
)
_Token = tuple[str, int]


def placed(document: str, faults: Iterable[Fault]) -> list[Fault]:
    """Return the faults with the line of the nearest value that encloses each."""
    lines = line_numbers(document)
    return [replace(f, line=_nearest(lines, f.pointer)) for f in faults]


def _nearest(lines: dict[str, int], pointer: str) -> int | None:
    while pointer and pointer not in lines:
        pointer = pointer.rpartition("/")[0]
    return lines.get(pointer)


def line_numbers(document: str) -> dict[str, int]:
    """Return the line of every table, key and list entry, by JSON pointer."""
    walk = _Walk()
    for statement in _statements(document):
        walk.statement(statement)
    return walk.lines


def _tokens(document: str) -> Iterator[_Token]:
    line = 1
    for match in _TOKEN.finditer(document):
        text = match.group()
        if not text.startswith("#"):
            yield text, line
        line += text.count("\n")


def _statements(document: str) -> Iterator[list[_Token]]:
    """Yield headers and assignments; a value may go over several lines."""
    found: list[_Token] = []
    depth = 0
    for text, line in _tokens(document):
        if text == "\n":
            if depth == 0 and found:
                yield found
                found = []
            continue
        depth += (text in "[{") - (text in "]}")
        found.append((text, line))
    if found:
        yield found


class _Walk:
    """Pointers and lines, statement by statement."""

    def __init__(self) -> None:
        self.lines: dict[str, int] = {}
        self._table = ""
        # How many tables stand in each list of tables so far.
        self._counts: dict[str, int] = {}

    def statement(self, tokens: list[_Token]) -> None:
        texts = [text for text, _line in tokens]
        if texts[0] != "[":
            self._assignment(tokens, self._table)
            return
        listed = texts[1] == "["
        names = [_key(t) for t in texts[1 + listed : len(texts) - 1 - listed]]
        pointer = ""
        for name in [n for n in names if n != "."]:
            pointer = at(self._last(pointer), name)
        if listed:
            self._counts[pointer] = self._counts.get(pointer, -1) + 1
        self._table = self._last(pointer)
        self._note(pointer, tokens[0][1])
        self._note(self._table, tokens[0][1])

    def _last(self, pointer: str) -> str:
        """Return the table a pointer means: the last one of a list of tables."""
        count = self._counts.get(pointer)
        return pointer if count is None else at(pointer, count)

    def _note(self, pointer: str, line: int) -> None:
        self.lines.setdefault(pointer, line)

    def _assignment(self, tokens: list[_Token], pointer: str) -> None:
        """Note a key and everything inside its value, without recursion."""
        # Where a key is expected in an inline table, or an entry in a list.
        open_values: list[tuple[str, int | None]] = [(pointer, None)]
        path, keyed = pointer, False
        for text, line in tokens:
            base, index = open_values[-1]
            if text == ",":
                path, keyed = base, False
                if index is not None:
                    open_values[-1] = (base, index + 1)
            elif text in "]}":
                open_values.pop()
                keyed = True
            elif index is None and not keyed:
                path = self._key_token(text, line, base, path)
                keyed = text == "="
            else:
                place = path if index is None else at(base, index)
                self._note(place, line)
                if text in "[{":
                    open_values.append((place, 0 if text == "[" else None))
                    path, keyed = place, False

    def _key_token(self, text: str, line: int, base: str, path: str) -> str:
        """Return the path with one more part of a dotted key."""
        if text in ".=":
            if text == "=":
                self._note(path, line)
            return path
        return at(path, _key(text))


def _key(text: str) -> str:
    return text[1:-1] if text[0] in "\"'" else text
