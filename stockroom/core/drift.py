"""Drift: an EWMA chart on daily means, so that a fridge on its way out is seen before anything is out of range.

z_i = lam x_i + (1 - lam) z_(i-1), z_0 = target, with the steady-state limits target ± k s sqrt(lam / (2 - lam))
(published: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4). Temperatures here are °C as float.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt
from statistics import fmean, stdev
from typing import Literal

LAMBDA = 0.3
BASELINE_DAYS = 28
RUN_DAYS = 28
LEAST_SPREAD = 0.05
"""°C. A fridge whose daily means hardly differ (or an instrument that shows tenths) would otherwise be charted
with limits finer than any logger can tell. A convention of this program, no source."""


@dataclass(frozen=True, slots=True)
class Drift:
    """A chart beyond its limit: since which day without a break, the average now and the limit it passed, °C."""

    direction: Literal["warm", "cold"]
    since: date
    ewma: float
    limit: float


def ewma(values: Iterable[float], start: float, lam: float = LAMBDA) -> list[float]:
    """The exponentially weighted moving average after each value, beginning from ``start``."""
    averages: list[float] = []
    z = start
    for value in values:
        z = lam * value + (1 - lam) * z
        averages.append(z)
    return averages


def limits(target: float, s: float, lam: float = LAMBDA, k: float = 3) -> tuple[float, float]:
    """The lower and upper steady-state limits of an EWMA of values with standard deviation ``s``."""
    reach = k * s * sqrt(lam / (2 - lam))
    return target - reach, target + reach


def drift(daily_means: Sequence[tuple[date, float]], today: date) -> Drift | None:
    """The drift that stands on the last whole monitored day before ``today``, or None.

    ``daily_means`` are the monitored days only, in order of their days; ``today`` and later ones are left out,
    because the mean of half a day is not that of a day. The run that is judged is the last 28 monitored days, or
    as many as follow the first 28. The baseline is the 28 monitored days just before that run: their mean is the
    target and the chart's beginning, their standard deviation (at least 0.05 °C) sets the limits. Without all 28
    of them there is no judgement. A fridge that stays at a new level becomes its own baseline within two
    months. Days out of range are not taken out of the baseline: they widen its limits.
    """
    whole = [(day, mean) for day, mean in daily_means if day < today]
    run = min(RUN_DAYS, len(whole) - BASELINE_DAYS)
    if run < 1:
        return None
    baseline = [mean for _, mean in whole[-run - BASELINE_DAYS : -run]]
    target = fmean(baseline)
    low, high = limits(target, max(stdev(baseline), LEAST_SPREAD))
    judged = whole[-run:]
    averages = ewma((mean for _, mean in judged), target)
    side = _side(averages[-1], low, high)
    if side is None:
        return None
    since = judged[-1][0]
    for (day, _), z in zip(reversed(judged), reversed(averages), strict=True):
        if _side(z, low, high) != side:
            break
        since = day
    return Drift(side, since, averages[-1], high if side == "warm" else low)


def _side(z: float, low: float, high: float) -> Literal["warm", "cold"] | None:
    if z > high:
        return "warm"
    return "cold" if z < low else None
