"""What an order must cover: demand until the order after it can be used, where lead times may turn out in several ways.

For each lead time on record there is a span of its own: what is booked until its end is certain, what is still to be
booked is a distribution. The demand to cover is the mixture of these sums, each with its chance, and a level is read from
that mixture: exact, also where lead times have two peaks, for which a formula of mean and variance is far off.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.counts import Pmf, chance_at_most, fill_level, fill_rate, mean_of, mixture, quantile


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """One way in which the lead time may turn out, with its chance.

    ``unbooked`` are pieces still to be booked for [now, covers_until), ``unbooked_lead`` those until this order can be used
    (for the target kind "fill").
    """

    chance: float
    covers_until: int
    unbooked: Pmf
    unbooked_lead: Pmf | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Protection:
    """The demand to cover, counted from ``lowest`` pieces on: below none (negative) where a short lead time leaves out
    bookings that the usual one has.
    """

    lowest: int
    demand: Pmf
    lead: Pmf | None
    review_mean: float

    def level(self, kind: str, target: float) -> int:
        """The smallest number of pieces besides the known bookings that reaches the target; never below zero.

        Raises: ValueError for a target that is no chance, an unknown kind, or "fill" without ``unbooked_lead``.
        """
        if kind == "cycle":
            return max(0, self.lowest + quantile(self.demand, target))
        return max(0, self.lowest + fill_level(self.demand, self._lead(kind), self.review_mean, target))

    def no_shortage(self, level: int) -> float:
        """The chance that so many pieces besides the known bookings are enough."""
        return chance_at_most(self.demand, level - self.lowest)

    def reached(self, kind: str, level: int) -> float:
        """What so many pieces reach of a target of this kind.

        What is booked is served first and in full, so a fill rate is that of what is still to be booked.
        Raises: as ``level``.
        """
        if kind == "cycle":
            return self.no_shortage(level)
        return fill_rate(self.demand, self._lead(kind), self.review_mean, level - self.lowest)

    def _lead(self, kind: str) -> Pmf:
        if kind != "fill" or self.lead is None:
            raise ValueError(f'target kind "{kind}": neither "cycle" nor "fill" with its unbooked_lead')
        return self.lead


def protection(known: Sequence[tuple[int, int]], covers_until: int, ways: Sequence[Way]) -> Protection:
    """The demand to cover besides what is booked before ``covers_until``, over all ways.

    ``known`` are (instant, pieces) of all bookings. Raises: ValueError where the chances do not add up to 1.
    """
    if len(ways) == 1 and ways[0].covers_until == covers_until:
        only = ways[0]
        return Protection(0, only.unbooked, only.unbooked_lead, _review(only))
    booked = [booked_before(known, way.covers_until) - booked_before(known, covers_until) for way in ways]
    lowest, chances = min(booked), [way.chance for way in ways]
    leads = [way.unbooked_lead for way in ways if way.unbooked_lead is not None]
    return Protection(
        lowest,
        mixture(chances, [_moved(way.unbooked, n - lowest) for way, n in zip(ways, booked, strict=True)]),
        # The bookings of the whole span go before either part of what is still to be booked.
        mixture(chances, [_moved(lead, n - lowest) for lead, n in zip(leads, booked, strict=True)]) if leads else None,
        sum(way.chance * _review(way) for way in ways),
    )


def booked_before(known: Sequence[tuple[int, int]], end: int) -> int:
    """Pieces of the bookings before an instant."""
    return sum(pieces for at, pieces in known if at < end)


def _review(way: Way) -> float:
    """The mean of what comes between this order's and the next one's use."""
    return 0.0 if way.unbooked_lead is None else mean_of(way.unbooked) - mean_of(way.unbooked_lead)


def _moved(pmf: Pmf, pieces: int) -> Pmf:
    return np.concatenate((np.zeros(pieces), pmf)) if pieces else pmf
