"""The grounds on which a site that is short may be built."""

from cases.management.volume.houses import Person
from cases.management.volume.life import Life
from cases.management.volume.text import NULL, iso, told

__all__ = ["cover", "within_uncertainty"]


def cover(
    life: Life, kind: str, who: Person, at: int, way: str | None, code: str | None
) -> None:
    """Write the ground on which every short site may be built."""
    sample, sheets, when = life.cut.sample, life.sheets, iso(at)
    answer = life.answer if kind == "answer" else None
    for place, site in enumerate(sample.sites):
        if site[3] not in ("insufficient", "undecided"):
            continue
        pk = life.coverages[place] = sheets.number("cases_coverage")
        low, high = site[5] or NULL, site[6] or NULL
        sheets.add(
            "cases_coverage",
            f"{pk}\t{sheets.code()}\t{life.pk}\t{kind}\t{site[0]}\t{site[1]}\t{site[2]}\t"
            f"{life.revision}\t{life.round}\t{life.ink.rule_set.digest}\t{low}\t{high}\t"
            f"{answer or NULL}\t{who.membership}\t{who.name}\t{when}",
        )
        ground = {"tooth": site[0], "site": site[1], "quantity": site[2]}
        ground |= {"verdict": site[3], "ground": kind, "answer_kind": way}
        ground |= {"answer": code, "given_by": who.name, "given_at": when}
        life.grounds.append(told(ground))


def within_uncertainty(life: Life, who: Person, at: int) -> str:
    """Cover what is undecided at the need; return the sites as canonical JSON."""
    life.uncertain = True
    cover(life, "uncertainty", who, at, None, None)
    return told([{"tooth": s[0], "site": s[1]} for s in life.cut.sample.short])
