"""What an order keeps besides what is booked, for many runs at once, where lead times may turn out in several ways.

The same as core/protection.py says for one: the demand to cover is a mixture of the ways, each moved by what is booked
until its own end. What is booked differs from run to run, so a level is looked for in all of them together, by halving.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from stockroom.core.counts import TAIL, Pmf, mean_of
from stockroom.core.protection import Way

Counts = npt.NDArray[np.int32]
Rates = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Of one distribution, by level: the chance of no more, and how many pieces it exceeds the level by on average."""

    chance: Rates
    excess: Rates
    mean: float

    def at_most(self, level: Counts) -> Rates:
        """The chance of no more than each level."""
        found: Rates = self.chance[np.clip(level, 0, len(self.chance) - 1)]
        return np.where(level < 0, 0.0, found)

    def above(self, level: Counts) -> Rates:
        """How many pieces there are beyond each level on average."""
        found: Rates = self.excess[np.clip(level, 0, len(self.excess) - 1)]
        return np.where(level < 0, self.mean - level * self.chance[-1], found)


def _table(pmf: Pmf) -> _Table:
    beyond = np.cumsum(pmf[::-1])[::-1]  # the chance of so many or more
    excess = np.append(np.cumsum(beyond[:0:-1])[::-1], 0.0)
    return _Table(np.cumsum(pmf), excess, mean_of(pmf))


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """All ways in which the lead time of one order may turn out, laid out to be read for many runs."""

    chances: tuple[float, ...]
    spans: tuple[_Table, ...]
    leads: tuple[_Table, ...]
    """Until the order itself can be used; empty for the target kind "cycle"."""
    review: float
    """The mean of what comes between this order's use and the next one's."""
    _same: dict[tuple[bytes, float], Counts] = field(default_factory=dict)
    """What was found where all runs were alike."""

    def levels(self, booked: Counts, target: float) -> Counts:
        """(runs,): pieces to keep, never below zero, where ``booked`` (ways, runs) is what is booked until the end of each
        way beyond what is booked until the usual end.
        """
        if booked.shape[1] > 1 and (booked == booked[:, :1]).all():
            key = booked[:, 0].tobytes(), target
            if key not in self._same:
                self._same[key] = self.levels(booked[:, :1], target)
            return np.repeat(self._same[key], booked.shape[1])
        least = booked.min(axis=0)
        low, high = least.copy(), least.copy()
        for table, moved in zip(self.spans, booked, strict=True):
            np.maximum(high, moved + (len(table.chance) - 1), out=high)
        while (low < high).any():
            middle = (low + high) // 2
            enough = self._reaches(middle, booked, target)
            high = np.where(enough, middle, high)
            low = np.where(enough, low, np.minimum(middle + 1, high))
        found: Counts = np.maximum(low, 0).astype(np.int32)
        return found

    def _reaches(self, level: Counts, booked: Counts, target: float) -> npt.NDArray[np.bool_]:
        found = np.zeros(level.shape)
        if not self.leads:
            for chance, table, moved in zip(self.chances, self.spans, booked, strict=True):
                found += chance * table.at_most(level - moved)
            return np.asarray(found >= target - TAIL)
        if self.review <= 0:
            return np.ones(level.shape, np.bool_)
        for chance, span, lead, moved in zip(self.chances, self.spans, self.leads, booked, strict=True):
            found += chance * (span.above(level - moved) - lead.above(level - moved))
        return np.asarray(np.clip(1 - found / self.review, 0, 1) >= target - TAIL)


def kept(ways: Sequence[Way], kind: str) -> Kept:
    """The levels of some ways, whose chances add up to 1, for a target kind ("fill" needs their ``unbooked_lead``)."""
    leads = [way.unbooked_lead for way in ways if way.unbooked_lead is not None] if kind == "fill" else []
    review = sum(
        way.chance * (mean_of(way.unbooked) - mean_of(way.unbooked_lead))
        for way in ways
        if way.unbooked_lead is not None
    )
    return Kept(
        tuple(way.chance for way in ways), tuple(_table(way.unbooked) for way in ways), tuple(map(_table, leads)), review
    )  # fmt: skip
