"""How bookings come in: what was on the books for each week at the end of every week before it.

Weeks are blocks of seven local days that begin at the local clock time of the instant that is asked about, so any
weekday and any hour is exact. Block b begins at boundary b; boundary ``past`` is that instant, the blocks from there on
are still to come. Everything as of an earlier boundary is a matter of index: nothing later is in it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
DAYS = 7


@dataclass(frozen=True, slots=True, eq=False)
class OnTheBooks:
    """Each stretch of time in which a booking stood for one start: from ``since`` until ``until`` on the books.

    A move ends one stretch and begins another, a cancellation ends one. Arrays of equal length, instants in UTC
    seconds. ``first_made``: when the first booking was made, None where there never was one. ``kept_since``: the record
    tells of earlier bookings only that they stood by then (None: it tells when each was made).
    """

    since: Ints
    until: Ints
    start: Ints
    first_made: int | None = None
    kept_since: int | None = None

    def between(self, a: int, b: int, at: int) -> int:
        """How many bookings for [a, b) were on the books at an instant."""
        there = (self.since <= at) & (at < self.until) & (a <= self.start) & (self.start < b)
        return int(np.count_nonzero(there))


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """The blocks: ``marks`` are the instants between their days, ``past`` how many blocks are over.

    ``share`` is, for each day of each block, its staffed time over that of such a day by the usual hours; 1 where the
    usual hours have none. ``usual`` is the part of a usual week's staffed time that each of the seven days has.
    """

    marks: Ints
    past: int
    share: Floats
    usual: Floats

    @property
    def ahead(self) -> int:
        """How many blocks are still to come."""
        return len(self.share) - self.past

    @property
    def bounds(self) -> Ints:
        """The instants at which the blocks that are over begin, and the one that is asked about."""
        return self.marks[: DAYS * self.past + 1 : DAYS]

    @property
    def week_share(self) -> Floats:
        """For each block its staffed time over that of a usual week; 1 where the usual hours have none."""
        if not self.usual.any():
            return np.ones(len(self.share))
        return self.share @ self.usual


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """``count[b, d, i]``: bookings for day d of block b that were on the books at boundary i.

    ``first[i]`` is the first block of which anything was known at boundary i (the number of blocks where nothing was), not
    before that in which the first booking was made;
    ``made`` and ``kept`` are the first boundaries from which on a booking had been made, and the record was kept.
    """

    grid: Grid
    count: npt.NDArray[np.int32]
    first: Ints
    made: int
    kept: int

    def known(self, ahead: int) -> Ints:
        """[i, h]: on the books at boundary i for the block that begins h blocks later."""
        i, h = np.arange(self.grid.past + 1)[:, None], np.arange(ahead)[None, :]
        return np.asarray(self.count[i + h, :, i].sum(axis=-1), dtype=np.int64)

    def totals(self, i: int) -> Ints:
        """[b]: what block b came to, as it was known at boundary i."""
        return np.asarray(self.count[:, :, i].sum(axis=-1), dtype=np.int64)

    def pickups(self, i: int, h: int, weeks: int | None = None) -> Floats:
        """What came to be booked for each block that was over at boundary i, from h blocks before it began until its end.

        Over its share of staffed time; a block without any is left out. With ``weeks`` of the last so many only.
        """
        blocks = np.arange(max(int(self.first[i]), self.kept + h, 0 if weeks is None else i - weeks), i)
        share = self.grid.week_share[blocks]
        blocks, share = blocks[share > 0], share[share > 0]
        before = np.where(blocks >= h, self.count[blocks, :, np.maximum(blocks - h, 0)].sum(axis=-1), 0)
        gained: Floats = (self.count[blocks, :, blocks + 1].sum(axis=-1) - before) / share
        return gained

    def weeks_made(self) -> Ints:
        """[i]: complete blocks at boundary i since the first booking was made."""
        return np.maximum(0, np.arange(self.grid.past + 1) - self.made)


def curve(books: OnTheBooks, grid: Grid) -> Curve:
    """The bookings of one procedure, counted by block, day and boundary."""
    past, blocks, bounds = grid.past, len(grid.share), grid.bounds
    day = np.searchsorted(grid.marks, books.start, "right") - 1
    came, went = np.searchsorted(bounds, books.since), np.searchsorted(bounds, books.until)
    known = (day >= 0) & (day < DAYS * blocks) & (came <= past)
    first = np.full(past + 1, blocks)
    np.minimum.at(first, came[known], day[known] // DAYS)
    there = known & (came < went)
    day, came, went = day[there], came[there], went[there]
    count = np.zeros((blocks, DAYS, past + 2), np.int32)
    np.add.at(count, (day // DAYS, day % DAYS, came), 1)
    np.subtract.at(count, (day // DAYS, day % DAYS, went), 1)
    made = past + 1 if books.first_made is None else int(np.searchsorted(bounds, books.first_made))
    kept = -blocks if books.kept_since is None else int(np.searchsorted(bounds, books.kept_since))
    # A start long before anything was made (a slip, a walk-in written down later) begins no record.
    first = np.maximum(np.minimum.accumulate(first), min(made - 1, past))
    return Curve(grid, np.cumsum(count, axis=2, dtype=np.int32)[:, :, : past + 1], first, made, kept)


@dataclass(frozen=True, slots=True, eq=False)
class Pickup:
    """``mean[i, h, d]``: expected at boundary i to come for day d of the block that begins h blocks later, by additive
    pick-up; below zero where more is cancelled than booked. ``rows[i, h]``: over how many blocks the stage with the
    fewest was averaged.
    """

    mean: Floats
    rows: Ints


def pickup(found: Curve, ahead: int, weeks: int | None = None) -> Pickup:
    """Additive pick-up, advanced form: for each block to come the sum over its remaining stages of the mean increment
    over all blocks that have passed that stage, whether complete or not (Wickham 1995; Weatherford & Kimes 2003).

    A stage is one block of time; stage 0 is the block itself. Increments are counted by day of the block, each over
    that day's share of staffed time and times the share of the day to come: a day on which nobody was in teaches
    nothing, and where all shares are 1 this is the plain mean over weeks. A day that nobody ever worked takes the mean
    of the others. With ``weeks`` the mean is over the last so many blocks that have passed the stage.
    """
    grid, past = found.grid, found.grid.past
    e, m = np.arange(1, past + 1)[:, None], np.arange(ahead)[None, :]
    block = e - 1 + m
    share = grid.share[block]
    step = np.where(share > 0, found.count[block, :, e] - found.count[block, :, e - 1], 0)
    i = np.arange(past + 1)[:, None]
    left_out = np.maximum(found.first[:, None] - m, max(found.kept, 0))
    left_out = np.minimum(i, left_out if weeks is None else np.maximum(left_out, i - weeks))
    top, bottom = _sums(step, left_out, m), _sums(share, left_out, m)
    whole = bottom.sum(axis=2, keepdims=True)
    spread = np.divide(top.sum(axis=2, keepdims=True), whole, out=np.zeros_like(whole), where=whole > 0)
    each = np.divide(top, bottom, out=np.broadcast_to(spread, top.shape).copy(), where=bottom > 0)
    to_come = grid.share[i + m]
    return Pickup(np.cumsum(each, axis=1) * to_come, np.minimum.accumulate(i - left_out, axis=1))


def _sums(steps: Floats, left_out: Ints, m: Ints) -> Floats:
    """[i, m, d]: the sum of the first i steps without the first ``left_out[i, m]``."""
    added = np.concatenate((np.zeros((1, *steps.shape[1:])), np.cumsum(steps, axis=0, dtype=np.float64)))
    return np.asarray(added - added[left_out, m])
