"""What a rehearsal is played from and what it comes to: the plan, what chance decides, what happened (core/rehearsal.py)."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stockroom.core.packs import Break

Counts = npt.NDArray[np.int32]
Rates = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What is played, in ``rows`` policies side by side. A period beyond the last stands for never."""

    periods: int
    level: Counts
    """(periods, rows): the position is brought up to this, and to what is known besides (see Drawn)."""
    arrives: Counts
    """(periods, rows): the period in which an order of this one arrives; -1 where none is made."""
    life: Counts
    """(rows,): periods in which a piece may be used, that of its arrival included."""
    pack: Counts
    """(rows,): pieces in a pack."""
    least: Counts | None = None
    """(rows,): the smallest number of packs that can be ordered."""
    breaks: tuple[Break, ...] = ()
    """Price breaks, the same for all rows."""
    room: Counts | None = None
    """(rows,): no order brings the position above this (space), what will have left by then aside (see Drawn)."""
    lasting: Counts | None = None
    """(periods, rows): nor above this, what would expire first left aside (shelf life; see also Drawn)."""
    patience: Counts | None = None
    """(periods,): an order of this one is expected so many periods after it arrives at the earliest. If it has not come by
    then it counts as nothing until it stands there. None: it is known when each one comes."""
    first: Counts | None = None
    """(rows,): pieces that are ordered in the first period in any case; below zero: as in any other."""
    expected: Rates | None = None
    """(periods and a span more, rows): demand as expected, for the waste correction; None: none is made."""
    watched: Counts | None = None
    """(periods, rows): the last period whose end counts for the correction of an order of this one; before it: none."""
    lots: tuple[tuple[int, int, int], ...] = ()
    """There at the beginning: (row, last period in which it may be used, pieces)."""
    coming: tuple[tuple[int, int, int], ...] = ()
    """On order at the beginning: (row, period of arrival, pieces)."""
    unready: int = 0
    """Periods for which pieces stand there before the one in which they arrive here, not usable yet (warm-up)."""
    cycle_begins: Flags | None = None
    """(periods, rows): True where a cycle begins, and the one before ends; None: every period is one."""
    counted_from: int = 0
    """What happens before this period is not counted."""

    @property
    def cycles(self) -> Counts:
        """(rows,): whole cycles that are counted."""
        if self.cycle_begins is None:
            return np.full(len(self.life), self.periods - self.counted_from, np.int32)
        begun = self.cycle_begins[self.counted_from :].sum(axis=0, dtype=np.int32)
        whole: Counts = np.maximum(begun - 1, 0)
        return whole


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What chance decides for some runs."""

    demand: Counts
    """(periods, rows or 1, runs)."""
    known: Counts | None = None
    """(periods, rows or 1, runs): what is booked already, of that which an order of this period must cover."""
    leaving: Counts | None = None
    """(periods, rows or 1, runs): what is booked to have left by the time an order of this period comes (room)."""
    lasting: Counts | None = None
    """(periods, rows or 1, runs): as that of the plan, and instead of it."""
    late: Counts | None = None
    """(periods, runs): by how many periods an order of this one arrives later than planned."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Played:
    """What happened in each run over ``periods`` counted periods; shapes are (rows, runs)."""

    periods: int
    cycles: Counts
    """(rows,): whole cycles."""
    demand: Counts
    """(rows or 1, runs)."""
    lost: Counts
    short: Counts
    """Whole cycles in which something was lost."""
    wasted: Counts
    kept: Counts
    """What was there at the end of each period, added up."""
    ordered: Counts
    gain: Counts
    """By how much the position has grown."""
    peak: Counts
    """The most that ever stood there."""
