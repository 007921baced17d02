"""Room in the fridges of a site from now on, and who gets it where it is not enough for all.

Only what is certain makes room: a piece that a known booking takes. What is still to be booked, and stock that may or may
not be discarded, makes none. Room is counted in the products' ``space``, all fridges of the site together.
"""

import heapq
from bisect import bisect_right
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

STEPS = 1000
"""More packs of one product than this are given out several at a time."""


@dataclass(frozen=True, slots=True)
class Inside:
    """What one product has in the fridges: ``lots`` (end of use, pieces) that can be used, ``idle`` pieces that cannot but
    stand there; ``comes`` (instant, pieces) on order, ``leaves`` (instant, pieces) that known bookings take from the fridge.
    """

    space: int
    lots: tuple[tuple[int | None, int], ...] = ()
    idle: int = 0
    comes: tuple[tuple[int, int], ...] = ()
    leaves: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Room:
    """Free space: ``free[i]`` from ``marks[i]`` until the next mark, for ever after the last; below zero it is overfull."""

    marks: tuple[int, ...]
    free: tuple[int, ...]

    def least(self, at: int) -> int:
        """The least that is free at any time from an instant on."""
        first = max(0, bisect_right(self.marks, at) - 1)
        return min(self.free[first:])

    def filled(self, at: int, space: int) -> "Room":
        """The same with so much taken from an instant on."""
        return replace(
            self, free=tuple(n - space if m >= at else n for m, n in zip(self.marks, self.free, strict=True))
        )


@dataclass(frozen=True, slots=True)
class Wish:
    """A product that wants so many packs, each of ``space``, at an instant. ``rank`` of the packs that it has already: the
    lowest of all wishes gets the next.
    """

    key: Hashable
    at: int
    space: int
    packs: int
    rank: Callable[[int], tuple[float, ...]]


def room_ahead(capacity: int, now: int, contents: Sequence[Inside], marks: Sequence[int] = ()) -> Room:
    """The room at ``now``, at each of some instants, and wherever it changes."""
    changes: dict[int, int] = {}
    stands = 0
    for one in contents:
        stands += one.space * (one.idle + sum(n for _, n in one.lots))
        for at, pieces in _moves(one, now):
            changes[at] = changes.get(at, 0) - one.space * pieces
    instants = sorted({now, *(m for m in marks if m > now), *changes})
    free = accumulate((changes.get(at, 0) for at in instants), initial=capacity - stands)
    return Room(tuple(instants), tuple(free)[1:])


def shared(wishes: Sequence[Wish], room: Room) -> dict[Hashable, int]:
    """How many packs each wish gets: one after another to the one with the lowest rank, of equals the first, until it has
    what it wants or no further pack of it fits. Each mark of the room that is not before a wish's instant must bear it.

    The instants of the wishes must be among the room's marks.
    """
    if _all_fit(wishes, room):
        return {wish.key: wish.packs for wish in wishes}
    given: dict[Hashable, int] = {wish.key: 0 for wish in wishes}
    heap = [(wish.rank(0), i) for i, wish in enumerate(wishes) if wish.packs]
    heapq.heapify(heap)
    while heap:
        _, i = heapq.heappop(heap)
        wish, has = wishes[i], given[wishes[i].key]
        fits = wish.packs if wish.space == 0 else max(0, room.least(wish.at)) // wish.space
        more = min(wish.packs - has, fits, max(1, wish.packs // STEPS))
        if more <= 0:
            continue
        given[wish.key] = has + more
        room = room.filled(wish.at, more * wish.space)
        if has + more < wish.packs:
            heapq.heappush(heap, (wish.rank(has + more), i))
    return given


def _all_fit(wishes: Sequence[Wish], room: Room) -> bool:
    for wish in wishes:
        room = room.filled(wish.at, wish.packs * wish.space)
    return all(room.least(wish.at) >= 0 for wish in wishes if wish.packs * wish.space)


def _moves(one: Inside, now: int) -> list[tuple[int, int]]:
    """(instant, pieces) that come into the fridge, and with a minus those that leave it for certain, first expired first
    out. A booking finds only what is there before its instant, and what it does not find it does not take later.
    """
    lots = sorted((end is None, end or 0, n) for end, n in one.lots)
    left = [n for _, _, n in lots]
    arrived = 0
    found = [(max(at, now), pieces) for at, pieces in one.comes]
    coming = sorted(found)
    for at, wanted in sorted(one.leaves):
        while coming and coming[0][0] < at:
            arrived += coming.pop(0)[1]
        taken = 0
        for i, (forever, end, _) in enumerate(lots):
            if forever or end > at:
                some = min(left[i], wanted - taken)
                left[i] -= some
                taken += some
        some = min(arrived, wanted - taken)
        arrived -= some
        found.append((max(at, now), -(taken + some)))
    return found
