"""The fixed words of a chart, and lengths out of a check's JSON."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from cases.drawings.clearance_chart import Captions
from cases.forms.vocabulary import tooth_number
from rules.teeth import arch, is_anterior
from rules.terms import Arch, Message

__all__ = ["captions", "length", "said_in", "within"]


def captions(tooth: str) -> Captions:
    """Return the words of a chart for the arch of a tooth."""
    upper = arch(tooth) is Arch.UPPER
    return Captions(
        buccal=_("facial") if is_anterior(tooth) else _("buccal"),
        lingual=_("palatal") if upper else _("lingual"),
        mesial=_("mesial"),
        distal=_("distal"),
        row_hint=_("somewhere in this row"),
        need=_("need"),
        target=_("target"),
        between=_("{low} to {high}"),
        at_least=_("{low} or more"),
        under=_("under {high}"),
        no_reading=_("no reading"),
        site_header=_("Site"),
        position_header=_("Jaw position"),
        need_header=_("Need (mm)"),
        target_header=_("Target (mm)"),
        measured_header=_("Measured (mm)"),
        verdict_header=_("Verdict"),
        shortage_header=_("Shortage"),
    )


def length(value: Any) -> Decimal | None:
    """Return a JSON length in mm as Decimal."""
    return None if value is None else Decimal(str(value))


def within(words: str) -> str:
    """Return words as they stand inside a sentence ("PMMA" stays as it is)."""
    return words if words[1:2].isupper() else words[:1].lower() + words[1:]


def said_in(said: str | Message, system: str) -> str:
    """Return words of the core in the reader's language and tooth system."""
    if isinstance(said, str):
        return _(said) if said else ""
    tooth = said.params.get("tooth")
    if isinstance(tooth, str):
        params = {**said.params, "tooth": tooth_number(tooth, system)}
        said = replace(said, params=params)
    return said.text(_)
