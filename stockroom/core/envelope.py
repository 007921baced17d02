"""A temperature series in few steps: the lowest and highest reading of each, and never one across a silence.

What is drawn from it loses no extreme: a spike of one reading in a year stands in the step that holds it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.spells import Gap, Ints


@dataclass(frozen=True, slots=True)
class Step:
    """Readings of one part of a window between two silences.

    ``start`` and ``end`` are the instants of the first and last of them (the same where there is one), ``low`` and
    ``high`` the extremes in thousandths of °C; ``joined`` is True where no silence parts it from the step before.
    """

    start: int
    end: int
    low: int
    high: int
    joined: bool


def step_of(at: int, start: int, end: int, parts: int) -> int:
    """Which of ``parts`` equal parts of the window [start, end] an instant lies in, from 0; its edges included."""
    if end <= start:
        return 0
    return max(0, min(parts - 1, (at - start) * parts // (end - start)))


def envelope(at: Ints, milli: Ints, start: int, end: int, parts: int, silences: Sequence[Gap]) -> list[Step]:
    """The readings in [start, end], in at most ``parts`` equal parts of it, cut once more at every silence.

    ``at`` is strictly increasing. A silence begins at a reading and ends at one; a cut lies before every reading at
    or after which a silence has just ended.
    """
    inside = slice(int(np.searchsorted(at, start)), int(np.searchsorted(at, end, side="right")))
    when, degrees = at[inside], milli[inside]
    if not when.size:
        return []
    part = np.clip((when - start) * parts // max(1, end - start), 0, parts - 1)
    after = np.searchsorted(np.array(sorted(g.start for g in silences), dtype=np.int64), when)
    parted = np.diff(after) > 0  # a silence began at the reading before, or between the two
    head = np.concatenate(([0], np.flatnonzero((np.diff(part) > 0) | parted) + 1))
    tail = np.concatenate((head[1:] - 1, [when.size - 1]))
    joined = np.concatenate(([False], ~parted[head[1:] - 1]))
    low, high = np.minimum.reduceat(degrees, head), np.maximum.reduceat(degrees, head)
    columns = (when[head], when[tail], low, high)
    return [Step(a, b, lo, hi, bool(j)) for a, b, lo, hi, j in zip(*(c.tolist() for c in columns), joined, strict=True)]


def unwatched_seconds(at: Ints, start: int, end: int, max_gap_seconds: int) -> int:
    """Seconds of [start, end] that lie in no stretch of readings at most ``max_gap_seconds`` apart."""
    if end <= start or at.size < 2:
        return max(0, end - start)
    first, last = at[:-1], at[1:]
    watched = np.clip(np.minimum(last, end) - np.maximum(first, start), 0, None)
    return int(end - start - watched[last - first <= max_gap_seconds].sum())
