"""The work order as a document: the bench's work ticket on paper.

Pure of the database: everything printed comes from the frozen content, except
the patient's line, which is kept apart so that it can be erased.
"""

import base64
from collections.abc import Mapping, Set
from dataclasses import dataclass
from typing import Any, Final

from django.template.loader import render_to_string
from django.utils.translation import gettext, override

from cases.canonical import canonical_json, sha256_hex
from cases.documents.fonts import FAMILY, faces_for
from cases.documents.moments import parsed
from cases.documents.order_sheet import (
    OrderSheet,
    PatientLine,
    Verification,
    order_sheet,
)
from cases.documents.pdf import MissingGlyphs, Source, write_pdf
from cases.documents.printable import printable, printable_content
from cases.drawings.glyphs import GLYPHS, glyph_svg
from cases.errors import DocumentError

__all__ = ["ATTACHED_NAME", "PAPERS", "PatientLine", "render_work_order"]

ATTACHED_NAME: Final = "case.json"
PAPERS: Final = ("A4", "Letter")
# One attempt finds every character without a glyph; the names that replace them
# are plain letters. More than these means a fault of ours.
_ATTEMPTS: Final = 4

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class _Order:
    """What one document is made of, before any text was changed."""

    content: Json
    patient: PatientLine
    verification: Verification
    paper: str
    language: str

    def source(self, missing: Set[str]) -> Source:
        """Return the markup with ``missing`` characters named."""
        patient = PatientLine(
            printable(self.patient.reference, missing),
            printable(self.patient.initials, missing),
            printable(self.patient.age_band, missing),
        )
        shown = printable_content(self.content, missing)
        return Source(
            html=self._html(order_sheet(shown, patient, self.verification)),
            attached_name=ATTACHED_NAME,
            attached=canonical_json(self.content),
            attached_about=gettext("The frozen content of this work order"),
            at=parsed(self.content["released_at"]),
        )

    def _html(self, sheet: OrderSheet) -> str:
        """Return the markup with the font files that its text needs."""
        context = {
            "order": sheet,
            "paper": self.paper,
            "language": self.language,
            "glyphs": [(v, _data_uri(glyph_svg(v, size=11))) for v in GLYPHS],
            "faces": (),
            "families": [FAMILY],
        }
        faces = faces_for(render_to_string("pdf/work_order.html", context))
        context["faces"] = faces
        context["families"] = list(dict.fromkeys(face.family for face in faces))
        return render_to_string("pdf/work_order.html", context)


def _data_uri(svg: str) -> str:
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


def render_work_order(
    *,
    content: Json,
    patient: PatientLine,
    verify_url: str,
    digest: str,
    paper: str = "A4",
    language: str = "en",
) -> bytes:
    """Return the work order as PDF/A-3a; the same input gives the same bytes.

    ``content`` is the frozen content (``services.work_order_content``), ``digest``
    the SHA-256 of its canonical JSON; that JSON is attached inside as
    ``case.json``. ``paper`` is "A4" or "Letter".

    Raises:
        DocumentError: the digest is not the content's, no such paper, or the
            machine lacks what documents need.
    """
    if digest != sha256_hex(canonical_json(content)):
        raise DocumentError("The digest is not that of the content.")
    if paper not in PAPERS:
        raise DocumentError("“{paper}” is no paper of documents.", paper=paper[:20])
    order = _Order(content, patient, Verification(digest, verify_url), paper, language)
    missing: frozenset[str] = frozenset()
    with override(language):
        for _attempt in range(_ATTEMPTS):
            try:
                return write_pdf(order.source(missing))
            except MissingGlyphs as found:
                missing |= found.characters
    raise DocumentError("Some characters cannot be printed on this machine.")
