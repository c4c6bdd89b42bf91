"""At most three sentences to act on, each from a stated test.

All questions of ``candidates`` together have the nominal chance of five in a hundred to
make even one false finding (Holm, Scand J Statist 1979;6:65-70, from memory; with
weights). Each kind of question has the same share of it, however many clinics or
materials it is asked of. The p said with a finding is the corrected one.
"""

from collections import Counter
from collections.abc import Sequence
from typing import Final

from cases.audit.candidate import Candidate
from cases.audit.candidates import candidates
from cases.audit.figures import Figures
from cases.audit.report_types import AuditReport, Finding
from cases.audit.sentences import p_words

__all__ = ["MOST", "NOMINAL", "findings_of", "holm"]

MOST: Final = 3
NOMINAL: Final = 0.05


def findings_of(
    report: AuditReport, figures: Figures, before: Figures | None
) -> tuple[Finding, ...]:
    """Return what the data support, the surest first; nothing where they do not.

    Incomplete months count in comparisons within the period, where they are as
    incomplete for both sides, not in comparisons over time.
    """
    asked = candidates(report, figures, before)
    of_kind = Counter(one.key for one in asked)
    corrected = holm(
        [one.p for one in asked],
        [1 / (len(of_kind) * of_kind[one.key]) for one in asked],
    )
    said: dict[str, Finding] = {}
    for place, (one, p) in enumerate(zip(asked, corrected, strict=True)):
        if p <= NOMINAL and one.text:
            # Of a clinic's rate and its alarm the rate is said, which comes first.
            said.setdefault(
                one.about or f"{one.key} {place}", _finding(one, p, len(asked))
            )
    return tuple(sorted(said.values(), key=lambda one: one.p)[:MOST])


def _finding(one: Candidate, p: float, tests: int) -> Finding:
    return Finding(
        key=one.key,
        text=one.text,
        certainty=one.certainty,
        params={**one.params, "tests": tests, "p": p_words(p)},
        p=p,
        cases=one.cases,
    )


def holm(ps: Sequence[float], weights: Sequence[float]) -> list[float]:
    """Return each p corrected for all of them being asked.

    ``weights``: the share of the nominal chance each question has, 1 in all. With equal
    ones it is statsmodels' ``multipletests``, to which tests compare it; that one knows
    no weights.
    """
    order = sorted(range(len(ps)), key=lambda place: ps[place] / weights[place])
    corrected = [1.0] * len(ps)
    left, largest = sum(weights), 0.0
    for place in order:
        largest = max(largest, min(1.0, left * ps[place] / weights[place]))
        corrected[place] = largest
        left -= weights[place]
    return corrected
