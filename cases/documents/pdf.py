"""HTML to PDF/A-3a by WeasyPrint: no network, no foreign file, no missing glyph.

WeasyPrint is imported when a document is made: without Pango its import fails,
and then only documents fail.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cases.documents.fonts import FAMILY, WEIGHTS, font_bytes
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


def _drop_empty(entries: Any) -> None:
    """Drop empty lists of resources: a validator takes them for such in use."""
    for holder in (entries, entries.get("Resources")):
        for key in ("Pattern", "Shading"):
            if isinstance(holder, dict) and holder.get(key) == {}:
                del holder[key]


def _check_fonts(fonts: Iterable[Any]) -> None:
    """Refuse what WeasyPrint goes on with: another font, or empty boxes.

    Asked of the document and not of the log, which a setting may turn off.
    """
    used = {font.weight for font in fonts if font.family == FAMILY}
    if not used.issuperset(WEIGHTS):
        raise DocumentError("The font {name} cannot be loaded.", name=FAMILY)
    missing = {chr(code) for font in fonts for code in font.missing}
    if missing:
        raise MissingGlyphs(frozenset(missing))


def _finish(document: Any, pdf: Any) -> None:
    """Complete what WeasyPrint leaves open, before the file is written.

    Header cells get the direction they head (ISO 32000-1, 14.8.5.7, from memory),
    so that a screen reader names row and column of a figure, and the attached file
    is listed once.
    """
    _check_fonts(document.fonts.values())
    found: dict[Any, Any] = {}
    for row in pdf.objects:
        if isinstance(row, dict):
            entries: Any = row
            found[entries.reference] = entries
            _drop_empty(entries)
        else:
            _drop_empty(getattr(row, "extra", {}))
    for cell in found.values():
        if cell.get("S") == "/TH":
            group = found[found[cell["P"]]["P"]]
            cell["A"]["Scope"] = "/Column" if group["S"] == "/THead" else "/Row"
    files = pdf.catalog["AF"]
    files[:] = list(dict.fromkeys(files))


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
    try:
        content: bytes = page.write_pdf(
            pdf_variant=VARIANT, attachments=[attachment], finisher=_finish
        )
    except weasyprint.urls.FatalURLFetchingError as error:
        raise DocumentError("{problem}", problem=str(error)) from error
    return content
