"""How many procedures are still to be booked: five forecasts, their spread, and which one is used.

A forecast is a mean for each block to come (core/booking_curve.py), made at every boundary at once, so that replaying the
past costs no more than forecasting. None of them looks past its boundary.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from stockroom.core.booking_curve import Curve, Floats, Ints, Pickup, pickup
from stockroom.core.counts import negative_binomial, poisson
from stockroom.core.net_counts import NOTHING, Net, gain, total

PICKUP, PICKUP_10, MEAN_10 = "pickup", "pickup_10_weeks", "mean_10_weeks"
EXPECTED, KNOWN = "expected_per_week", "known_only"
SIMPLEST_FIRST = (KNOWN, EXPECTED, MEAN_10, PICKUP_10, PICKUP)
RIVALS = tuple(name for name in SIMPLEST_FIRST if name != EXPECTED)
"""What may be used once there is a history. expected_per_week is not: where as many are booked as it says, it expects none
more, and says so with certainty.
"""
WINDOW = 10
COMPLETE_WEEKS = 4
"""Without so many complete weeks since the first booking was made there is no history: expected_per_week."""
LEAST_ROWS = 2
LEAST_REPLAYED = 8
"""Fewer replayed weeks than this decide nothing: pick-up is used."""
CLEARLY = 0.9
WORDS = {
    PICKUP: "pick-up over {} weeks",
    PICKUP_10: "pick-up over the last {} weeks",
    MEAN_10: "mean of the last {} weeks",
    EXPECTED: "expected_per_week",
    KNOWN: "known bookings only",
}


@dataclass(slots=True, eq=False)
class Forecasts:
    """The forecasts of one procedure for the ``ahead`` blocks from each boundary on; ``expected[i]`` is the
    expected_per_week that ruled at boundary i.
    """

    curve: Curve
    ahead: int
    expected: Floats
    _pickups: dict[int | None, Pickup] = field(default_factory=dict)

    @property
    def known(self) -> Ints:
        """[i, h]: on the books."""
        return self.curve.known(self.ahead)

    @property
    def begun(self) -> int:
        """The first boundary at which there is a history to forecast from; past + 1 where there is none."""
        enough = self.curve.weeks_made() >= COMPLETE_WEEKS
        enough &= self.pickup_of(None).rows[:, -1] >= LEAST_ROWS
        return int(np.argmax(enough)) if enough.any() else len(enough)

    def weeks_seen(self, name: str) -> int:
        """How many complete blocks a forecast of now stands on: those of which the pick-up has seen the whole, or the
        last ten; none where it stands on the practice file.
        """
        if name == EXPECTED or self.ahead == 0:
            return 0
        seen = int(self.pickup_of(None).rows[-1, 0])
        return min(seen, WINDOW) if name in (PICKUP_10, MEAN_10) else seen

    def per_week(self, name: str) -> float:
        """What complete blocks came to, over their share of staffed time: all of them, or the last ten."""
        blocks = np.arange(self.curve.grid.past - self.weeks_seen(name), self.curve.grid.past)
        share = float(self.curve.grid.week_share[blocks].sum())
        came = int(self.curve.count[blocks, :, blocks + 1].sum())
        return came / share if share > 0 else 0.0

    def pickup_of(self, weeks: int | None) -> Pickup:
        """Pick-up over all weeks, or over the last so many."""
        if weeks not in self._pickups:
            self._pickups[weeks] = pickup(self.curve, self.ahead, weeks)
        return self._pickups[weeks]

    def mean_by_day(self) -> Floats:
        """[i, h, d]: the mean of the last ten complete blocks, day by day, over and times the shares of staffed time."""
        share = self.curve.grid.share
        i, blocks = np.arange(self.curve.grid.past + 1), np.arange(self.curve.grid.past)
        came = np.where(share[blocks] > 0, self.curve.count[blocks, :, blocks + 1], 0)
        first = self._first_of_ten()
        sums, shares = (np.concatenate((np.zeros((1, 7)), np.cumsum(x, axis=0))) for x in (came, share[blocks]))
        top, bottom = sums - sums[first], shares - shares[first]
        each = np.divide(top, bottom, out=np.zeros_like(top), where=bottom > 0)
        return np.asarray(each[:, None, :] * share[i[:, None] + np.arange(self.ahead)[None, :]])

    def _first_of_ten(self) -> Ints:
        """[i]: the first of the last ten complete blocks of the record."""
        i = np.arange(self.curve.grid.past + 1)
        return np.minimum(i, np.maximum(np.maximum(self.curve.first, self.curve.kept), np.maximum(0, i - WINDOW)))

    def still(self, name: str) -> Floats:
        """[i, h]: how many more than those known are expected for each block, never below zero."""
        means: Floats = np.zeros(self.known.shape)
        if name in (PICKUP, PICKUP_10):
            means = self.pickup_of(None if name == PICKUP else WINDOW).mean.sum(axis=2)
        elif name == MEAN_10:
            means = self.mean_by_day().sum(axis=2) - self.known
        elif name == EXPECTED:
            i = np.arange(len(self.expected))[:, None]
            share = self.curve.grid.week_share[i + np.arange(self.ahead)[None, :]]
            means = self.expected[:, None] * share - self.known
        return np.asarray(np.maximum(0.0, means))

    def net(self, name: str, i: int, h: int, mean: float, part: float = 1.0) -> Net:
        """The spread around a mean of one block at boundary i; ``part`` is the part of a usual week that it is for."""
        if mean <= 0 and name not in (PICKUP, PICKUP_10):
            return NOTHING
        if name == EXPECTED:
            return gain(poisson(mean))
        if name == MEAN_10:
            blocks = np.arange(int(self._first_of_ten()[i]), i)
            share = self.curve.grid.week_share[blocks]
            came = self.curve.count[blocks, :, blocks + 1].sum(axis=-1)
            return around(mean, came[share > 0] / share[share > 0], part)
        return around(mean, self.curve.pickups(i, h, None if name == PICKUP else WINDOW), part)

    def whole(self, name: str, i: int) -> Net:
        """The spread of all ``ahead`` blocks together at boundary i."""
        means = self.still(name)[i]
        share = self.curve.grid.week_share[i : i + self.ahead]
        return total(self.net(name, i, h, float(means[h]), float(share[h])) for h in range(self.ahead))


def around(mean: float, past: Floats, part: float = 1.0) -> Net:
    """A count with this mean that varies as past ones did: Poisson, or negative binomial where their variance exceeds
    their mean, in the same proportion (by moments; variance with n - 1).

    Where some were below zero (cancellations), a count that begins at zero cannot tell of them: then the difference of
    two Poisson counts with this mean and their variance (Skellam 1946), times ``part``.
    """
    if len(past) < LEAST_ROWS:
        return gain(poisson(mean))
    usual, variance = float(past.mean()), float(past.var(ddof=1))
    if past.min() < 0 and variance * part > mean:
        return gain(poisson((variance * part + mean) / 2), poisson((variance * part - mean) / 2))
    if usual > 0 and variance > usual:
        return gain(negative_binomial(mean, mean * variance / usual))
    return gain(poisson(mean))


def chosen(errors: Mapping[str, float], replayed: int, falls_short: Callable[[str], bool]) -> str:
    """Which forecast is used: pick-up over all weeks, unless it has lost.

    It loses to a simpler one of ``RIVALS`` whose root mean square error over the replayed weeks is smaller, unless the quantile of
    that one ``falls_short`` of what it promises; and to its own last ten weeks only where these are clearly better, by
    a tenth, for they are no simpler. Then the one with the smallest error is used, the simpler of equals. Of fewer than
    eight replayed weeks nothing is decided.
    """
    if replayed < LEAST_REPLAYED or PICKUP not in errors:
        return PICKUP
    bar = errors[PICKUP]
    rivals = [name for name in RIVALS if name in errors and errors[name] < bar]
    rivals = [name for name in rivals if name == PICKUP_10 or not falls_short(name)]
    if not any(name != PICKUP_10 or errors[name] < CLEARLY * bar for name in rivals):
        return PICKUP
    return min(rivals, key=lambda name: errors[name])
