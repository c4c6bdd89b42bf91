"""The audit of a quarter as a document: PDF/A-3a, its figures attached as JSON.

Nothing is read here: report, names and words come with the call. What is hidden in the
report is hidden in every table, picture and in the attached figures.
"""

from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, Final

from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.utils.translation import override

from cases.audit.filters import AuditFilters
from cases.audit.report_types import AuditReport
from cases.canonical import canonical_json, sha256_hex
from cases.charts.words import Words
from cases.documents.audit_data import whole
from cases.documents.audit_pictures import audit_pictures
from cases.documents.audit_sheet import Heading, audit_sheet
from cases.documents.fonts import FAMILY, faces_for
from cases.documents.pdf import MissingGlyphs, Source, write_pdf
from cases.documents.printable import printable
from cases.errors import DocumentError

__all__ = ["ATTACHED_NAME", "AuditPaper", "render_audit"]

ATTACHED_NAME: Final = "audit.json"
# As of the work order: one attempt finds every character without a glyph.
_ATTEMPTS: Final = 4


@dataclass(frozen=True, slots=True)
class AuditPaper:
    """What one document is made of.

    ``report`` is of the quarter, ``trend`` of the months that are charted.
    """

    report: AuditReport
    trend: AuditReport
    filters: AuditFilters
    heading: Heading
    words: Words
    paper: str = "A4"
    language: str = "en"


def _mapped(value: Any, change: Callable[[str], str]) -> Any:
    """Return the value with every text in it changed; keys of mappings stay."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, Mapping):
        return {key: _mapped(item, change) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return tuple(_mapped(item, change) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(
            value,
            **{
                one.name: _mapped(getattr(value, one.name), change)
                for one in fields(value)
            },
        )
    return value


def _source(paper: AuditPaper, missing: Set[str]) -> Source:
    """Return the markup with ``missing`` characters named, and what is attached."""

    def change(text: str) -> str:
        return printable(text, missing)

    report = _mapped(paper.report, change)
    trend = _mapped(paper.trend, change)
    words = replace(paper.words, labels=report.setup.labels)
    attached = canonical_json(whole(paper.report, paper.filters))
    context: dict[str, Any] = {
        "sheet": audit_sheet(
            report,
            trend=trend,
            heading=_mapped(paper.heading, change),
            pictures=audit_pictures(report, trend=trend, words=words),
        ),
        "digest": sha256_hex(attached),
        "attached_name": ATTACHED_NAME,
        "paper": paper.paper,
        "language": paper.language,
        "glyphs": (),
        "faces": (),
        "families": [FAMILY],
    }
    faces = faces_for(render_to_string("pdf/audit.html", context))
    context["faces"] = faces
    context["families"] = list(dict.fromkeys(face.family for face in faces))
    return Source(
        html=render_to_string("pdf/audit.html", context),
        attached_name=ATTACHED_NAME,
        attached=attached,
        attached_about=_("The figures of this report"),
        at=paper.report.setup.as_of,
    )


def render_audit(paper: AuditPaper) -> bytes:
    """Return the report as PDF/A-3a; the same input gives the same bytes.

    Raises:
        DocumentError: the machine lacks what documents need.
    """
    missing: frozenset[str] = frozenset()
    with override(paper.language):
        for _attempt in range(_ATTEMPTS):
            try:
                return write_pdf(_source(paper, missing))
            except MissingGlyphs as found:
                missing |= found.characters
    raise DocumentError("Some characters cannot be printed on this machine.")
