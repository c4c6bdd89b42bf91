"""What an audit shows, ready for page, PDF, CSV and API: every number once.

A count that is hidden is None and its row says why; nothing shown lets it be worked out.
``cases`` holds the filters that, on top of the report's own, list the cases behind a
number; it is empty where the number is hidden. Rates and shares are fractions of 1.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

__all__ = [
    "Alarm",
    "Annotation",
    "AuditReport",
    "CauseRow",
    "ControlChart",
    "ControlPoint",
    "DoseResponse",
    "Finding",
    "FlowRow",
    "Funnel",
    "FunnelLine",
    "FunnelPoint",
    "KeptUnmade",
    "Labels",
    "Opposing",
    "RateRow",
    "RateTable",
    "Setup",
    "SurvivalStep",
    "Trend",
    "Waiting",
    "WaitingBar",
]

# dimension or list -> key -> words; a key without words stands as it is
Labels = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class Annotation:
    """Something that happened on a day: a rule set published, a training held."""

    on: date
    text: str
    kind: str = "note"


@dataclass(frozen=True, slots=True)
class Setup:
    """For whom, of when, and how carefully.

    ``viewer``: "laboratory", "clinic" or "clinician" (own cases: nothing is hidden from
    oneself, ``small_number`` is 1). ``follow_up_days``: a restoration dispatched later
    than this before ``as_of`` may still be remade; its month is incomplete.
    """

    viewer: str
    first: date
    last: date
    as_of: datetime
    small_number: int = 5
    least_cases: int = 10
    compare_people: bool = False
    follow_up_days: int = 30
    labels: Labels = field(default_factory=dict)
    annotations: tuple[Annotation, ...] = ()


@dataclass(frozen=True, slots=True)
class RateRow:
    """A rate with its Wilson interval. ``hidden``: "", "small", "secondary" or "few"."""

    key: str
    label: str
    n: int
    count: int | None
    rate: float | None
    low: float | None
    high: float | None
    hidden: str = ""
    cases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RateTable:
    """Rates of one measure by one dimension, most restorations first."""

    dimension: str
    measure: str
    rows: tuple[RateRow, ...]
    total: RateRow


@dataclass(frozen=True, slots=True)
class CauseRow:
    """One cause, most remakes first. ``cumulative``: share of all up to here."""

    key: str
    label: str
    count: int | None
    internal: int | None
    share: float | None
    cumulative: float | None
    hidden: str = ""
    cases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """A month, quarter or half year. ``signal``: "", "above" or "below" its limits."""

    label: str
    first: date
    last: date
    n: int
    count: int | None
    rate: float | None
    lower: float | None
    upper: float | None
    signal: str = ""
    complete: bool = True
    hidden: str = ""
    cases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ControlChart:
    """Laney p' chart; ``centre`` None where there are too few points for limits."""

    grouping: str
    points: tuple[ControlPoint, ...]
    centre: float | None
    sigma_z: float | None
    annotations: tuple[Annotation, ...] = ()


@dataclass(frozen=True, slots=True)
class FunnelPoint:
    """One clinic. ``place``: "inside", "above_95", "above_998", "below_95", "below_998"."""

    key: str
    label: str
    n: int
    count: int | None
    rate: float | None
    place: str
    hidden: str = ""
    cases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FunnelLine:
    """The limits at one number of restorations."""

    n: int
    low_998: float
    low_95: float
    high_95: float
    high_998: float


@dataclass(frozen=True, slots=True)
class Funnel:
    """Clinics against the common rate. ``overdispersion``: phi, 1 = binomial."""

    target: float | None
    points: tuple[FunnelPoint, ...]
    lines: tuple[FunnelLine, ...]
    overdispersion: float | None = None


@dataclass(frozen=True, slots=True)
class Trend:
    """Cochran-Armitage trend, and the same question with clinicians as clusters.

    ``within_p`` compares each clinician's restorations with one another only (Mantel): it
    holds for few clinicians, too, and speaks of these alone.
    """

    z: float
    p: float
    clusters: int
    clustered_z: float | None
    clustered_p: float | None
    odds_ratio_per_step: float | None = None
    within_p: float | None = None


@dataclass(frozen=True, slots=True)
class DoseResponse:
    """Shortage class against outcome. ``basis``: "first" or "built" check.

    Neighbouring classes of which one has too few to show are one row: key and filter are
    then one of ``figures.RUNS``. The trend is over the rows.
    """

    basis: str
    measure: str
    rows: tuple[RateRow, ...]
    trend: Trend | None


@dataclass(frozen=True, slots=True)
class Opposing:
    """Opposing teeth adjusted at seating, without and with a query before dispatch."""

    without: RateRow
    with_query: RateRow
    odds_ratio: float | None
    p: float | None
    clusters: int
    clustered_p: float | None
    within_p: float | None = None


@dataclass(frozen=True, slots=True)
class WaitingBar:
    """How many waited from ``from_hours`` up to ``to_hours`` (None: longer)."""

    from_hours: float
    to_hours: float | None
    count: int | None


@dataclass(frozen=True, slots=True)
class Waiting:
    """One side's time. Median in hours from a survival curve; open ones are censored."""

    side: str
    n: int
    waiting: int
    median_hours: float | None
    low_hours: float | None
    high_hours: float | None
    bars: tuple[WaitingBar, ...]
    hidden: str = ""


@dataclass(frozen=True, slots=True)
class FlowRow:
    """How many took this way: verdict at submission, option of the answer, outcome."""

    verdict: str
    option: str
    outcome: str
    count: int | None
    hidden: str = ""
    cases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SurvivalStep:
    """Share remade up to this day after dispatch (Kaplan-Meier), with its interval.

    ``at_risk``: how many were followed so long and not remade by then.
    """

    days: int
    at_risk: int
    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class KeptUnmade:
    """Time to remake. ``hidden`` where there are fewer remakes than may be shown."""

    steps: tuple[SurvivalStep, ...]
    hidden: str = ""


@dataclass(frozen=True, slots=True)
class Alarm:
    """A clinic whose remakes accumulate beyond the CUSUM's decision value."""

    key: str
    label: str
    value: float
    decision: float
    since: int
    remakes: int | None
    cases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Finding:
    """A sentence to act on, from a stated test. ``text`` is a template of ``params``.

    ``certainty`` states test, p after correction and interval in the same way.
    """

    key: str
    text: str
    certainty: str
    params: Mapping[str, Any]
    p: float
    cases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class AuditReport:
    """Everything of design section 8, for one viewer, period and filter."""

    setup: Setup
    n: int
    reported: int
    headline: tuple[RateRow, ...]
    findings: tuple[Finding, ...]
    rates: Mapping[str, RateTable]
    causes: tuple[CauseRow, ...]
    control: ControlChart
    funnel: Funnel | None
    dose: tuple[DoseResponse, ...]
    opposing: Opposing
    queries_raised: int
    options: tuple[RateRow, ...]
    waiting: tuple[Waiting, ...]
    flow: tuple[FlowRow, ...]
    time_to_remake: KeptUnmade
    alarms: tuple[Alarm, ...]
    suppressed: bool
    attributions: tuple[RateRow, ...] = ()
    detected: tuple[RateRow, ...] = ()
