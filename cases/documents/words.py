"""The codes of frozen content as words, translated; an unknown code as it is."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from django.utils.translation import gettext, gettext_lazy

from cases.enums import Basis, FlagReason, Role, Side, ToothSystem
from cases.lifecycle import AnswerKind
from rules import terms
from rules.loader import shipped_rule_set
from rules.teeth import site_label, to_palmer, to_universal
from rules.terms import Site, Verdict

__all__ = [
    "answer_kind",
    "basis",
    "capital",
    "material",
    "own_number",
    "reason",
    "reauthentication",
    "role",
    "side",
    "site",
    "term",
    "tooth",
    "tooth_name",
    "verdict",
]

_ANSWERS: Final[Mapping[str, object]] = {
    AnswerKind.RE_PREPARATION: gettext_lazy("Re-preparation"),
    AnswerKind.RE_MEASURE: gettext_lazy("Re-measure or remount at the laboratory"),
    AnswerKind.NEW_JAW_RECORD: gettext_lazy("New jaw record"),
    AnswerKind.CHANGE_MATERIAL: gettext_lazy("Change of material"),
    AnswerKind.CHANGE_DESIGN: gettext_lazy("Change of design"),
    AnswerKind.REDUCTION_COPING: gettext_lazy("Reduction coping"),
    AnswerKind.ADJUST_OPPOSING: gettext_lazy("Adjust the opposing tooth"),
    AnswerKind.REFER: gettext_lazy("Other treatment first"),
    AnswerKind.ACCEPT_RISK: gettext_lazy("Accept with documented risk"),
    AnswerKind.CANCEL: gettext_lazy("Cancel"),
}
_METHODS: Final[Mapping[str, object]] = {
    "password": gettext_lazy("password entered again"),
    "totp": gettext_lazy("code of the second factor"),
}
_PLACES: Final = (
    gettext_lazy("central incisor"),
    gettext_lazy("lateral incisor"),
    gettext_lazy("canine"),
    gettext_lazy("first premolar"),
    gettext_lazy("second premolar"),
    gettext_lazy("first molar"),
    gettext_lazy("second molar"),
    gettext_lazy("third molar"),
)
_QUADRANTS: Final = (
    gettext_lazy("upper right"),
    gettext_lazy("upper left"),
    gettext_lazy("lower left"),
    gettext_lazy("lower right"),
)


def capital(words: str) -> str:
    """Return the words with a capital first letter."""
    return words[:1].upper() + words[1:]


def term(kind: type[StrEnum], code: str) -> str:
    """Return the label of a code of one of the core's lists."""
    try:
        return gettext(terms.label(kind(code)))
    except ValueError:
        return code


def verdict(code: str) -> str:
    """Return the word of a verdict."""
    return term(Verdict, code)


def site(code: str, on_tooth: str) -> str:
    """Return the label of a site; lingual is palatal in the maxilla."""
    try:
        return gettext(site_label(Site(code), on_tooth))
    except ValueError:
        return code


def own_number(iso: str, system: str) -> str:
    """Return the clinic's number with its system; nothing for ISO 3950."""
    if system == ToothSystem.UNIVERSAL:
        return f"{ToothSystem.UNIVERSAL.label} {to_universal(iso)}"
    if system == ToothSystem.PALMER:
        return f"{ToothSystem.PALMER.label} {to_palmer(iso)}"
    return ""


def tooth(iso: str, system: str) -> str:
    """Return the ISO 3950 number and, where it differs, the clinic's own."""
    own = own_number(iso, system)
    return f"{iso} ({own})" if own else iso


def tooth_name(iso: str) -> str:
    """Return the name of a permanent tooth, for example "lower left first molar"."""
    quadrant, place = int(iso[0]), int(iso[1])
    return gettext("%(quadrant)s %(tooth)s") % {
        "quadrant": _QUADRANTS[quadrant - 1],
        "tooth": _PLACES[place - 1],
    }


def material(code: str, label: str = "") -> str:
    """Return the name of a material class; ``label`` is a laboratory's own."""
    if label:
        return label
    known = {row.key: row.label for row in shipped_rule_set().materials}
    return gettext(known[code]) if code in known else code


def _choice(words: Mapping[str, object], code: str) -> str:
    return str(words.get(code, code))


def answer_kind(code: str) -> str:
    """Return the name of an answer."""
    return _choice(_ANSWERS, code)


def reauthentication(code: str) -> str:
    """Return how a signer proved to be the person."""
    return _choice(_METHODS, code)


def role(code: str) -> str:
    """Return the name of a role."""
    return _choice(dict(Role.choices), code)


def side(code: str) -> str:
    """Return the name of a side."""
    return _choice(dict(Side.choices), code)


def basis(code: str) -> str:
    """Return what a reading was taken on."""
    return _choice(dict(Basis.choices), code)


def reason(code: str) -> str:
    """Return why a query was raised."""
    return _choice(dict(FlagReason.choices), code)
