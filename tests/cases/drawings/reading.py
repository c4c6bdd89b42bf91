"""Reading a drawing back, the way a program that knows nothing of ours would."""

import re
from collections.abc import Iterator
from xml.etree import ElementTree as ET

SVG = "{http://www.w3.org/2000/svg}"


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 -- our own output, not a stranger's


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def joined(root: ET.Element) -> str:
    """All written words, wrapped lines put together again."""
    return " ".join(texts(root))


def groups(root: ET.Element, **wanted: str) -> Iterator[ET.Element]:
    for element in root.iter(f"{SVG}g"):
        if all(element.get(f"data-{key}") == value for key, value in wanted.items()):
            yield element


def verdicts(element: ET.Element) -> list[str]:
    found = (path.get("data-verdict") for path in element.iter(f"{SVG}path"))
    return [verdict for verdict in found if verdict]


def number(element: ET.Element, name: str) -> float:
    """Return an attribute that must be there as a number."""
    return float(element.attrib[name])


def matched(pattern: str, text: str) -> re.Match[str]:
    """Return where a pattern stands at the start of a text that must have it."""
    found = re.match(pattern, text)
    assert found is not None, text
    return found
