"""Reading a drawing back, the way a program that knows nothing of ours would."""

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
