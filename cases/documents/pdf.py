"""HTML to PDF/A-3a by WeasyPrint: no network, no foreign file, no missing glyph.

WeasyPrint is imported when a document is made: without Pango its import fails,
and then only documents fail.
"""

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cases.documents.fonts import font_bytes
from cases.errors import DocumentError

__all__ = ["MissingGlyphs", "Source", "fetcher", "write_pdf"]

VARIANT = "pdf/a-3a"
_NOT_ALLOWED = "A document may not load {address}."
_NO_PANGO = (
    "Documents need the library Pango, which this machine lacks. Install it: apt-get "
    "install --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 "
    "libharfbuzz-subset0"
)


class MissingGlyphs(Exception):
    """Characters that no font of this machine has; PDF/A does not allow them."""

    def __init__(self, characters: frozenset[str]) -> None:
        super().__init__(sorted(characters))
        self.characters = characters


@dataclass(frozen=True, slots=True)
class Source:
    """A document to be: its markup, and one file to carry inside.

    ``at`` dates the attachment, so that the same input gives the same bytes.
    """

    html: str
    attached_name: str
    attached: bytes
    attached_about: str
    at: datetime


class _FontLog(logging.Handler):
    """Collects what WeasyPrint says about fonts and would go on without."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.characters: set[str] = set()
        self.unusable: list[str] = []
        self._thread = threading.get_ident()

    def emit(self, record: logging.LogRecord) -> None:
        """Take note of a character without a glyph and of a font not loaded."""
        if record.thread != self._thread:
            return
        if record.msg.startswith(".notdef"):
            arguments: Any = record.args
            self.characters.add(chr(arguments[1]))
        elif record.msg.startswith("Font-face"):
            self.unusable.append(record.getMessage())


@contextmanager
def _font_log() -> Iterator[_FontLog]:
    handler = _FontLog()
    logger = logging.getLogger("weasyprint")
    logger.addHandler(handler)
    try:
        yield handler
    finally:
        logger.removeHandler(handler)


def _weasyprint() -> Any:
    try:
        import weasyprint
    except OSError as error:
        raise DocumentError(_NO_PANGO) from error
    return weasyprint


def fetcher() -> Any:
    """Return the only way a document gets resources: ``data:`` and ``font:``.

    Anything else stops the rendering, also where WeasyPrint would go on without.

    Raises:
        DocumentError: Pango is missing.
    """
    urls = _weasyprint().urls

    class OwnOnly(urls.URLFetcher):  # type: ignore[misc, name-defined]  # -- imported late
        """Serves our fonts; refuses every other address."""

        def __init__(self) -> None:
            super().__init__(allowed_protocols={"data"}, allow_redirects=False)

        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            """Return the resource, or stop the rendering."""
            if url.startswith("data:"):
                return super().fetch(url, headers)
            if not url.startswith("font:"):
                raise urls.FatalURLFetchingError(_NOT_ALLOWED.format(address=url[:80]))
            try:
                content = font_bytes(url.removeprefix("font:"))
            except DocumentError as error:
                raise urls.FatalURLFetchingError(error.text()) from error
            return urls.URLFetcherResponse(url, content, {"Content-Type": "font/woff2"})

    return OwnOnly()


def _finish(_document: Any, pdf: Any) -> None:
    """Complete what WeasyPrint leaves out, before the file is written.

    Header cells get the direction they head (ISO 32000-1, 14.8.5.7, from memory),
    so that a screen reader names row and column of a figure; empty resource lists
    go, because validators cannot tell them from patterns and shadings in use.
    """
    found: dict[Any, Any] = {}
    for row in pdf.objects:
        is_stream = not isinstance(row, dict)
        entries: Any = getattr(row, "extra", {}) if is_stream else row
        if not is_stream:
            found[entries.reference] = entries
        for holder in (entries, entries.get("Resources")):
            for key in ("Pattern", "Shading"):
                if isinstance(holder, dict) and holder.get(key) == {}:
                    del holder[key]
    for cell in found.values():
        if cell.get("S") == "/TH":
            group = found[found[cell["P"]]["P"]]
            cell["A"]["Scope"] = "/Column" if group["S"] == "/THead" else "/Row"


def write_pdf(source: Source) -> bytes:
    """Return the document as PDF/A-3a with its file attached (relation Data).

    Raises:
        MissingGlyphs: characters no font here has; print something else for them.
        DocumentError: Pango or a font is missing, or the markup asked for a
            resource from elsewhere.
    """
    weasyprint = _weasyprint()
    attachment = weasyprint.Attachment(
        string=source.attached,
        name=source.attached_name,
        description=source.attached_about,
        created=source.at,
        modified=source.at,
        relationship="Data",
    )
    page = weasyprint.HTML(
        string=source.html, base_url="about:blank", url_fetcher=fetcher()
    )
    with _font_log() as log:
        try:
            content: bytes = page.write_pdf(
                pdf_variant=VARIANT, attachments=[attachment], finisher=_finish
            )
        except weasyprint.urls.FatalURLFetchingError as error:
            raise DocumentError("{problem}", problem=str(error)) from error
    if log.unusable:
        raise DocumentError("{problem}", problem=log.unusable[0])
    if log.characters:
        raise MissingGlyphs(frozenset(log.characters))
    return content
