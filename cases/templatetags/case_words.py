"""Codes in the reader's words, and who wrote what, for templates."""

from collections.abc import Mapping

from django import template
from django.utils.translation import gettext as _

from cases.forms.vocabulary import site_words, tooth_number, tooth_words
from cases.forms.words import word
from cases.tenancy import Actor

__all__ = ["by_side", "cause", "own", "said", "site_name", "tooth", "tooth_full"]

register = template.Library()


@register.filter
def said(code: str, kind: str) -> str:
    """Return the word of a code: {{ case.state|said:"state" }}."""
    return word(kind, code)


@register.filter
def cause(code: str, labels: Mapping[str, str]) -> str:
    """Return the words of a remake's cause, with those of the laboratory's own."""
    return labels.get(code) or word("cause", code)


@register.filter
def tooth(number: str, actor: Actor) -> str:
    """Return a tooth in the reader's system."""
    return tooth_number(number, actor.tooth_system)


@register.filter
def tooth_full(number: str, actor: Actor) -> str:
    """Return a tooth's number and name in the reader's system."""
    return tooth_words(number, actor.tooth_system)


@register.filter
def site_name(site: str, number: str) -> str:
    """Return a site's name on a tooth (palatal in the maxilla)."""
    return site_words(site, number)


@register.filter
def own(side: str, actor: Actor) -> bool:
    """Return whether something comes from the reader's own side."""
    return side == actor.side


@register.filter
def by_side(side: str) -> str:
    """Return the side in words."""
    return _("clinic") if side == "clinic" else _("laboratory")
