"""Booking histories for tests: made by hand, by chance, and counted by the plainest loops."""

from collections.abc import Sequence

import numpy as np
from hypothesis import strategies as st

from stockroom.core.booking_curve import Grid, OnTheBooks

DAY = 86_400
NEVER = 1 << 60


def grid(past: int, ahead: int, share: np.ndarray | None = None) -> Grid:
    """Blocks of seven times 24 hours from instant 0 on, every day with the same part of the week's time."""
    blocks = past + ahead
    marks = np.arange(7 * blocks + 1, dtype=np.int64) * DAY
    return Grid(marks, past, np.ones((blocks, 7)) if share is None else share, np.full(7, 1 / 7))


def books(stretches: Sequence[tuple[int, int, int]], kept: int | None = None) -> OnTheBooks:
    """(since, until, start) of each."""
    since, until, start = (
        (np.array(c, np.int64) for c in zip(*stretches, strict=True)) if stretches else 3 * (np.zeros(0, np.int64),)
    )
    return OnTheBooks(since, until, start, int(since.min()) if len(since) else None, kept)


def of_triangle(triangle: Sequence[Sequence[int]]) -> tuple[OnTheBooks, Grid]:
    """Bookings that make up a triangle: rows are blocks, columns how many were booked so many blocks before the end."""
    columns, rows = len(triangle[0]), len(triangle)
    past = sum(len(row) == columns for row in triangle) + columns  # empty blocks first: nothing was booked before
    found = []
    for n, row in enumerate(triangle):
        block = n + columns
        for stage, (before, after) in enumerate(zip([0, *row], row, strict=False)):
            boundary = block + 1 - (columns - 1 - stage)
            found += [(7 * DAY * boundary - DAY // 2, NEVER, 7 * DAY * block + 6 * DAY + 6 * 3600)] * (after - before)
    return books(found), grid(past, rows + columns - past + 1)


stretches = st.lists(
    st.tuples(st.integers(0, 50), st.one_of(st.just(None), st.integers(1, 60)), st.integers(-3, 60)).map(
        lambda t: (t[0] * DAY - 5, NEVER if t[1] is None else (t[0] + t[1]) * DAY - 7, (t[0] + t[2]) * DAY + 999)
    ),
    max_size=25,
)
"""Bookings made in about seven weeks, for weeks to come or days past; some of them are cancelled."""


def counted(found: OnTheBooks, g: Grid, block: int, boundary: int) -> int:
    """On the books at a boundary for a block."""
    at = int(g.marks[7 * boundary])
    return found.between(int(g.marks[7 * block]), int(g.marks[7 * block + 7]), at)


def first_block(found: OnTheBooks, g: Grid, boundary: int) -> int:
    """The first block of which anything was ever known by a boundary, not before that of the first making; the number of
    blocks where nothing was.
    """
    at, blocks = int(g.marks[7 * boundary]), len(g.share)
    known = [int(s) // (7 * DAY) for m, s in zip(found.since, found.start, strict=True) if m <= at]
    if found.first_made is None:
        return blocks
    made = -(-(found.first_made - int(g.marks[0])) // (7 * DAY)) - 1
    return max(min(made, g.past), min((b for b in known if 0 <= b < blocks), default=blocks))


def plain_pickup(found: OnTheBooks, g: Grid, boundary: int, ahead: int, weeks: int | None) -> list[float]:
    """Additive pick-up, advanced form, by its definition, where every share is 1."""
    first, kept = first_block(found, g, boundary), -99
    if found.kept_since is not None:
        kept = next((i for i in range(g.past + 1) if g.marks[7 * i] >= found.kept_since), g.past + 1)
    finals = []
    for h in range(ahead):
        mean = 0.0
        for stage in range(h, -1, -1):
            passed = [b for b in range(first, boundary + stage) if 0 <= b - stage >= kept]
            passed = passed if weeks is None else [b for b in passed if b >= boundary + stage - weeks]
            gains = [counted(found, g, b, b - stage + 1) - counted(found, g, b, b - stage) for b in passed]
            mean += sum(gains) / len(gains) if gains else 0.0
        finals.append(mean)
    return finals
