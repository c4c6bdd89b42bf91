"""The pictures of the audit for a page: one for wide windows, one for phones."""

from collections.abc import Callable
from dataclasses import fields
from datetime import date
from typing import Any, TypeVar

from django.utils.formats import date_format, get_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases.audit.report_types import Setup
from cases.charts.words import Words

__all__ = ["chart_words", "picture"]

Subject = TypeVar("Subject")


def _day(day: date) -> str:
    return date_format(day, "j M Y")


def chart_words(setup: Setup) -> Words:
    """Return the words of the pictures in the reader's language."""
    captions: dict[str, Any] = {
        one.name: _(one.default)
        for one in fields(Words)
        if isinstance(one.default, str) and one.default
    }
    captions["point"] = str(get_format("DECIMAL_SEPARATOR"))
    return Words(
        **captions,
        date_text=_day,
        labels=setup.labels,
        small_number=setup.small_number,
    )


def picture(
    draw: Callable[..., str], subject: Subject, setup: Setup, uid: str
) -> SafeString:
    """Return a picture twice, of which the sheet shows the one that fits."""
    words = chart_words(setup)
    both = (
        draw(subject, words=words, uid=f"{uid}-{size}", narrow=size == "narrow")
        for size in ("wide", "narrow")
    )
    return mark_safe("".join(both))  # noqa: S308 -- every text in a drawing is escaped
