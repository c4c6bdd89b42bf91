"""Reading documents back: text, boxes, the file inside."""

import io
from collections.abc import Iterator
from functools import cache
from typing import Any

import weasyprint  # noqa: TID253 -- the tests look at its boxes
from pypdf import PdfReader

from cases.documents import work_order
from cases.documents.pdf import fetcher, write_pdf
from cases.documents.work_order import render_work_order
from tests.cases.documents import samples


@cache
def rendered(sample: str, **more: Any) -> bytes:
    """Return the document of a sample, made once per run."""
    body = getattr(samples, sample)()
    return render_work_order(**samples.render_arguments(body, **more))


@cache
def pages(document: bytes) -> tuple[str, ...]:
    """Return the text of every page, with single spaces."""
    reader = PdfReader(io.BytesIO(document))
    return tuple(" ".join(page.extract_text().split()) for page in reader.pages)


def text(document: bytes) -> str:
    """Return the text of all pages."""
    return " ".join(pages(document))


def unbroken(document: bytes) -> str:
    """Return the text without any space: lines may break anywhere."""
    return text(document).replace(" ", "")


def sources_of(monkeypatch, body: dict[str, Any], **more: Any) -> list[Any]:
    """Return what is handed to WeasyPrint, attempt by attempt."""
    seen = []

    def keep(source):
        seen.append(source)
        return write_pdf(source)

    monkeypatch.setattr(work_order, "write_pdf", keep)
    render_work_order(**samples.render_arguments(body, **more))
    return seen


def markup_of(monkeypatch, body: dict[str, Any]) -> str:
    """Return the markup of a body at the first attempt, without drawing it."""
    seen: list[Any] = []

    def keep(source: Any) -> bytes:
        seen.append(source)
        return b""

    monkeypatch.setattr(work_order, "write_pdf", keep)
    render_work_order(**samples.render_arguments(body))
    return seen[0].html


def laid_out(html: str) -> Any:
    """Return WeasyPrint's pages of a markup, with their boxes."""
    return weasyprint.HTML(
        string=html, base_url="about:blank", url_fetcher=fetcher()
    ).render()


def marks_of(page: Any) -> Iterator[tuple[Any, tuple[str, ...]]]:
    """Yield every text and picture of a page's body with the tags it stands in."""

    def walk(box: Any, tags: tuple[str, ...]) -> Iterator[tuple[Any, tuple[str, ...]]]:
        if getattr(box, "text", "").strip() or hasattr(box, "replacement"):
            yield box, tags
        for child in getattr(box, "children", ()):
            yield from walk(child, (*tags, str(child.element_tag)))

    root = page._page_box.children[0]
    yield from walk(root, (str(root.element_tag),))
