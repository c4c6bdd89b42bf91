"""The work order as a document: the bench's work ticket on paper.

Pure of the database: everything printed comes from the frozen content, except
the patient's line, which is kept apart so that it can be erased.
"""

import base64
from collections.abc import Mapping, Set
from dataclasses import dataclass
from typing import Any, Final

import segno
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import gettext, override

from cases.canonical import canonical_json, sha256_hex
from cases.documents import words
from cases.documents.figures import teeth_svg
from cases.documents.fonts import FAMILY, Face, faces_for
from cases.documents.moments import day, moment, parsed
from cases.documents.pdf import MissingGlyphs, Source, write_pdf
from cases.documents.printable import printable, printable_content
from cases.documents.queries import (
    SHORT_DIGEST,
    Ground,
    Query,
    Signed,
    grounds,
    queries,
    signed,
)
from cases.documents.units import Sources, UnitSheet, unit_sheets
from cases.drawings.glyphs import GLYPHS, glyph_svg
from cases.errors import DocumentError

__all__ = ["ATTACHED_NAME", "PAPERS", "PatientLine", "render_work_order"]

ATTACHED_NAME: Final = "case.json"
PAPERS: Final = ("A4", "Letter")
# A text may need one more attempt for each part of it that a replaced character
# moved to another font; more than this many means a fault of ours.
_ATTEMPTS: Final = 4
_NOT_PROVEN: Final = ("insufficient", "undecided", "unmeasured")

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class PatientLine:
    """What identifies the patient; all empty once the identity was erased."""

    reference: str
    initials: str = ""
    age_band: str = ""

    @property
    def erased(self) -> bool:
        """Whether nothing is left to print."""
        return not (self.reference or self.initials or self.age_band)


@dataclass(frozen=True, slots=True)
class Fact:
    """A labelled value; a ``short`` one keeps to one line."""

    label: str
    value: str
    short: bool = False


@dataclass(frozen=True, slots=True)
class WorkOrderDocument:
    """All that the template prints, already in words of the language."""

    language: str
    paper: str
    number: int
    code: str
    case: str
    revision: int
    round: int
    pan_number: str
    laboratory: Json
    clinic: Json
    prescriber: Json
    patient: PatientLine
    facts: tuple[Fact, ...]
    verdict: str
    verdict_word: str
    proven: bool
    coping_enclosed: bool
    teeth: SafeString
    units: tuple[UnitSheet, ...]
    notes: str
    grounds: tuple[Ground, ...]
    queries: tuple[Query, ...]
    prescription: Signed | None
    released_by: str
    released_at: str
    checked_at: str
    rule_set: Json
    sources: tuple[tuple[int, str], ...]
    digest: str
    verify_url: str
    qr: str

    @property
    def short_digest(self) -> str:
        """The beginning of the digest, for the foot of every page."""
        return self.digest[:SHORT_DIGEST]


def _facts(content: Json) -> tuple[Fact, ...]:
    found = (
        Fact(gettext("Due (promised)"), day(content["promised_on"]), short=True),
        Fact(gettext("Wanted"), day(content["wanted_on"]), short=True),
        Fact(gettext("Pan"), content["pan_number"], short=True),
        Fact(gettext("Occlusal scheme"), content["occlusal_scheme"]),
        Fact(gettext("Disinfection"), content["disinfection"]),
        Fact(gettext("Jaw record"), content["jaw_record"]),
    )
    return tuple(fact for fact in found if fact.value)


def _document(
    content: Json,
    patient: PatientLine,
    *,
    verify_url: str,
    digest: str,
    paper: str,
    language: str,
) -> WorkOrderDocument:
    """Return the printed form of content whose texts are printable."""
    system, zone = content["clinic"]["tooth_system"], content["clinic"]["time_zone"]
    check = content["check"]
    result = check["result"] or {"units": [], "rule_set": {}}
    results = {str(unit["tooth"]): unit for unit in result["units"]}
    verdict = check["verdict"] or "unmeasured"
    sources = Sources()
    units = unit_sheets(content["units"], results, system=system, sources=sources)
    built_on = grounds(content, results)
    # The drawing escapes every text in it.
    teeth = SafeString(teeth_svg(content["units"], results, system=system))
    return WorkOrderDocument(
        language=language,
        paper=paper,
        number=content["work_order"]["number"],
        code=content["work_order"]["code"],
        case=content["case"],
        revision=content["revision"],
        round=content["round"],
        pan_number=content["pan_number"],
        laboratory=content["laboratory"],
        clinic=content["clinic"],
        prescriber=content["prescriber"],
        patient=patient,
        facts=_facts(content),
        verdict=verdict,
        verdict_word=words.verdict(verdict),
        proven=verdict not in _NOT_PROVEN and not content["grounds"],
        coping_enclosed=bool(content["coping_enclosed"]),
        teeth=teeth,
        units=tuple(units),
        notes=content["notes"],
        grounds=tuple(built_on),
        queries=tuple(queries(content, built_on)),
        prescription=signed(content["prescription_signature"], zone),
        released_by=content["released_by"],
        released_at=moment(content["released_at"], zone),
        checked_at=moment(check["made_at"], zone),
        rule_set=result["rule_set"],
        sources=tuple(sources.rows()),
        digest=digest,
        verify_url=verify_url,
        qr=segno.make(verify_url, error="m", micro=False).svg_data_uri(
            border=0, dark="#000"
        ),
    )


def _data_uri(svg: str) -> str:
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


def _html(document: WorkOrderDocument) -> str:
    """Return the markup, with the font files that its text needs."""
    context = {
        "order": document,
        "families": [FAMILY],
        "glyphs": [(v, _data_uri(glyph_svg(v, size=11))) for v in GLYPHS],
    }
    body = render_to_string("pdf/work_order.html", {**context, "faces": ()})
    faces: list[Face] = faces_for(body)
    families = list(dict.fromkeys(face.family for face in faces))
    return render_to_string(
        "pdf/work_order.html", {**context, "faces": faces, "families": families}
    )


def _source(
    content: Json, patient: PatientLine, missing: Set[str], **more: Any
) -> Source:
    document = _document(
        printable_content(content, missing),
        PatientLine(
            printable(patient.reference, missing),
            printable(patient.initials, missing),
            printable(patient.age_band, missing),
        ),
        **more,
    )
    return Source(
        html=_html(document),
        attached_name=ATTACHED_NAME,
        attached=canonical_json(content),
        attached_about=gettext("The frozen content of this work order"),
        at=parsed(content["released_at"]),
    )


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
    missing: frozenset[str] = frozenset()
    with override(language):
        for _attempt in range(_ATTEMPTS):
            source = _source(
                content,
                patient,
                missing,
                verify_url=verify_url,
                digest=digest,
                paper=paper,
                language=language,
            )
            try:
                return write_pdf(source)
            except MissingGlyphs as found:
                missing |= found.characters
    raise DocumentError("Some characters cannot be printed on this machine.")
