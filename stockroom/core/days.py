"""Logger readings summed by UTC day, so that what a lot went through in two years need not be read reading by reading.

A day's summary is the exposure of the stay from its first second to the next day's first (see ``exposure``), without
any keep range: what was monitored, the exponential integral, the extremes. Parts add up, so a stay is the sum of its
whole days and of its two ends; only a day whose extremes pass a limit, or that was not monitored throughout, has to
be opened.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from stockroom.core.exposure import Part, rate_of
from stockroom.core.spells import Floats, Ints

DAY = 86_400


@dataclass(frozen=True, slots=True)
class Day:
    """One UTC day (``number`` days after 1970-01-01) of a fridge: how many readings, and what they come to."""

    number: int
    readings: int
    part: Part

    @property
    def whole(self) -> bool:
        """True where the logger watched all of it."""
        return self.part.seconds_logged == DAY


def days_of(at: Ints, milli: Ints, max_gap_seconds: int, first: int, last: int) -> list[Day]:
    """The days ``first`` to ``last`` (UTC day numbers) in which anything was read or monitored, in order.

    The series has to hold, besides the readings of these days, the one before and the one after.
    """
    if not at.size:
        return []
    size = last - first + 1
    number = at // DAY - first
    inside = (number >= 0) & (number < size)
    readings = np.bincount(number[inside], minlength=size)
    lows, highs = _extremes(milli[inside], number[inside], size)
    rate = rate_of(milli)
    steps = np.diff(at)
    near = steps <= max_gap_seconds
    begins, ends = number[:-1], (at[1:] - 1) // DAY - first  # what ends at midnight belongs to the day before
    plain = near & (begins == ends) & (begins >= 0) & (begins < size)
    held = np.bincount(begins[plain], weights=steps[plain], minlength=size).astype(np.float64)
    area = steps[plain] * (rate[:-1][plain] + rate[1:][plain]) / 2
    integral = np.bincount(begins[plain], weights=area, minlength=size).astype(np.float64)
    on_midnight = plain & (at[1:] % DAY == 0)
    for k in np.flatnonzero(on_midnight).tolist():
        _met(lows, highs, int(begins[k]), float(milli[k + 1]))
    for k in np.flatnonzero(near & (begins < ends)).tolist():
        _split(at[k : k + 2], milli[k : k + 2], rate[k : k + 2], first, held, integral, lows, highs)
    return [
        Day(
            first + i,
            int(readings[i]),
            Part(
                seconds_logged=float(held[i]), integral=float(integral[i]), min_milli=int(lows[i]),
                max_milli=int(highs[i]),
            ),
        )
        for i in np.flatnonzero((readings > 0) | (held > 0)).tolist()
    ]  # fmt: skip


def _extremes(milli: Ints, number: Ints, size: int) -> tuple[Ints, Ints]:
    lows = np.full(size, np.iinfo(np.int64).max)
    highs = np.full(size, np.iinfo(np.int64).min)
    if milli.size:
        starts = np.flatnonzero(np.concatenate(([True], np.diff(number) != 0)))
        lows[number[starts]] = np.minimum.reduceat(milli, starts)
        highs[number[starts]] = np.maximum.reduceat(milli, starts)
    return lows, highs


def _met(lows: Ints, highs: Ints, day: int, milli: float) -> None:
    """A temperature that a day saw at its edge."""
    lows[day], highs[day] = min(lows[day], round(milli)), max(highs[day], round(milli))


def _split(
    at: Ints, milli: Ints, rate: Floats, first: int, held: Floats, integral: Floats, lows: Ints, highs: Ints
) -> None:
    """Shares an interval that crosses midnight out among its days; temperature and rate run straight within it."""
    start, end = int(at[0]), int(at[1])
    cuts = [start, *range((start // DAY + 1) * DAY, end, DAY), end]
    for a, b in pairwise(cuts):
        day = a // DAY - first
        if not 0 <= day < held.size:
            continue
        shares = [(x - start) / (end - start) for x in (a, b)]
        rates = [float(rate[0]) + s * float(rate[1] - rate[0]) for s in shares]
        held[day] += b - a
        integral[day] += (b - a) * (rates[0] + rates[1]) / 2
        for s in shares:
            _met(lows, highs, day, float(milli[0]) + s * float(milli[1] - milli[0]))
