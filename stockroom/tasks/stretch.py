"""Readings of a fridge, as many as somebody has to look at: some, and those around them on demand."""

from dataclasses import dataclass

import numpy as np

from stockroom.core.days import DAY
from stockroom.core.spells import Ints
from stockroom.store import Link, fridges

BLOCK = 2 * DAY


@dataclass(slots=True)
class Stretch:
    """Readings of a fridge without a hole: some, and as many before and after them as somebody had to look at."""

    conn: Link
    key: int
    at: Ints
    milli: Ints
    back_to: int | None
    """The instant of the reading before; None where there is none."""
    forth_to: int | None
    block: int = BLOCK

    def back(self) -> None:
        """Takes in the readings before."""
        if self.back_to is not None:
            at, milli = fridges.series(self.conn, self.key, self.back_to - self.block, self.back_to)
            self.at, self.milli = np.concatenate((at, self.at)), np.concatenate((milli, self.milli))
            self.back_to = reading_before(self.conn, self.key, int(at[0]))
            self.block *= 4

    def forth(self) -> None:
        """Takes in the readings after."""
        if self.forth_to is not None:
            at, milli = fridges.series(self.conn, self.key, self.forth_to, self.forth_to + self.block)
            self.at, self.milli = np.concatenate((self.at, at)), np.concatenate((self.milli, milli))
            self.forth_to = fridges.first_reading(self.conn, self.key, int(at[-1]) + 1)
            self.block *= 4

    def clipped(self, start: int, end: int) -> tuple[Ints, Ints]:
        """The readings in [start, end)."""
        a, b = np.searchsorted(self.at, [start, end])
        return self.at[a:b], self.milli[a:b]


def reading_before(conn: Link, key: int, at: int) -> int | None:
    """The instant of the reading before an instant."""
    row = fridges.last_reading(conn, key, at - 1)
    return None if row is None else row[0]


def stretch(conn: Link, key: int, at: Ints, milli: Ints) -> Stretch:
    """Some readings of a fridge and their neighbours; ``at`` is all there is between its first and its last."""
    found = Stretch(
        conn, key, at, milli, reading_before(conn, key, int(at[0])), fridges.first_reading(conn, key, int(at[-1]) + 1)
    )
    found.back()
    found.forth()
    return found
