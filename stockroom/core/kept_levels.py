"""What an order keeps besides what is booked, for many runs at once, where lead times may turn out in several ways.

The same as core/protection.py says for one: the demand to cover is a mixture of the ways, each moved by what is booked
until its own end. What is booked differs from run to run, so a level is looked for in all of them together, by halving.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from stockroom.core.counts import TAIL, Pmf, certain, mean_of

Counts = npt.NDArray[np.int32]
Rates = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Unbooked:
    """What is still to be booked: ``pmfs[i]`` where i times ``step`` pieces or up to step - 1 more are booked already, the
    last one for all that is more. One of them: what is booked makes no difference.
    """

    pmfs: tuple[Pmf, ...]
    step: int = 1

    def certain(self, known: Counts, chance: float) -> Counts:
        """As many as surely come with a chance (core/counts.py), by what is booked."""
        found = np.array([certain(pmf, chance) for pmf in self.pmfs], np.int32)
        taken: Counts = found[np.minimum(known // self.step, len(found) - 1)]
        return taken


@dataclass(frozen=True, slots=True, eq=False)
class Span:
    """One way in which the lead time may turn out: its chance, what is still to be booked until the next order can be used,
    and until this one can (target kind "fill").
    """

    chance: float
    unbooked: Unbooked
    unbooked_lead: Unbooked | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """By what is booked already and by level: the chance of no more, and how many pieces exceed the level on average."""

    chance: Rates
    excess: Rates
    mean: Rates
    step: int

    @property
    def most(self) -> int:
        """The highest level at which anything changes."""
        return int(self.chance.shape[1]) - 1

    def row(self, known: Counts) -> Counts:
        """What is booked already, as the first index."""
        found: Counts = np.minimum(known // self.step, len(self.chance) - 1)
        return found

    def at_most(self, row: Counts, level: Counts) -> Rates:
        """The chance of no more than each level."""
        found: Rates = self.chance[row, np.clip(level, 0, self.most)]
        return np.where(level < 0, 0.0, found)

    def above(self, row: Counts, level: Counts) -> Rates:
        """How many pieces there are beyond each level on average."""
        found: Rates = self.excess[row, np.clip(level, 0, self.most)]
        return np.where(level < 0, self.mean[row] - level * self.chance[row, -1], found)


def _table(found: Unbooked) -> _Table:
    size = max(len(pmf) for pmf in found.pmfs)
    pmfs = np.array([np.pad(pmf, (0, size - len(pmf))) for pmf in found.pmfs])
    beyond = np.cumsum(pmfs[:, ::-1], axis=1)[:, ::-1]  # the chance of so many or more
    excess = np.zeros_like(pmfs)
    excess[:, :-1] = np.cumsum(beyond[:, :0:-1], axis=1)[:, ::-1]
    return _Table(np.cumsum(pmfs, axis=1), excess, np.array([mean_of(pmf) for pmf in found.pmfs]), found.step)


@dataclass(frozen=True, slots=True, eq=False)
class Booked:
    """(ways, runs) of what is booked by then: until the end of each way, and until this order itself can be used; and
    (runs,) until the usual end.
    """

    ends: Counts
    leads: Counts
    usual: Counts

    @property
    def alike(self) -> bool:
        """True where all runs have the same."""
        return all((part == part[..., :1]).all() for part in (self.ends, self.leads, self.usual))

    @property
    def first(self) -> "Booked":
        """That of the first run only."""
        return Booked(self.ends[:, :1], self.leads[:, :1], self.usual[:1])


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """All ways in which the lead time of one order may turn out, laid out to be read for many runs."""

    chances: tuple[float, ...]
    spans: tuple[_Table, ...]
    leads: tuple[_Table, ...]
    """Until the order itself can be used; empty for the target kind "cycle"."""
    _same: dict[tuple[bytes, float], Counts] = field(default_factory=dict)
    """What was found where all runs were alike."""

    def levels(self, booked: Booked, target: float) -> Counts:
        """(runs,): pieces to keep besides what is booked until the usual end, never below zero."""
        if len(booked.usual) > 1 and booked.alike:
            first = booked.first
            key = first.ends.tobytes() + first.leads.tobytes() + first.usual.tobytes(), target
            if key not in self._same:
                self._same[key] = self.levels(first, target)
            return np.repeat(self._same[key], len(booked.usual))
        moved = booked.ends - booked.usual
        rows = [table.row(n) for table, n in zip(self.spans, booked.ends, strict=True)]
        before = [table.row(n) for table, n in zip(self.leads, booked.leads, strict=False)]
        review = sum(
            chance * (span.mean[row] - lead.mean[earlier])
            for chance, span, lead, row, earlier in zip(
                self.chances, self.spans, self.leads, rows, before, strict=False
            )
        )

        def reaches(level: Counts) -> npt.NDArray[np.bool_]:
            found = np.zeros(level.shape)
            if not self.leads:
                for n, table in enumerate(self.spans):
                    found += self.chances[n] * table.at_most(rows[n], level - moved[n])
                return np.asarray(found >= target - TAIL)
            for n, (span, lead) in enumerate(zip(self.spans, self.leads, strict=True)):
                short = span.above(rows[n], level - moved[n]) - lead.above(before[n], level - moved[n])
                found += self.chances[n] * short
            served = 1 - np.divide(found, review, out=np.zeros_like(found), where=np.asarray(review) > 0)
            return np.asarray(np.clip(served, 0, 1) >= target - TAIL)

        low = moved.min(axis=0)
        high = np.max([n + table.most for n, table in zip(moved, self.spans, strict=True)], axis=0)
        while (low < high).any():
            middle = (low + high) // 2
            enough = reaches(middle)
            high = np.where(enough, middle, high)
            low = np.where(enough, low, np.minimum(middle + 1, high))
        found: Counts = np.maximum(low, 0).astype(np.int32)
        return found


def kept(spans: Sequence[Span], kind: str) -> Kept:
    """The levels of some ways, whose chances add up to 1, for a target kind ("fill" needs their ``unbooked_lead``)."""
    leads = [span.unbooked_lead for span in spans if span.unbooked_lead is not None] if kind == "fill" else []
    return Kept(
        tuple(span.chance for span in spans), tuple(_table(span.unbooked) for span in spans), tuple(map(_table, leads))
    )
