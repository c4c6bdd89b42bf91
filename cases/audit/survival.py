"""How long things take when some still wait: Kaplan-Meier curve and median."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from statsmodels.duration.survfunc import SurvfuncRight

__all__ = ["Median", "Step", "kaplan_meier", "median"]


@dataclass(frozen=True, slots=True)
class Step:
    """Share with the event by ``days``, and its 95 % interval.

    ``at_risk``: how many had not had it before, and were still followed.
    """

    days: int
    at_risk: int
    share: float
    low: float
    high: float


class Median(NamedTuple):
    """Median time and its 95 % interval; None where the curve does not reach it."""

    value: float | None
    low: float | None
    high: float | None


def kaplan_meier(
    events: Mapping[int, int], pending: Sequence[tuple[int, int]]
) -> tuple[Step, ...]:
    """Return the share that had the event by each day on which there was one.

    ``events``: days -> how many; ``pending``: (days followed so far, how many).
    Whoever is followed to the day of an event counts as at risk on it. The interval is
    pointwise, on the scale of log(-log); where the curve ends because all that were
    left had the event, it reaches from the step before to 1. Nothing without events.

    Source: Kaplan and Meier, JASA 1958;53:457-481, by statsmodels (``SurvfuncRight``);
    interval after Kalbfleisch and Prentice, as scipy's ``ecdf`` has it (which takes
    single cases only); error after Greenwood.
    """
    curve = _curve(events, list(pending))
    if curve is None:
        return ()
    share = 1 - curve.surv_prob
    with np.errstate(all="ignore"):
        hazard = np.log(-np.log(curve.surv_prob))
        slope = curve.surv_prob * np.log(curve.surv_prob)
        reach = norm.ppf(0.975) * np.abs(curve.surv_prob_se / slope)
        low = 1 - np.exp(-np.exp(hazard - reach))
        high = 1 - np.exp(-np.exp(hazard + reach))
    steps: list[Step] = []
    for i, days in enumerate(curve.surv_times):
        ends = curve.surv_prob[i] == 0
        before = steps[-1].low if steps else 0.0
        steps.append(
            Step(
                int(days),
                round(float(curve.n_risk[i])),
                float(share[i]),
                before if ends else float(low[i]),
                1.0 if ends else float(high[i]),
            )
        )
    return tuple(steps)


def median(minutes: Mapping[int, int], waiting: Sequence[float]) -> Median:
    """Return the time by which more than half were done, and its 95 % interval.

    ``minutes``: how long -> how many; ``waiting``: how long each that still waits has
    waited, so that slow ones are not left out. An end is None where the curve does not
    come down far enough to tell.

    Source: Brookmeyer and Crowley, Biometrics 1982;38:29-41 (from memory), on the scale
    of log(-log); by statsmodels (``SurvfuncRight.quantile_ci``).
    """
    curve = _curve(minutes, [(waited, 1) for waited in waiting])
    if curve is None:
        return Median(None, None, None)
    with np.errstate(all="ignore"):
        ends = curve.quantile_ci(0.5, method="cloglog")
    value, low, high = (
        float(one) if np.isfinite(one) else None for one in (curve.quantile(0.5), *ends)
    )
    return Median(value, low, high)


def _curve(
    events: Mapping[int, int], pending: Sequence[tuple[float, int]]
) -> SurvfuncRight | None:
    happened = [(time, 1, n) for time, n in sorted(events.items()) if n]
    if not happened:
        return None
    times, status, weights = np.array(
        happened + [(time, 0, n) for time, n in sorted(pending) if n], dtype=float
    ).T
    curve = SurvfuncRight(times, status, freq_weights=weights)
    # statsmodels multiplies hazards by their logarithms: a half must be a half.
    curve.surv_prob = np.round(curve.surv_prob, 12)
    # With weights it keeps another error (Tsiatis' of the hazard, not of the curve),
    # which its own intervals then take for Greenwood's.
    curve.surv_prob_se = _greenwood(curve)
    return curve


def _greenwood(curve: SurvfuncRight) -> NDArray[np.float64]:
    left = curve.n_risk - curve.n_events
    with np.errstate(all="ignore"):
        terms = curve.n_events / (curve.n_risk * left)
        found: NDArray[np.float64] = curve.surv_prob * np.sqrt(np.cumsum(terms))
    return found
