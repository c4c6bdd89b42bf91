"""Ways out of a shortage, each with what it would cost (design section 5).

Infeasible options stay in the list with their reason. Order: feasible first, then
least removal of sound tissue of either tooth, then least change of the prescription,
then least time. Accepting a risk leaves a need unmet, adjusting the opposing tooth
reaches beyond the tooth prescribed for, and a referral puts other treatment first: in
this order they count as the larger changes. ``rules.ways_material`` and its neighbours
hold one way each.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from rules.judged import Judged
from rules.reprep import re_preparation
from rules.requirements import RuleSet
from rules.results import Option, SiteCheck
from rules.risk import accept_risk
from rules.span_layout import Layout
from rules.subject import CONTRADICTING, Subject
from rules.terms import Doubt, Message, Referral, Verdict
from rules.ways_coping import reduction_coping
from rules.ways_implant import implant_ways
from rules.ways_material import SpanWays, material_ways
from rules.ways_opposing import adjust_opposing, clearance_missing
from rules.ways_refer import referrals

__all__ = ["options_for"]


def _(text: str) -> str:
    return text


_ZERO = Decimal(0)
# Change of the prescription and time, as ranks; what is not named changes nothing.
_CHANGE = {
    "change_design": 1,
    "change_material": 2,
    "accept_risk": 3,
    "adjust_opposing": 4,
    "refer": 5,
}
_TIME = {
    "re_measure": 1,
    "reduction_coping": 1,
    "new_jaw_record": 2,
    "re_preparation": 3,
}
# Doubts that no reading can settle.
_NOT_MEASURED = {Doubt.NO_NEED, Doubt.FACING_NEED_UNKNOWN, Doubt.SPLIT_NOT_FIXED}


def options_for(
    rule_set: RuleSet, judged: Sequence[Judged], layouts: Sequence[Layout], k: Decimal
) -> tuple[tuple[Option, ...], ...]:
    """Return the ways out of every unit; none where every site of it is sufficient.

    ``layouts`` are the spans of the request, in which a material changes as a whole;
    ``k`` is the guard factor of the check.
    """
    subjects = [Subject.of(rule_set, one, k) for one in judged]
    by_tooth = {subject.unit.tooth: subject for subject in subjects}
    spans = {
        layout.span: SpanWays(layout, tuple(by_tooth[t] for t in layout.teeth))
        for layout in layouts
        if len(layout.teeth) > 1
    }
    short = sum(bool(clearance_missing(subject)) for subject in subjects)
    return tuple(
        _in_order(list(_ways(subject, spans.get(subject.unit.span or ""), short)))
        for subject in subjects
    )


def _in_order(options: Sequence[Option]) -> tuple[Option, ...]:
    """Sort the ways; the opposing tooth never comes before the prepared one.

    A re-preparation goes on to its target, which may lie beyond the need: what is
    taken from the opposing tooth is not therefore the smaller loss.
    """
    cuts = (o.removal_mm for o in options if o.feasible and o.kind == "re_preparation")
    own = max(cuts, default=_ZERO)

    def key(option: Option) -> tuple[bool, Decimal, int, int]:
        opposing = option.kind == "adjust_opposing" or (
            option.referral is Referral.PLANE_CORRECTION
        )
        return (
            not option.feasible,
            max(option.removal_mm, own) if opposing else option.removal_mm,
            _CHANGE.get(option.kind, 0),
            _TIME.get(option.kind, 0),
        )

    return tuple(sorted(options, key=key))


def _ways(subject: Subject, span: SpanWays | None, short: int) -> Iterator[Option]:
    doubtful, unread = subject.doubtful, subject.unread
    if not doubtful and not unread:
        return
    yield _re_measure(doubtful, unread)
    if not doubtful:
        return
    yield from _new_jaw_record(doubtful)
    yield from implant_ways(subject)
    yield from material_ways(subject, span)
    yield accept_risk(doubtful, unread)
    alone = (
        reduction_coping(subject),
        re_preparation(subject.unit, subject.judged.sites),
        adjust_opposing(subject),
    )
    yield from (option for option in alone if option is not None)
    yield from referrals(subject, short)


def _re_measure(doubtful: Sequence[SiteCheck], unread: Sequence[SiteCheck]) -> Option:
    needed = unread or not all(
        site.doubts and set(site.doubts) <= _NOT_MEASURED for site in doubtful
    )
    if not needed:
        return _NO_READING
    consequences = [
        Message(_("At the {site}: take the missing reading."), {"site": site.label})
        for site in unread
    ]
    proven = [s for s in doubtful if s.verdict is Verdict.INSUFFICIENT and not s.doubts]
    if proven and len(proven) == len(doubtful):
        consequences.append(_PROVEN)
    consequences.append(_NEW_ROUND)
    return Option("re_measure", feasible=True, consequences=tuple(consequences))


_NO_READING = Option(
    "re_measure",
    feasible=False,
    reasons=(
        Message(_("What is missing here is no reading: see the advice at the sites.")),
    ),
)
_PROVEN = Message(
    _("The readings prove the shortage; measuring again helps only if they are wrong.")
)
_NEW_ROUND = Message(
    _(
        "Nothing is removed. The laboratory remounts or measures once more and a new "
        "round of readings begins."
    )
)
_JAW_RECORD = Option(
    "new_jaw_record",
    feasible=True,
    consequences=(
        Message(
            _(
                "Nothing is removed. The clinic takes a new jaw record; the readings "
                "are repeated on it."
            )
        ),
    ),
)


def _new_jaw_record(doubtful: Sequence[SiteCheck]) -> list[Option]:
    """Offer a new jaw record where mouth, model or scan contradict each other."""
    contradicting = any(CONTRADICTING & set(site.doubts) for site in doubtful)
    return [_JAW_RECORD] if contradicting else []
