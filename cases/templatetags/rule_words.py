"""Choices of a rule set's tables, for templates."""

from collections.abc import Sequence

from django import template

from cases.forms.rule_set_cells import Cell, options

__all__ = ["with_typed"]

register = template.Library()


@register.filter
def with_typed(offered: Sequence[tuple[str, str]], cell: Cell) -> list[tuple[str, str]]:
    """Return what a cell is chosen from, with what was sent if it is none of it."""
    return options(cell, offered)
