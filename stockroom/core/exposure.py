"""What stock was exposed to: time warm, cold and unmonitored, extremes, mean kinetic temperature.

Mean kinetic temperature: T = (dH/R) / -ln(sum t_i exp(-dH/(R T_i)) / sum t_i), T in kelvin, with dH/R = 10000 K
(dH = 83.144 kJ/mol; published: USP <1160>, Haynes 1971). It hardly sees cold at all, frost included: information
for a person, never a clearance (published: USP <1079.2>).

Between neighbouring readings the temperature is taken to run straight for the time out of range, and its
exponential for the mean (the trapezoid rule). Both cut cleanly at any instant, so that the parts of a stay (days,
places) add up to the whole.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, fsum, log

import numpy as np
from numpy.typing import NDArray

from stockroom.core.handchecks import Covered, uncovered
from stockroom.core.practice import Keep
from stockroom.core.spells import Floats, Ints

KELVIN = 10_000.0
"""dH/R in kelvin."""

ZERO = 273.15
"""0 °C in kelvin. Exponentials are stated relative to it, which leaves the mean as it is and keeps them near 1."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """What a lot was exposed to. Seconds, thousandths of °C, °C; None where no reading tells."""

    seconds_warm: float
    seconds_cold: float
    seconds_unmonitored: float
    min_milli: int | None
    max_milli: int | None
    mkt_celsius: float | None


@dataclass(frozen=True, slots=True)
class Part:
    """The exposure of one stay, or of several, in a form that adds up (see ``combined``).

    ``seconds_logged`` is the time inside a logger series, ``integral`` the exponential exp(KELVIN/ZERO -
    KELVIN/T) over that time, in seconds. Extremes are of readings and of the edges of stays; for time outside the
    logger series, those that hand checks showed for it.
    """

    seconds_warm: float = 0.0
    seconds_cold: float = 0.0
    seconds_unmonitored: float = 0.0
    seconds_logged: float = 0.0
    integral: float = 0.0
    min_milli: int | None = None
    max_milli: int | None = None

    @property
    def exposure(self) -> Exposure:
        """The figures for people; the mean kinetic temperature is that of the logged time alone."""
        mean = None
        if self.seconds_logged > 0 and self.min_milli is not None and self.max_milli is not None:
            mean = _celsius(self.integral / self.seconds_logged, self.min_milli / 1000, self.max_milli / 1000)
        return Exposure(
            self.seconds_warm, self.seconds_cold, self.seconds_unmonitored, self.min_milli, self.max_milli, mean
        )


def mkt(at: Ints, milli: Ints) -> float:
    """The mean kinetic temperature of a series in °C: trapezoids on the exponentials, weighted by time.

    Every interval counts, however long. One reading is its own mean.

    Raises: ValueError for a series without readings.
    """
    if not at.size:
        raise ValueError("a series without readings has no mean")
    low, high = int(milli.min()) / 1000, int(milli.max()) / 1000
    if at.size == 1:
        return low
    rate = rate_of(milli)
    steps = np.diff(at)
    return _celsius(float(np.sum(steps * (rate[:-1] + rate[1:])) / 2 / np.sum(steps)), low, high)


def mkt_weighted(temps_celsius: Sequence[float], weights: Sequence[float]) -> float:
    """The mean kinetic temperature of temperatures in °C that each held for a time (``weights``, any unit).

    Raises: ValueError without any weight, or where the two are not of one length.
    """
    if sum(weights) <= 0:
        raise ValueError("no time, no mean")
    terms = (w * exp(KELVIN / ZERO - KELVIN / (t + ZERO)) for t, w in zip(temps_celsius, weights, strict=True) if w > 0)
    held = [t for t, w in zip(temps_celsius, weights, strict=True) if w > 0]
    return _celsius(fsum(terms) / fsum(weights), min(held), max(held))


def rate_of(milli: NDArray[np.int64]) -> Floats:
    """The exponential of each temperature (thousandths of °C), relative to its value at 0 °C."""
    rate: Floats = np.exp(KELVIN / ZERO - KELVIN / (milli / 1000 + ZERO))
    return rate


def _celsius(mean_rate: float, low: float, high: float) -> float:
    """The temperature of a mean rate, kept within what was measured (rounding could leave it by a hair)."""
    return min(max(KELVIN / (KELVIN / ZERO - log(mean_rate)) - ZERO, low), high)


def combined(parts: Iterable[Part]) -> Part:
    """The sum of parts: of days, stays and places, in any order."""
    rows = list(parts)
    lows = [p.min_milli for p in rows if p.min_milli is not None]
    highs = [p.max_milli for p in rows if p.max_milli is not None]
    return Part(
        seconds_warm=fsum(p.seconds_warm for p in rows),
        seconds_cold=fsum(p.seconds_cold for p in rows),
        seconds_unmonitored=fsum(p.seconds_unmonitored for p in rows),
        seconds_logged=fsum(p.seconds_logged for p in rows),
        integral=fsum(p.integral for p in rows),
        min_milli=min(lows, default=None),
        max_milli=max(highs, default=None),
    )


def unmonitored(start: int, end: int) -> Part:
    """A stay where nothing measures the temperature."""
    return Part(seconds_unmonitored=float(max(end - start, 0)))


def exposure_of(
    at: Ints,
    milli: Ints,
    start: int,
    end: int,
    keep: Keep | None,
    max_gap_seconds: int,
    covered: Sequence[Covered] = (),
) -> Part:
    """The exposure of a stay [start, end) in a fridge with this series (which may reach beyond the stay).

    Warm and cold are outside ``keep`` (inclusive; nothing is, without one). Unmonitored is the time neither
    between neighbouring readings at most ``max_gap_seconds`` apart nor in a span of ``covered`` whose low and
    high are within ``keep``. A span that holds any time without logger gives its low and high to the extremes,
    in range or not: the stock may have met them.
    """
    if end <= start:
        return Part()
    low = keep.low if keep else None
    high = keep.high if keep else None
    first = max(int(np.searchsorted(at, start, "right")) - 1, 0)
    near = slice(first, int(np.searchsorted(at, end, "left")) + 1)
    logged = _Logged(at[near], milli[near], start, end, max_gap_seconds)
    vouched = [c[:2] for c in covered if (low is None or c.low >= low) and (high is None or c.high <= high)]
    dark = uncovered(start, end, logged.spans)
    shown = [c for c in covered if any(max(a, c.start) < min(b, c.end) for a, b in dark)]
    seen = [*logged.extremes, *(c.low for c in shown), *(c.high for c in shown)]
    return Part(
        seconds_warm=0.0 if high is None else logged.seconds_beyond(high, 1),
        seconds_cold=0.0 if low is None else logged.seconds_beyond(low, -1),
        seconds_unmonitored=float(sum(b - a for a, b in uncovered(start, end, [*logged.spans, *vouched]))),
        seconds_logged=float(np.sum(logged.held)),
        integral=float(np.sum(logged.held * (logged.rates[:-1] + logged.rates[1:])) / 2),
        min_milli=min(seen, default=None),
        max_milli=max(seen, default=None),
    )


class _Logged:
    """The part of a stay inside a series: its readings, the one before and the one after drawn in to the edges.

    ``held`` are the seconds between neighbours (0 across a gap); ``temps`` (thousandths of °C) and ``rates`` are
    one longer; ``spans`` are stretches without a gap; ``extremes`` are of lone readings too.
    """

    def __init__(self, at: Ints, milli: Ints, start: int, end: int, max_gap_seconds: int) -> None:
        drawn = np.clip(at, start, end)
        self.held: Ints = np.where(np.diff(at) <= max_gap_seconds, np.diff(drawn), 0)
        self.temps, self.rates = milli.astype(np.float64), rate_of(milli)
        if at.size > 1:
            shares = [(drawn[k] - at[k]) / (at[near] - at[k]) for k, near in ((0, 1), (-1, -2))]
            for row in (self.temps, self.rates):
                first, last = (row[k] + s * (row[n] - row[k]) for k, n, s in ((0, 1, shares[0]), (-1, -2, shares[1])))
                row[0], row[-1] = first, last
        begun = np.concatenate((self.held > 0, [False]))[: at.size]
        ended = np.concatenate(([False], self.held > 0))[: at.size]
        begins, ends = drawn[begun & ~ended], drawn[ended & ~begun]
        self.spans: list[tuple[int, int]] = list(zip(begins.tolist(), ends.tolist(), strict=True))
        met = self.temps[begun | ended | ((start <= at) & (at < end))]
        self.extremes = [round(float(met.min())), round(float(met.max()))] if met.size else []

    def seconds_beyond(self, limit: int, sign: int) -> float:
        """The time above (``sign`` 1) or below (-1) a limit, from crossing to crossing.

        On a straight piece from ``a`` to ``b`` beyond the limit the share out of range is (a+ + b+) / (|a| + |b|):
        all where neither is below zero, none where neither is above. At the limit throughout it is none.
        """
        beyond = sign * (self.temps - limit)
        out = np.maximum(beyond, 0)
        if not out.any():
            return 0.0
        size = np.abs(beyond)
        return float(np.sum(self.held * (out[:-1] + out[1:]) / np.maximum(size[:-1] + size[1:], 1e-9)))
