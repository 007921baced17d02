"""What is ordered and not here yet, in a rehearsal: when it comes, and when whoever orders expects it.

Nobody knows of an order that is late but that it is not there. So it is counted on for the period in which it is expected;
from then on it counts as nothing (an order that is overdue on the order list), until it stands there.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Counts = npt.NDArray[np.int32]
Changes = dict[int, list[tuple[int, Counts]]]


@dataclass(slots=True, eq=False)
class OnTheWay:
    """Tables (rows, runs) of pieces by the period in which they can be used; they stand there ``unready`` periods before."""

    unready: int
    due: dict[int, Counts] = field(default_factory=dict)
    promised: dict[int, Counts] = field(default_factory=dict)
    """The same for when they are expected: all that whoever orders can know."""
    overdue: Counts | int = 0
    _turning: Changes = field(default_factory=dict)
    """What becomes overdue, and with a minus what is it no more: (period for which it was or is promised, pieces)."""
    _early: Changes = field(default_factory=dict)
    """What comes before it is expected: (period for which it was, pieces)."""

    def sent(self, t: int, comes: int, expected: int, pieces: Counts) -> None:
        """Enters what is ordered in period t (before the first: t = -1)."""
        _added(self.due, comes, pieces)
        _added(self.promised, expected, pieces)
        if comes == expected:
            return
        overdue = max(t + 1, expected - self.unready)
        if comes < min(expected, overdue):
            self._early.setdefault(comes, []).append((expected, pieces))
        else:
            self._turning.setdefault(overdue, []).append((expected, pieces))
            self._turning.setdefault(max(overdue, comes - self.unready), []).append((comes, -pieces))

    def begin(self, t: int) -> None:
        """Period t begins: what was expected by now and is not there is overdue, what stands there is it no more."""
        for period, pieces in self._turning.pop(t, ()):
            self.overdue = self.overdue + pieces
            _added(self.promised, period, -pieces)

    def arriving(self, t: int) -> Counts | None:
        """Takes out what comes in period t."""
        self.promised.pop(t, None)
        for period, pieces in self._early.pop(t, ()):
            _added(self.promised, period, -pieces)
        return self.due.pop(t, None)

    def standing(self, t: int) -> list[Counts]:
        """What stands there in period t and cannot be used yet."""
        return [self.due[p] for p in range(t + 1, t + 1 + self.unready) if p in self.due]


def _added(to: dict[int, Counts], period: int, pieces: Counts) -> None:
    to[period] = to[period] + pieces if period in to else pieces
