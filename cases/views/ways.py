"""Ways out of a shortage as people see them, in the order of the check."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from cases.drawings.clearance_chart import Captions, mm_text
from cases.forms.answer import REFERRAL_WORDS
from cases.forms.vocabulary import material_words, site_words
from cases.forms.words import word
from cases.views.captions import captions, length, within
from rules.terms import Retention, label

if TYPE_CHECKING:
    from rules.requirements import RuleSet

__all__ = [
    "OptionGroup",
    "OptionRow",
    "barred_groups",
    "option_groups",
    "option_rows",
    "variant_title",
]


@dataclass(frozen=True, slots=True)
class OptionRow:
    """One way out, in words, with the tooth it was computed for."""

    tooth: str
    kind: str
    title: str
    depths: tuple[str, ...]
    feasible: bool
    reasons: tuple[str, ...]
    consequences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OptionGroup:
    """Ways out of one kind that follow each other, with what all of them mean."""

    title: str
    common: tuple[str, ...]
    rows: tuple[OptionRow, ...]


def option_rows(
    options: Sequence[Mapping[str, Any]], *, rule_set: "RuleSet", tooth: str = ""
) -> tuple[OptionRow, ...]:
    """Return ways out in words, in the order the check gave them."""
    rows = []
    for option in options:
        where = option.get("tooth", tooth)
        said = captions(where)
        title = word("answer", option["kind"])
        if option.get("material"):
            variant = (option.get("occlusal_surface"), option.get("cementation"))
            made_of = within(material_words(rule_set, option["material"], variant))
            title = f"{title}: {made_of}"
        elif told := variant_title(option):
            title = f"{title}: {told}"
        depths = tuple(
            _depth(site_words(site, where), depth, said)
            for site, depth in (option.get("depth_mm") or {}).items()
        )
        rows.append(
            OptionRow(
                where,
                option["kind"],
                title,
                depths,
                bool(option["feasible"]),
                tuple(option.get("reasons", ())),
                tuple(option.get("consequences", ())),
            )
        )
    return tuple(rows)


def variant_title(option: Mapping[str, Any]) -> str:
    """Return which referral, retention or abutment a way out means, in words."""
    if referral := option.get("referral"):
        return str(REFERRAL_WORDS.get(referral, referral))
    if option.get("abutment"):
        return _("lower or angled abutment")
    if retention := option.get("retention"):
        return _(label(Retention(retention)))
    return ""


def option_groups(options: Sequence[OptionRow]) -> tuple[OptionGroup, ...]:
    """Return feasible ways out, neighbours of one kind and tooth together.

    What all of a group mean is said once; each row keeps what is its own. The
    order stays the check's.
    """
    groups: list[list[OptionRow]] = []
    for option in options:
        last = groups[-1][0] if groups else None
        if last and (last.kind, last.tooth) == (option.kind, option.tooth):
            groups[-1].append(option)
        else:
            groups.append([option])
    return tuple(_group(rows) for rows in groups)


def barred_groups(options: Sequence[OptionRow]) -> tuple[OptionGroup, ...]:
    """Return ways out that are not feasible, those with one reason together."""
    groups: dict[tuple[str, tuple[str, ...]], list[OptionRow]] = {}
    for option in options:
        groups.setdefault((option.kind, option.reasons), []).append(option)
    return tuple(
        OptionGroup(
            word("answer", kind),
            reasons,
            tuple(
                replace(row, title=row.title.partition(": ")[2].strip())
                for row in rows
                if ": " in row.title
            ),
        )
        for (kind, reasons), rows in groups.items()
    )


def _group(rows: Sequence[OptionRow]) -> OptionGroup:
    first = rows[0]
    if len(rows) == 1:
        return OptionGroup(first.title, first.consequences, (replace(first, title=""),))
    title = word("answer", first.kind)
    common = tuple(
        text for text in first.consequences if all(text in r.consequences for r in rows)
    )
    return OptionGroup(
        title,
        common,
        tuple(
            replace(
                row,
                title=row.title.removeprefix(f"{title}: "),
                consequences=tuple(t for t in row.consequences if t not in common),
            )
            for row in rows
        ),
    )


def _depth(site: str, depth: Mapping[str, Any], said: Captions) -> str:
    """Return how much to remove at a site; a point reading leaves one figure."""
    low, high = (
        mm_text(length(depth[end]) or Decimal(0), said) for end in ("low", "high")
    )
    if low == high:
        return _("{site}: {depth} mm").format(site=site, depth=high)
    return _("{site}: {low} to {high} mm").format(site=site, low=low, high=high)
