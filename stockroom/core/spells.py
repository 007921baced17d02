"""Temperature series and lines: silences, and the spells out of range with their figures.

A series is two int64 arrays of one length: ``at`` (UTC seconds, strictly increasing) and ``milli`` (thousandths
of °C). A line is a direction and a limit; limits are inclusive, so a reading equal to the limit is in range.

Between neighbouring readings no further apart than ``max_gap_seconds`` the temperature is taken to run straight;
across a longer silence nothing is known, and no spell crosses one. Every figure depends only on the readings
around its spell, never on where the array begins (whole numbers are summed exactly, fractions by math.fsum), so
that a part of a series gives the very figures that the whole gives (see ``widened``).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Line:
    """What must not be passed: ``warm`` is broken above ``limit`` (thousandths of °C), ``cold`` below it."""

    direction: Literal["warm", "cold"]
    limit: int

    def beyond(self, milli: int) -> int:
        """How far a temperature lies on the wrong side: above zero when it breaks the line."""
        return milli - self.limit if self.direction == "warm" else self.limit - milli


@dataclass(frozen=True, slots=True)
class Gap:
    """A silence between two readings; ``end`` is None while it lasts."""

    start: int
    end: int | None


@dataclass(frozen=True, slots=True)
class Spell:
    """One time out of range on a line: from the first crossing to the last one, instants in UTC seconds.

    ``start`` and ``end`` are the crossings rounded to whole seconds, halves to even, for display; ``end`` is None
    while it lasts, that is, where the last reading of the series is out. ``seconds`` (time out of range) and
    ``degree_minutes`` (°C x minutes beyond the limit) come from the unrounded crossings; while it lasts they run
    to the last reading. ``at_most_from`` and ``at_most_to`` are the last reading in range before and the first
    one after, gaps included, None where there is none. ``extreme`` is the worst reading; ``first_out`` and
    ``last_out`` are the instants of the first and last reading out of range.
    """

    start: int
    end: int | None
    seconds: float
    at_most_from: int | None
    at_most_to: int | None
    extreme: int
    degree_minutes: float
    first_out: int
    last_out: int

    @property
    def anchor(self) -> int:
        """The instant by which the spell is known: its first reading out of range."""
        return self.first_out

    @property
    def minutes(self) -> float:
        """Minutes out of range, 2 decimals."""
        return round(self.seconds / 60, 2)

    @property
    def minutes_at_most(self) -> float | None:
        """Minutes between the readings in range on either side, 2 decimals; None while none has followed.

        Where the series begins out of range the first reading out of range stands in for the one before.
        """
        if self.at_most_to is None:
            return None
        since = self.first_out if self.at_most_from is None else self.at_most_from
        return round((self.at_most_to - since) / 60, 2)


def gaps(at: Ints, max_gap_seconds: int) -> list[Gap]:
    """The silences between neighbouring readings that lasted longer than ``max_gap_seconds``."""
    before = np.flatnonzero(np.diff(at) > max_gap_seconds)
    return [Gap(a, b) for a, b in zip(at[before].tolist(), at[before + 1].tolist(), strict=True)]


def silence(last_at: int, now: int, max_gap_seconds: int) -> Gap | None:
    """The silence that still lasts at ``now``, if it is already longer than ``max_gap_seconds``."""
    return Gap(last_at, None) if now - last_at > max_gap_seconds else None


def spells(at: Ints, milli: Ints, line: Line, max_gap_seconds: int, settle_seconds: int) -> list[Spell]:
    """The spells of a series on a line, in order.

    A spell begins and ends where the straight line between neighbouring readings crosses the limit. At the
    beginning of the series and after a gap it begins at its first reading out of range, before a gap it ends at
    its last one; what follows a gap is another. Spells less than ``settle_seconds`` apart, crossing to crossing
    and without a gap between, are one: times and areas add up. Touching is not less than zero apart, so
    ``settle_seconds`` 0 merges nothing.
    """
    beyond = milli - line.limit if line.direction == "warm" else line.limit - milli
    out = np.flatnonzero(beyond > 0)
    if not out.size:
        return []
    out_at, out_by = at[out], beyond[out]
    apart = np.diff(out) != 1
    torn = apart | (np.diff(out_at) > max_gap_seconds)
    head, tail = _runs(torn)
    lead = _Edges(at, beyond, out[head], -1, max_gap_seconds)
    trail = _Edges(at, beyond, out[tail], 1, max_gap_seconds)
    first, last = _runs(~_merged(at, out[head], out[tail], lead, trail, max_gap_seconds, settle_seconds))
    begin, finish = head[first], tail[last]

    # Seconds within runs, and twice the area: whole numbers, so that the sums are exact wherever they start.
    within = np.where(torn, 0, np.diff(out_at))
    inside = _between(within, begin, finish)
    doubled = _between(within * (out_by[:-1] + out_by[1:]), begin, finish)
    block_head, block_tail = _runs(apart)
    before = out[block_head][np.searchsorted(block_head, begin, "right") - 1] - 1
    after = out[block_tail][np.searchsorted(block_tail, finish)] + 1
    instants = _listed(out_at[begin], out_at[finish], at[before], at[np.minimum(after, at.size - 1)])
    worst = np.maximum.reduceat(out_by, begin) * (1 if line.direction == "warm" else -1) + line.limit
    figures = _listed(worst, lead.at[first], trail.at[last], inside, doubled, before, after, first, last + 1)
    series_end = int(at[-1])
    edge_seconds, edge_areas = _listed(lead.seconds, trail.seconds), _listed(lead.doubled, trail.doubled)
    return [
        Spell(
            start=start,
            end=end if last_out != series_end else None,
            seconds=fsum((held, *edge_seconds[0][k:m], *edge_seconds[1][k:m])),
            at_most_from=in_before if b >= 0 else None,
            at_most_to=in_after if t < at.size else None,
            extreme=extreme,
            degree_minutes=fsum((area, *edge_areas[0][k:m], *edge_areas[1][k:m])) / 120_000,
            first_out=first_out,
            last_out=last_out,
        )
        for first_out, last_out, in_before, in_after, extreme, start, end, held, area, b, t, k, m in zip(
            *instants, *figures, strict=True
        )
    ]


def _listed(*columns: NDArray[np.generic]) -> list[list[Any]]:
    return [column.tolist() for column in columns]


def _runs(split: Flags) -> tuple[Ints, Ints]:
    """The first and last positions of the runs that a row falls into; ``split[k]``: k and k + 1 are parted."""
    cut = np.flatnonzero(split)
    return np.concatenate(([0], cut + 1)), np.concatenate((cut, [split.size]))


def _between(steps: Ints, begin: Ints, finish: Ints) -> Ints:
    """The sums of ``steps[begin:finish]``, row by row."""
    upto = np.concatenate(([0], np.cumsum(steps)))
    total: Ints = upto[finish] - upto[begin]
    return total


class _Edges:
    """How long before (``step`` -1) or after (1) a run's outermost reading the line was crossed.

    As a fraction ``over / under`` of whole seconds (exact), as ``seconds``, as the instant ``at`` (rounded) and
    as twice the area ``doubled`` there; 0 / 1 where no neighbour is near enough.
    """

    def __init__(self, at: Ints, beyond: Ints, outermost: Ints, step: int, max_gap_seconds: int) -> None:
        other = np.clip(outermost + step, 0, at.size - 1)
        away = np.abs(at[outermost] - at[other])
        near = (other != outermost) & (away <= max_gap_seconds)
        self.over: Ints = np.where(near, away * beyond[outermost], 0)
        self.under: Ints = np.where(near, beyond[outermost] - beyond[other], 1)
        self.seconds: Floats = self.over / self.under
        self.at: Ints = np.rint(at[outermost] + step * self.seconds).astype(np.int64)
        self.doubled: Floats = self.seconds * beyond[outermost]


def _merged(
    at: Ints, head: Ints, tail: Ints, lead: _Edges, trail: _Edges, max_gap_seconds: int, settle_seconds: int
) -> Flags:
    """For each run but the last: is the next one part of the same spell?

    Compared in whole numbers, so that spells exactly ``settle_seconds`` apart stay two however the crossings
    round. The clip changes no answer (two edges are at most two gaps long) and keeps the products within 64 bits
    for gaps of up to ten years.
    """
    breaks = np.flatnonzero(np.diff(at) > max_gap_seconds)
    unbroken: Flags = np.searchsorted(breaks, tail[:-1]) == np.searchsorted(breaks, head[1:])
    spare = np.clip(at[head[1:]] - at[tail[:-1]] - settle_seconds, -1, 2 * max_gap_seconds + 1)
    under_1, under_2 = trail.under[:-1], lead.under[1:]
    close: Flags = spare * under_1 * under_2 < trail.over[:-1] * under_2 + lead.over[1:] * under_1
    together: Flags = unbroken & close
    return together


def widened(
    at_first: int,
    at_last: int,
    at: Ints,
    milli: Ints,
    lines: Sequence[Line],
    max_gap_seconds: int,
    settle_seconds: int,
) -> tuple[int, int]:
    """The window of instants, ends included, to recompute when the readings in [at_first, at_last] are new.

    ``at`` and ``milli`` are the whole series as it now is, new readings included. Every spell on any of ``lines``
    and every gap, of the series with or without the new readings, lies wholly inside the window or wholly
    outside; those outside stay as they were, with their ``at_most`` instants, and those inside are what
    ``spells`` finds on the readings of the window alone.

    On each side the window ends at the nearest reading, older than the new ones, that is in range on every line
    and either next to a gap, or ends (seen from the new readings: begins) a stretch of readings in range of
    ``settle_seconds`` or more. Without such a reading it runs to the end of the series.
    """
    if not at.size:
        return at_first, at_last
    clear = np.ones(at.size, dtype=np.bool_)
    for line in lines:
        clear &= milli <= line.limit if line.direction == "warm" else milli >= line.limit
    start = _nearest_clear(at, clear, at_first, max_gap_seconds, settle_seconds)
    end = -_nearest_clear(-at[::-1], clear[::-1], -at_last, max_gap_seconds, settle_seconds)
    return min(start, at_first), max(end, at_last)


def _nearest_clear(at: Ints, clear: Flags, before: int, max_gap_seconds: int, settle_seconds: int) -> int:
    """The last instant before ``before`` at which a series can be cut (see ``widened``), else its first."""
    torn = np.concatenate(([True], np.diff(at) > max_gap_seconds, [True]))
    goes_on = np.concatenate(([False], clear[:-1]))
    since = at[np.maximum.accumulate(np.where(goes_on, 0, np.arange(at.size)))]
    good = clear & (torn[:-1] | torn[1:] | (at - since >= settle_seconds))
    found = np.flatnonzero(good[: np.searchsorted(at, before)])
    return int(at[found[-1] if found.size else 0])
