"""What a forecast says of the time until an instant: whole blocks, and the last one compared with the same part of past ones."""

import math

import numpy as np

from stockroom.core.booking_curve import DAYS, Floats, Grid, OnTheBooks
from stockroom.core.forecasts import MEAN_10, PICKUP, PICKUP_10, WINDOW, Forecasts
from stockroom.core.net_counts import NOTHING, Net, total


def blocks_until(grid: Grid, end: int) -> int:
    """How many blocks to come the time until an instant touches."""
    return max(0, -(-(int(np.searchsorted(grid.marks, end)) - DAYS * grid.past) // DAYS))


def still_booked(found: Forecasts, name: str, books: OnTheBooks, end: int, most: float = math.inf) -> tuple[float, Net]:
    """The mean and the spread of what is still to be booked until ``end``, which lies in the last of the blocks ahead.

    The last block is counted up to the day in which ``end`` lies, and of that day the part of past bookings that began
    before that time of it. By pick-up a longer time never has less: where later days of a block expect more to be
    cancelled than booked, earlier ones expect no more than remains in the end. The mean is no more than ``most``.
    """
    grid, past, last = found.curve.grid, found.curve.grid.past, found.ahead - 1
    if last < 0 or name not in (PICKUP, PICKUP_10, MEAN_10):
        return 0.0, NOTHING
    day = int(np.searchsorted(grid.marks, end)) - 1 - DAYS * (past + last)
    part = _part_of_day(books, grid, day, end)
    means = [float(mean) for mean in found.still(name)[past, :last]]
    means.append(_part_of_block(found, name, books, day, part, end))
    if sum(means) > most:
        means = [mean * most / sum(means) for mean in means]
    shares = [float(share) for share in grid.week_share[past : past + last]]
    staffed = grid.share[past + last] * grid.usual
    shares.append(float(staffed[:day].sum() + part * staffed[day]))
    spread = total(found.net(name, past, h, means[h], shares[h]) for h in range(found.ahead))
    return sum(means), spread


def _part_of_block(found: Forecasts, name: str, books: OnTheBooks, day: int, part: float, end: int) -> float:
    """The mean of the first days of the last block, and of a part of the day after them."""
    grid, past, last = found.curve.grid, found.curve.grid.past, found.ahead - 1
    if name == MEAN_10:
        each = found.mean_by_day()[past, last]
        begins, now = int(grid.marks[DAYS * (past + last)]), int(grid.marks[DAYS * past])
        return max(0.0, float(each[:day].sum() + part * each[day]) - books.between(begins, end, now))
    each = np.cumsum(found.pickup_of(None if name == PICKUP else WINDOW).mean[past, last])
    least: Floats = np.maximum(0.0, np.minimum.accumulate(each[::-1])[::-1])
    before = float(least[day - 1]) if day else 0.0
    return before + part * (float(least[day]) - before)


def _part_of_day(books: OnTheBooks, grid: Grid, day: int, end: int) -> float:
    """The part of the bookings of such days in past blocks that began before the time of day of ``end``; where there was
    none, the part of the day itself.
    """
    n = int(np.searchsorted(grid.marks, end)) - 1
    begins, ends = int(grid.marks[n]), int(grid.marks[n + 1])
    if end >= ends:
        return 1.0
    on = np.searchsorted(grid.marks, books.start, "right") - 1
    alike = (on >= 0) & (on < DAYS * grid.past) & (on % DAYS == day)
    if not alike.any():
        return (end - begins) / (ends - begins)
    return float(np.mean(books.start[alike] - grid.marks[on[alike]] < end - begins))
