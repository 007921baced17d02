"""The instants at which something can be done, found by bisection: those that lie far enough inside a staffed span.

The line of time is cut into blocks of two weeks; a block's moments are worked out when it is first asked for, so that
ten bookings cost no more than their days and ten thousand no more than the blocks that they lie in.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator

Span = tuple[int, int]
BLOCK = 14 * 86_400
"""Seconds. Blocks begin at multiples of it, whatever the zone."""


class Moments:
    """Closed intervals of instants in UTC seconds, as ``between`` gives them for any stretch [start, end)."""

    __slots__ = ("_between", "_blocks")

    def __init__(self, between: Callable[[int, int], list[Span]]) -> None:
        self._between = between
        self._blocks: dict[int, tuple[list[int], list[int]]] = {}

    def latest(self, at: int, floor: int) -> int | None:
        """The latest moment in [floor, at], or None."""
        block = at // BLOCK
        while (block + 1) * BLOCK > floor:
            firsts, lasts = self._block(block)
            n = bisect_right(firsts, at)
            if n:
                found = min(at, lasts[n - 1])
                return found if found >= floor else None
            block -= 1
        return None

    def earliest(self, at: int, ceiling: int) -> int | None:
        """The earliest moment in [at, ceiling], or None."""
        block = at // BLOCK
        while block * BLOCK <= ceiling:
            firsts, lasts = self._block(block)
            n = bisect_left(lasts, at)
            if n < len(lasts):
                found = max(at, firsts[n])
                return found if found <= ceiling else None
            block += 1
        return None

    def intervals(self, start: int, end: int) -> Iterator[Span]:
        """The intervals in order, cut to [start, end] (and where one block ends and another begins)."""
        for block in range(start // BLOCK, end // BLOCK + 1):
            firsts, lasts = self._block(block)
            for n in range(bisect_left(lasts, start), bisect_right(firsts, end)):
                yield max(start, firsts[n]), min(end, lasts[n])

    def _block(self, number: int) -> tuple[list[int], list[int]]:
        known = self._blocks.get(number)
        if known is None:
            start, end = number * BLOCK, (number + 1) * BLOCK
            found = sorted(
                {(max(a, start), min(b, end - 1)) for a, b in self._between(start, end) if a < end and b >= start}
            )
            known = self._blocks[number] = [a for a, _ in found], [b for _, b in found]
        return known
