"""The fonts of documents: our own files, and the parts of them a text needs.

The page uses the same files, so that a drawing measures alike on both.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path

from fontTools.ttLib import TTFont, TTLibError  # type: ignore[import-untyped]  # -- has no types

from cases.errors import DocumentError

__all__ = ["FAMILY", "WEIGHTS", "Face", "covered", "faces_for", "font_bytes"]

FAMILY = "Source Sans 3"
_FOLDER = Path(__file__).resolve().parent.parent / "static" / "cases" / "fonts"
# In the order a character is looked up; the first part is always loaded.
_PARTS = ("latin", "latin-ext", "vietnamese", "greek", "cyrillic")
WEIGHTS = (400, 600)


@dataclass(frozen=True, slots=True)
class Face:
    """One font file: part of the family at one weight."""

    part: str
    weight: int

    @property
    def family(self) -> str:
        """Name by which the style calls it: every part has its own.

        WeasyPrint tells fonts apart by family, weight and style; parts under one
        name would be taken for one file, and print each other's glyphs.
        """
        return FAMILY if self.part == _PARTS[0] else f"{FAMILY} {self.part}"

    @property
    def file_name(self) -> str:
        """Name of the file, and what follows ``font:`` in its address."""
        return f"source-sans-3-{self.part}-{self.weight}-normal.woff2"


_FILES = {face.file_name for face in (Face(p, w) for p in _PARTS for w in WEIGHTS)}


def font_bytes(file_name: str) -> bytes:
    """Return a font file of ours.

    Raises:
        DocumentError: not one of our fonts, or the file is gone.
    """
    if file_name not in _FILES:
        raise DocumentError("“{name}” is no font of documents.", name=file_name[:60])
    try:
        return (_FOLDER / file_name).read_bytes()
    except OSError as error:
        raise DocumentError("The font {name} is missing.", name=file_name) from error


@lru_cache(maxsize=len(_PARTS))
def _characters(part: str) -> frozenset[int]:
    """Return what both weights of a part can print."""
    found: frozenset[int] | None = None
    for weight in WEIGHTS:
        name = Face(part, weight).file_name
        content = font_bytes(name)
        try:
            with TTFont(BytesIO(content), lazy=True) as font:
                own = frozenset(font.getBestCmap())
        except TTLibError as error:
            raise DocumentError("The font {name} is damaged.", name=name) from error
        found = own if found is None else found & own
    return found or frozenset()


@lru_cache(maxsize=1)
def covered() -> frozenset[int]:
    """Return the code points our fonts can print."""
    return frozenset().union(*(_characters(part) for part in _PARTS))


def faces_for(text: Iterable[str]) -> list[Face]:
    """Return the faces that print the characters of a text, fewest parts first."""
    wanted = {ord(character) for character in set(text)} & covered()
    parts = []
    for part in _PARTS:
        own = _characters(part)
        if part == _PARTS[0] or wanted & own:
            parts.append(part)
            wanted -= own
    return [Face(part, weight) for part in parts for weight in WEIGHTS]
