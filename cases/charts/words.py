"""The fixed words of the pictures, already translated, and how numbers are written."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date

from cases.audit.report_types import Labels

__all__ = [
    "Words",
    "count_text",
    "hours_text",
    "label_of",
    "number_text",
    "percent_text",
    "range_text",
    "share_text",
]


@dataclass(frozen=True, slots=True)
class Words:
    """Captions; those with braces are format strings. ``point`` is the decimal sign,
    ``small_number`` the least count shown above 0 (``Setup.small_number``).

    ``labels`` are the report's own (``Setup.labels``): words for verdicts ("verdict"),
    options ("option"), outcomes ("outcome") and sides ("side"). A key without words
    stands as it is.
    """

    small_number: int = 5
    point: str = "."
    percent: str = "{value}\N{NO-BREAK SPACE}%"
    interval: str = "{low} to {high}"
    fewer: str = "< {number}"
    hidden: str = "not shown"
    of_n: str = "{count} of {n}"
    n: str = "n {n}"
    hours: str = "{value}\N{NO-BREAK SPACE}h"
    days: str = "{value}\N{NO-BREAK SPACE}d"
    and_longer: str = "longer"
    date_text: Callable[[date], str] = date.isoformat
    labels: Labels = field(default_factory=dict)

    pareto_title: str = "Causes of remakes"
    cause: str = "Cause"
    remakes: str = "Remakes"
    cumulative: str = "Cumulative"
    after_dispatch: str = "remade after dispatch"
    before_dispatch: str = "made again before dispatch"
    cumulative_line: str = "cumulative share of remakes (upper scale)"
    hidden_count: str = "too few to show"
    pareto_row: str = "{cause}: {count}, cumulative {cumulative}"
    pareto_row_hidden: str = "{cause}: {count}"

    control_title: str = "Remake rate over time"
    rate: str = "Remake rate"
    point_complete: str = "rate of a period"
    point_incomplete: str = "period that may still change"
    centre: str = "centre {rate}"
    limits: str = "control limits"
    no_limits: str = "too few periods for limits"
    hidden_period: str = "period not shown: too few"
    hidden_periods: str = "period not shown: too few, or so that others stay hidden"
    signal_above: str = "{label}: above its limits, {rate} ({count} of {n})"
    signal_below: str = "{label}: below its limits, {rate} ({count} of {n})"
    annotation: str = "{on}: {text}"
    control_range: str = "{count} periods from {first} to {last}"

    funnel_title: str = "Clinics against the common rate"
    restorations: str = "Restorations"
    target: str = "common rate {rate}"
    limits_95: str = "95\N{NO-BREAK SPACE}% limits"
    limits_998: str = "99.8\N{NO-BREAK SPACE}% limits"
    overdispersed: str = "clinics vary more than by chance (factor {phi}); not widened"
    clinic_inside: str = "clinic inside the limits"
    clinic_hidden: str = "clinic whose rate is not shown (on the axis)"
    above_95: str = (
        "{label}: above the 95\N{NO-BREAK SPACE}% limit, {rate} ({count} of {n})"
    )
    above_998: str = (
        "{label}: above the 99.8\N{NO-BREAK SPACE}% limit, {rate} ({count} of {n})"
    )
    below_95: str = (
        "{label}: below the 95\N{NO-BREAK SPACE}% limit, {rate} ({count} of {n})"
    )
    below_998: str = (
        "{label}: below the 99.8\N{NO-BREAK SPACE}% limit, {rate} ({count} of {n})"
    )
    funnel_range: str = "{count} clinics, {inside} of them inside the limits"

    dose_title: str = "Shortage and outcome"
    proportion: str = "Proportion"
    whiskers: str = "proportion with its 95\N{NO-BREAK SPACE}% interval"
    hidden_class: str = "class not shown: too few"
    hidden_classes: str = "class not shown: too few, or so that others stay hidden"
    dose_row: str = "{label}: {rate} ({interval}), n {n}"
    dose_row_hidden: str = "{label}: {count}, n {n}"
    trend: str = "trend z {z}, p {p}"
    trend_clustered: str = "with {clusters} clinicians as clusters p {p}"

    waiting_title: str = "How long each side took"
    queries: str = "Queries"
    median: str = "median with its 95\N{NO-BREAK SPACE}% interval"
    median_text: str = "median {median} ({interval})"
    median_unknown: str = "no median yet"
    still_waiting: str = "{count} still waiting"
    or_more: str = "{low} or more"
    waiting_bar: str = "{low} to {high}: {count}"
    waiting_bar_last: str = "{low} or longer: {count}"

    flow_title: str = "From verdict to option to outcome"
    flow_verdict: str = "Verdict at submission"
    flow_option: str = "Answer"
    flow_outcome: str = "Outcome"
    flow_row: str = "{verdict}, {option}, {outcome}: {count}"
    flow_hidden: str = "too few to show"
    flow_rest: str = "{label}: {count}"
    flow_band: str = "a band is as wide as the number of restorations"
    no_verdict: str = "no verdict"
    no_query: str = "no query"


def number_text(value: float, words: Words, *, decimals: int = 1) -> str:
    """Return a number with the decimal sign of the language."""
    shown = f"{value:.{decimals}f}"
    return shown.replace("-", "\N{MINUS SIGN}").replace(".", words.point)


def percent_text(fraction: float, words: Words, *, decimals: int = 1) -> str:
    """Return a fraction of 1 in per cent."""
    return words.percent.format(
        value=number_text(fraction * 100, words, decimals=decimals)
    )


def share_text(fraction: float | None, words: Words) -> str:
    """Return a fraction in per cent, or that it is not shown."""
    return words.hidden if fraction is None else percent_text(fraction, words)


def range_text(low: float | None, high: float | None, words: Words) -> str:
    """Return an interval of fractions in per cent; "" without one."""
    if low is None or high is None:
        return ""
    return words.interval.format(
        low=percent_text(low, words), high=percent_text(high, words)
    )


def hours_text(hours: float, words: Words) -> str:
    """Return a time in hours, from two days on in days."""
    form, value = (words.days, hours / 24) if hours >= 48 else (words.hours, hours)
    decimals = 0 if value == int(value) else 1
    return form.format(value=number_text(value, words, decimals=decimals))


def count_text(count: int | None, hidden: str, small_number: int, words: Words) -> str:
    """Return a count, or why there is none: "< 5" or "not shown"."""
    if count is not None:
        return str(count)
    return (
        words.fewer.format(number=small_number) if hidden == "small" else words.hidden
    )


def label_of(words: Words, kind: str, key: str, empty: str = "") -> str:
    """Return the word for a key of a list, or the key; ``empty`` for no key."""
    found: Mapping[str, str] = words.labels.get(kind, {})
    return found.get(key, key or empty)
