"""What the work order's template prints, from frozen content in words."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import segno
from django.utils.safestring import SafeString
from django.utils.translation import gettext

from cases.documents import words
from cases.documents.bridges import BridgeSheet, bridges
from cases.documents.figures import teeth_svg
from cases.documents.moments import day, moment
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

__all__ = ["Fact", "OrderSheet", "PatientLine", "Verification", "order_sheet"]

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
class Verification:
    """How a reader checks the paper: full digest and the page's address."""

    digest: str
    url: str

    @property
    def short_digest(self) -> str:
        """The beginning of the digest, for the foot of every page."""
        return self.digest[:SHORT_DIGEST]

    @property
    def qr(self) -> str:
        """The address as a QR code, an image of its own (data address).

        Error correction M (15 % may be lost): paper at a bench gets dirty.
        """
        code = segno.make(self.url, error="m", micro=False)
        address: str = code.svg_data_uri(border=0, dark="#000")
        return address


@dataclass(frozen=True, slots=True)
class OrderSheet:
    """The whole work order; ``content`` gives what is printed as it stands."""

    content: Json
    patient: PatientLine
    verification: Verification
    facts: tuple[Fact, ...]
    verdict: str
    verdict_word: str
    proven: bool
    teeth: SafeString
    units: tuple[UnitSheet, ...]
    bridges: tuple[BridgeSheet, ...]
    grounds: tuple[Ground, ...]
    queries: tuple[Query, ...]
    prescription: Signed | None
    released_at: str
    checked_at: str
    rule_set: Json
    sources: tuple[tuple[int, str], ...]


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


def order_sheet(
    content: Json, patient: PatientLine, verification: Verification
) -> OrderSheet:
    """Return the sheet of content whose texts are printable."""
    system, zone = content["clinic"]["tooth_system"], content["clinic"]["time_zone"]
    check = content["check"]
    result = check["result"] or {"units": (), "rule_set": {}}
    results = {str(unit["tooth"]): unit for unit in result["units"]}
    verdict = check["verdict"] or "unmeasured"
    sources = Sources()
    units = unit_sheets(content["units"], results, system=system, sources=sources)
    built_on = grounds(content, results)
    return OrderSheet(
        content=content,
        patient=patient,
        verification=verification,
        facts=_facts(content),
        verdict=verdict,
        verdict_word=words.verdict(verdict),
        proven=verdict not in _NOT_PROVEN and not built_on,
        # The drawing escapes every text in it.
        teeth=SafeString(teeth_svg(content["units"], results, system=system)),
        units=tuple(units),
        bridges=bridges(content, result, system=system),
        grounds=tuple(built_on),
        queries=tuple(queries(content, built_on)),
        prescription=signed(content["prescription_signature"], zone),
        released_at=moment(content["released_at"], zone),
        checked_at=moment(check["made_at"], zone),
        rule_set=result["rule_set"],
        sources=tuple(sources.rows()),
    )
