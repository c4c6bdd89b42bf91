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
    "order_sentence",
    "removal_words",
    "variant_title",
]

# What is taken by these is another tooth's than the one prescribed for.
_OPPOSING = ("adjust_opposing", "plane_correction")


def order_sentence() -> str:
    """Return how the check orders ways out (design section 5)."""
    return _(
        "Least removal of sound tissue first, then the smallest change of the "
        "prescription, then the least time."
    )


@dataclass(frozen=True, slots=True)
class OptionRow:
    """One way out, in words, with the tooth it was computed for.

    ``removal_mm`` is the most sound tissue it takes (None: not computed then), from
    the opposing tooth where ``opposing``.
    """

    tooth: str
    kind: str
    title: str
    depths: tuple[str, ...]
    feasible: bool
    reasons: tuple[str, ...]
    consequences: tuple[str, ...]
    removal_mm: Decimal | None = None
    opposing: bool = False

    @property
    def removal(self) -> str:
        """How much sound tissue it takes, in words."""
        return removal_words(self.removal_mm, opposing=self.opposing, tooth=self.tooth)


@dataclass(frozen=True, slots=True)
class OptionGroup:
    """Ways out of one kind that follow each other, with what all of them mean."""

    title: str
    common: tuple[str, ...]
    rows: tuple[OptionRow, ...]

    @property
    def removal(self) -> str:
        """How much sound tissue its ways take, where all take the same."""
        found = {row.removal for row in self.rows}
        return found.pop() if len(found) == 1 else ""


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
                length(option.get("removal_mm")),
                option["kind"] in _OPPOSING or option.get("referral") in _OPPOSING,
            )
        )
    return tuple(rows)


def removal_words(removal_mm: Decimal | None, *, opposing: bool, tooth: str) -> str:
    """Return how much sound tissue is taken; empty where it was not computed."""
    if removal_mm is None:
        return ""
    if removal_mm == 0:
        return _("none")
    most = mm_text(removal_mm, captions(tooth))
    if opposing:
        return _("up to {most} mm of the opposing tooth").format(most=most)
    return _("up to {most} mm").format(most=most)


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
