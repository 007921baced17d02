"""Seekers seated on posts: the machinery of the matching, which knows nothing of kits and bookings.

Posts stand in one row, group by group, and by key and value within a group. Neighbours are never listed: "the first
free one with key >= x and value <= y" is looked for (first_left). Both sides are columns of numbers, not objects:
twenty thousand objects more would set off the garbage collector, which looks at all that the program holds.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass

from stockroom.core.first_left import FirstLeft


@dataclass(frozen=True, slots=True)
class Posts:
    """Columns of the same length; a post is known by its position in them."""

    keys: Sequence[int]
    values: Sequence[int]
    groups: Sequence[int]


@dataclass(frozen=True, slots=True)
class Seekers:
    """Columns of the same length: a seeker takes a post whose key >= its low and value <= its high, of its group or
    one above (``upwards``), or of its group or one below. It is known by its position."""

    lows: list[int]
    highs: list[int]
    groups: list[int]
    upwards: bool

    def more(self, low: int, high: int, group: int, number: int) -> "Seekers":
        """These and then ``number`` others, all alike."""
        return Seekers(
            self.lows + [low] * number, self.highs + [high] * number, self.groups + [group] * number, self.upwards
        )


class Pairing:
    """Seekers seated on posts one after the other: once seated always seated, though not on the same post.

    Looking upwards, the first group that has a fitting post counts, else the smallest key of any.
    """

    def __init__(self, posts: Posts, seekers: Seekers) -> None:
        row = in_order(posts.groups, posts.keys, posts.values)
        self._numbers = row
        self._keys = [posts.keys[n] for n in row]
        self._values = [posts.values[n] for n in row]
        groups = [posts.groups[n] for n in row]
        self._ends = [bisect_left(groups, group + 1) for group in range(1 + max([0, *groups, *seekers.groups]))]
        stretches = list(zip([0, *self._ends], self._ends, strict=False))
        self._stretches = [stretches[g:] if seekers.upwards else stretches[: g + 1] for g in range(len(stretches))]
        """For each group of seekers where the groups of posts that it may take begin and end in the row."""
        self._seekers = seekers
        self._free = FirstLeft(self._values, self._ends)
        self._unseen: FirstLeft | None = None
        """The posts that a search may still look at; most pairings never need to search."""
        self._places: dict[int, int] = {}
        """Number -> place in the row, once somebody asked."""
        self._place_of: dict[int, int] = {}
        self._held_by: dict[int, int] = {}

    def with_more(self, low: int, high: int, group: int, number: int) -> "Pairing":
        """Another one in the same state, with ``number`` more seekers; either may go on without the other."""
        twin = copy(self)
        twin._seekers = self._seekers.more(low, high, group, number)
        twin._free = self._free.copy()
        twin._unseen = None if self._unseen is None else self._unseen.copy()
        twin._place_of, twin._held_by = dict(self._place_of), dict(self._held_by)
        return twin

    def has_room(self, low: int, high: int, group: int) -> bool:
        """True where one more seeker could be seated; nothing changes."""
        number = self._add(low, high, group)
        found = self._first(number) >= 0 or self._chain(number) is not None
        for column in (self._seekers.lows, self._seekers.highs, self._seekers.groups):
            column.pop()
        return found

    def seat_one_more(self, low: int, high: int, group: int) -> bool:
        """Seat a seeker besides those there are; False where it cannot be without unseating somebody."""
        return self.seat(self._add(low, high, group))

    def can_do_without(self, post: int) -> bool:
        """True where nobody would have to be unseated if the post were taken away; nothing changes."""
        place = self._place_by_number()[post]
        if place not in self._held_by:
            return True
        self._in_sight().strike(place)
        found = self._chain(self._held_by[place]) is not None
        if found:  # else it stays out of sight, as all that was seen: who sits there cannot move
            self._in_sight().restore(place)
        return found

    def take_away(self, post: int) -> bool:
        """Take a post away; who sits there is seated elsewhere. False, and nothing changes, where that cannot be."""
        place = self._place_by_number()[post]
        self._in_sight().strike(place)
        holder = self._held_by.pop(place, None)
        if holder is None:
            self._free.strike(place)
        elif not self._reseat(holder):
            self._held_by[place] = holder
            return False
        return True

    def _add(self, low: int, high: int, group: int) -> int:
        self._seekers.lows.append(low)
        self._seekers.highs.append(high)
        self._seekers.groups.append(group)
        return len(self._seekers.lows) - 1

    def posts_taken(self) -> dict[int, int]:
        """Seeker -> the post on which it sits."""
        return {seeker: self._numbers[place] for seeker, place in self._place_of.items()}

    def seated(self, seekers: Iterable[int], enough: int) -> list[int]:
        """Seat each in turn where it can be without unseating another; returns those seated.

        Ends with so many as are ``enough``: where no more can be seated at all.
        """
        found: list[int] = []
        for seeker in seekers:
            if len(found) == enough:
                break
            if self.seat(seeker):
                found.append(seeker)
        return found

    def seat(self, seeker: int) -> bool:
        """Seat one more; False where it cannot be without unseating somebody."""
        place = self._first(seeker)
        if place < 0:
            return self._reseat(seeker)
        self._take(seeker, place)
        return True

    def seat_as_given(self, posts: Iterable[tuple[int, int]]) -> None:
        """Seat each on the post of its own: (seeker, post). The posts are different and fit."""
        place_of = self._place_by_number()
        for seeker, post in posts:
            self._take(seeker, place_of[post])

    def _place_by_number(self) -> dict[int, int]:
        if not self._places:
            self._places = {number: place for place, number in enumerate(self._numbers)}
        return self._places

    def _in_sight(self) -> FirstLeft:
        if self._unseen is None:
            self._unseen = FirstLeft(self._values, self._ends)
        return self._unseen

    def _take(self, seeker: int, place: int) -> None:
        self._free.strike(place)
        self._place_of[seeker] = place
        self._held_by[place] = seeker

    def _first(self, seeker: int) -> int:
        """Where the free post stands that fits first, or -1."""
        seekers, best = self._seekers, -1
        low, high = seekers.lows[seeker], seekers.highs[seeker]
        for begin, end in self._stretches[seekers.groups[seeker]]:
            place = self._free.first(bisect_left(self._keys, low, begin, end), end, high)
            if place >= 0 and (best < 0 or self._rank(place) < self._rank(best)):
                best = place
                if seekers.upwards:
                    break
        return best

    def _rank(self, place: int) -> tuple[int, int, int]:
        return self._keys[place], self._values[place], self._numbers[place]

    def _reseat(self, wanting: int) -> bool:
        chain = self._chain(wanting)
        if chain is not None:
            self._move(wanting, *chain)
        return chain is not None

    def _chain(self, wanting: int) -> tuple[int, int, dict[int, int]] | None:
        """Look for a chain of moves that frees a post (every post seen once): who moves first, to which free place, and
        who asked for which of the places on the way.

        Where there is none, no later search can succeed through the posts seen either: they stay out of sight.
        """
        seekers, unseen = self._seekers, self._in_sight()
        line = [wanting]
        asked_by: dict[int, int] = {}
        while line:
            seeker = line.pop()
            place = self._first(seeker)
            if place >= 0:
                for seen in asked_by:
                    unseen.restore(seen)
                return seeker, place, asked_by
            low, high = seekers.lows[seeker], seekers.highs[seeker]
            for begin, end in self._stretches[seekers.groups[seeker]]:
                place = bisect_left(self._keys, low, begin, end)
                while (place := unseen.first(place, end, high)) >= 0:
                    unseen.strike(place)
                    asked_by[place] = seeker
                    line.append(self._held_by[place])
        return None

    def _move(self, wanting: int, seeker: int, place: int, asked_by: dict[int, int]) -> None:
        """Give ``place`` to a seeker, its old one to who asked for that, and so on back to who is wanting."""
        while seeker != wanting:
            old = self._place_of[seeker]
            self._take(seeker, place)
            place, seeker = old, asked_by[old]
        self._take(wanting, place)


def in_order(*columns: Sequence[int]) -> list[int]:
    """Positions sorted by the first column, then the second, and so on; equal ones stay in their order."""
    order = list(range(len(columns[0])))
    for column in reversed(columns):
        order.sort(key=column.__getitem__)
    return order
