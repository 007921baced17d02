"""How the stock of a product will go: at expected demand, and in the bad case that an order is made for.

Lots are used first expired first out; what is left of one at its expiry is thrown away. Pieces that nothing is there for
are owed, so that a path below zero says how many are short.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.counts import Pmf, mean_of, quantile
from stockroom.core.orders import OrderInput, expected_rates
from stockroom.core.projection import Stock, path

DAY = 86_400
CRUMB = 1e-6
"""Pieces below which something is rounding."""
LONG = 1000
"""Longer distributions are not thinned piece by piece: nobody sees the difference, and it takes long."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """Pieces that come at an instant, with the order's label."""

    at: int
    pieces: int
    label: str


@dataclass(frozen=True, slots=True)
class StockPath:
    """Pieces there at each of the instants ``at``: ``expected``, and in the ``bad`` case; below zero they are short.

    ``expiries`` are (instant, pieces that expire unused at expected demand). The bad case is that of the target until
    covers_until, and follows expected demand from there on.
    """

    start: int
    end: int
    covers_until: int
    at: tuple[int, ...]
    expected: tuple[float, ...]
    bad: tuple[float, ...]
    arrivals: tuple[Arrival, ...]
    expiries: tuple[tuple[int, float], ...]


def stock_path(given: OrderInput, arrivals: Sequence[Arrival], marks: Iterable[int]) -> StockPath:
    """The path from ``given.now`` to the last of some instants, where something happens and at each of ``marks``.

    ``arrivals`` stand for ``given.on_order``: open orders, and this one where something is ordered.
    """
    life = given.product.shelf_life_days
    stocks: list[Stock] = [(given.now, end, n) for end, n in given.lots]
    stocks += [(a.at, None if life is None else a.at + life * DAY, a.pieces) for a in arrivals]
    rates, last = expected_rates(given), max(marks := [given.now, *marks])
    ends = {end for _, end, _ in stocks if end is not None}
    happens = {*marks, *(at for at, _ in given.known), *rates, given.covers_until, *(at for at, _, _ in stocks), *ends}
    moments = sorted(m for m in happens if given.now <= m <= last)
    expected = path(stocks, given.now, given.known, rates, moments)
    worst, before = list(given.known), 0
    for mark in (m for m in moments if given.now < m <= given.covers_until):
        more = max(before, unbooked_bad_case(given, mark))
        worst.append((mark, more - before))
        before = more
    after = {at: rate if at >= given.covers_until else 0.0 for at, rate in rates.items()}
    bad = path(stocks, given.now, worst, after, moments)
    gone: dict[int, float] = {}
    for (_, end, _), unused in zip(stocks, expected.unused, strict=True):
        if end is not None and end <= last and unused > CRUMB:
            gone[max(end, given.now)] = gone.get(max(end, given.now), 0.0) + unused
    return StockPath(
        given.now, last, given.covers_until, expected.at, expected.there, bad.there,
        tuple(a for a in arrivals if a.at <= last), tuple(sorted(gone.items())),
    )  # fmt: skip


def bad_case(given: OrderInput, until: int) -> int:
    """Pieces needed before an instant, at the target: booked, and what may still be booked."""
    return sum(n for at, n in given.known if at < until) + unbooked_bad_case(given, until)


def unbooked_bad_case(given: OrderInput, until: int) -> int:
    """Pieces still to be booked before an instant that are not exceeded with the chance of the target.

    What is still to be booked is spread evenly until covers_until, each piece by itself: a thinned distribution, which
    is exact for Poisson and negative binomial numbers of single pieces. Beyond a thousand pieces the quantile's distance
    from the mean is scaled by the root of the share instead.
    """
    share = min(1.0, max(0.0, (until - given.now) / max(1, given.covers_until - given.now)))
    if len(given.unbooked) > LONG:
        mean = mean_of(given.unbooked)
        return math.ceil(share * mean + math.sqrt(share) * (quantile(given.unbooked, given.target) - mean))
    return quantile(thinned(given.unbooked, share), given.target)


def thinned(pmf: Pmf, share: float) -> Pmf:
    """The distribution of a count of which each piece stays with a chance: its generating function at 1 - s + s z."""
    out = np.zeros(1)
    for chance in pmf[::-1]:
        out = np.convolve(out, np.array([1 - share, share]))
        out[0] += chance
    return out
