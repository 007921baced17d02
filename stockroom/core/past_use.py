"""A practice's own past weeks, drawn again as the weeks ahead: what was used on each day, and how long before it was booked.

Weeks are drawn in blocks of neighbours that wrap around at the end (circular block bootstrap, Politis & Romano 1992),
so that every week is drawn as often as any other and a busy stretch stays together. What a piece of demand was booked
ahead comes with it. What is booked today is not drawn but stands: a day's demand is what is booked for it now, and of
the drawn day what was not booked yet when it was as far ahead.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stockroom.core.play import Counts, Flags, Rates


@dataclass(frozen=True, slots=True, eq=False)
class PastUse:
    """Whole local weeks from Monday on, oldest first."""

    pieces: Counts
    """(weeks, 7): pieces used."""
    ahead: Counts
    """(weeks, 7, longest + 2): of these, pieces that were booked at least so many days before; the last are zero."""

    @property
    def weeks(self) -> int:
        """How many there are."""
        return len(self.pieces)

    @property
    def block(self) -> int:
        """Neighbouring weeks that are drawn together: the cube root of their number, the order of magnitude that Hall,
        Horowitz & Jing (1995) derive for a variance.
        """
        return max(1, round(math.cbrt(self.weeks)))


def past_use(weeks: int, used: Sequence[tuple[int, int, int | None]]) -> PastUse:
    """From (day since the first Monday, pieces, days booked ahead or None) of everything used in so many weeks."""
    longest = max((ahead for _, _, ahead in used if ahead is not None), default=0)
    pieces = np.zeros(weeks * 7, np.int32)
    ahead = np.zeros((weeks * 7, longest + 2), np.int32)
    for day, number, booked in used:
        pieces[day] += number
        if booked is not None:
            ahead[day, : booked + 1] += number
    return PastUse(pieces.reshape(weeks, 7), ahead.reshape(weeks, 7, -1))


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """The days ahead, today being day 0: its weekday, on which of them anybody is there (demand is drawn only for
    these; today counts as over), and how many pieces are booked for each.
    """

    weekday: int
    staffed: Flags
    booked: Counts

    @property
    def week_of(self) -> Counts:
        """(days,): the week of each day, that of today being 0."""
        return ((self.weekday + np.arange(len(self.staffed))) // 7).astype(np.int32)

    @property
    def weekday_of(self) -> Counts:
        """(days,): 0 for Monday."""
        return ((self.weekday + np.arange(len(self.staffed))) % 7).astype(np.int32)


def drawn_weeks(starts: Counts, past: PastUse, weeks: int) -> Counts:
    """(weeks, runs) numbers of past weeks from (blocks, runs) numbers of those with which the blocks begin."""
    blocks = (starts[:, None, :] + np.arange(past.block)[None, :, None]) % past.weeks
    return blocks.reshape(-1, starts.shape[1])[:weeks].astype(np.int32)


def demand_of(past: PastUse, days: Ahead, weeks: Counts) -> Counts:
    """(days, runs): demand, from the (weeks, runs) that were drawn."""
    booked = _booked(past, days, weeks, np.arange(len(days.staffed)) + 1)
    drawn: Counts = past.pieces[weeks[days.week_of], days.weekday_of[:, None]]
    drawn -= booked
    drawn[~days.staffed] = 0
    drawn += days.booked[:, None]
    return drawn


def known_of(past: PastUse, days: Ahead, weeks: Counts, decided: int, covered: int) -> Counts:
    """(runs,): of the demand of the days from ``decided`` to before ``covered``, what is booked in the morning of
    ``decided``.
    """
    span = slice(decided, min(covered, decided + past.ahead.shape[2]))  # none was ever booked longer ahead
    there = np.arange(max(0, min(span.stop, len(days.staffed)) - decided)) + 1
    total: Counts = np.full(weeks.shape[1], days.booked[decided:covered].sum(), np.int32)
    if len(there):
        part = Ahead(int(days.weekday_of[decided]), days.staffed[span], days.booked[span])
        drawn = weeks[int(days.week_of[decided]) :]
        new = _booked(past, part, drawn, there)
        new -= _booked(past, part, drawn, there + decided)
        new[~part.staffed] = 0
        total += new.sum(axis=0, dtype=np.int32)
    return total


def _booked(past: PastUse, days: Ahead, weeks: Counts, ahead: npt.NDArray[np.integer]) -> Counts:
    """(days, runs): of the drawn days' use, pieces booked at least ``ahead`` (days,) days before."""
    limited = np.minimum(ahead, past.ahead.shape[2] - 1)
    found: Counts = past.ahead[weeks[days.week_of], days.weekday_of[:, None], limited[:, None]]
    return found


def expected_use(past: PastUse, days: Ahead) -> Rates:
    """(days,): demand as expected today: what is booked, and the past weeks' mean of what was not booked as far ahead."""
    weeks = np.broadcast_to(np.arange(past.weeks, dtype=np.int32), (int(days.week_of[-1]) + 1, past.weeks))
    found: Rates = demand_of(past, days, weeks).mean(axis=1)
    return found
