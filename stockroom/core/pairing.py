"""Seekers seated on posts: the machinery of the matching, which knows nothing of kits and bookings.

"The first free one with key >= x and value <= y" is a hop (union and find) where it can be, else a walk down a tree of
minima; neighbours are never listed.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence

_TAKEN = 1 << 62
"""Above every value."""

Seeker = tuple[int, int, range]
"""(low, high, groups): takes a post whose key >= low and value <= high, of one of the groups."""
Post = tuple[int, int, int]
"""(key, value, group)."""


class Pairing:
    """Seekers seated on posts one after the other: once seated always seated, though not on the same post.

    ``post_of`` maps a seeker's number to its post's position in the list given.
    """

    def __init__(self, posts: Sequence[Post], *, by_group: bool = False) -> None:
        self._by_group = by_group
        groups = range(1 + max((group for _, _, group in posts), default=0))
        self._ids: list[list[int]] = [[] for _ in groups]
        for number in sorted(range(len(posts)), key=posts.__getitem__):  # equal posts stay in their order
            self._ids[posts[number][2]].append(number)
        self._keys = [[posts[n][0] for n in ids] for ids in self._ids]
        self._spot = {n: (group, spot) for group, ids in enumerate(self._ids) for spot, n in enumerate(ids)}
        self._values = [value for _, value, _ in posts]
        self._free = [_Free([posts[n][1] for n in ids]) for ids in self._ids]
        self._hidden: list[_FirstFit] = []
        self._wish: dict[int, Seeker] = {}
        self.post_of: dict[int, int] = {}
        self._held_by: dict[int, int] = {}

    def copy(self) -> "Pairing":
        """Another one in the same state; either may go on without the other."""
        twin = Pairing.__new__(Pairing)
        twin._ids, twin._keys, twin._spot, twin._values = self._ids, self._keys, self._spot, self._values
        twin._by_group = self._by_group
        twin._free = [free.copy() for free in self._free]
        twin._hidden = [tree.copy() for tree in self._hidden]
        twin._wish, twin.post_of, twin._held_by = dict(self._wish), dict(self.post_of), dict(self._held_by)
        return twin

    def has(self, post: int) -> bool:
        """True where somebody sits on the post."""
        return post in self._held_by

    def seat(self, number: int, wish: Seeker, post: int | None = None) -> bool:
        """Seat one more, on ``post`` where given; False where it cannot be without unseating somebody."""
        self._wish[number] = wish
        if post is None:
            post = self._first(self._free, wish)
        if post is None:
            return self._reseat(number)
        self._take(number, post)
        return True

    def _take(self, seeker: int, post: int) -> None:
        group, spot = self._spot[post]
        self._free[group].take(spot)
        self.post_of[seeker] = post
        self._held_by[post] = seeker

    @property
    def _unseen(self) -> "list[_FirstFit]":
        """The posts that a search may still look at; most pairings never need to search."""
        if not self._hidden:
            self._hidden = [_FirstFit([self._values[n] for n in ids]) for ids in self._ids]
        return self._hidden

    def _first(self, trees: "Sequence[_Free | _FirstFit]", wish: Seeker) -> int | None:
        """The fitting post with the smallest key, then value, then position, in the first group that has one
        (``by_group``) or in any."""
        low, high, groups = wish
        if len(trees) == 1:
            # Kits of one kind, as most practices have them: nothing to choose between.
            spot = trees[0].first(bisect_left(self._keys[0], low), high) if groups.start == 0 else -1
            return self._ids[0][spot] if spot >= 0 else None
        best: tuple[int, int, int] | None = None
        for group in groups:
            if group >= len(trees):
                continue
            keys = self._keys[group]
            spot = trees[group].first(bisect_left(keys, low), high)
            if spot >= 0:
                post = self._ids[group][spot]
                if self._by_group:
                    return post
                here = (keys[spot], self._values[post], post)
                best = here if best is None else min(best, here)
        return None if best is None else best[2]

    def _reseat(self, number: int) -> bool:
        """Look for a chain of moves that frees a post (breadth first, every post seen once).

        Where there is none, no later search can succeed through the posts seen either: they stay out of sight.
        """
        line = [number]
        asked_by: dict[int, int] = {}
        unseen = self._unseen
        while line:
            seeker = line.pop()
            wish = self._wish[seeker]
            post = self._first(self._free, wish)
            if post is not None:
                self._move(number, seeker, post, asked_by)
                for seen in asked_by:
                    group, spot = self._spot[seen]
                    unseen[group].put(spot, self._values[seen])
                return True
            while (post := self._first(unseen, wish)) is not None:
                group, spot = self._spot[post]
                unseen[group].put(spot, _TAKEN)
                asked_by[post] = seeker
                line.append(self._held_by[post])
        return False

    def _move(self, number: int, seeker: int, post: int, asked_by: dict[int, int]) -> None:
        """Give ``post`` to ``seeker``, its old post to who asked for that, and so on back to ``number``."""
        while seeker != number:
            old = self.post_of[seeker]
            self._take(seeker, post)
            post, seeker = old, asked_by[old]
        self._take(number, post)


class _Free:
    """Values by position, of which any may be taken: the first free one from some position on that is small enough.

    The next free position is a hop (union and find); where no later value is small enough, taken or not, the search
    ends there. A tree is planted only where many free ones have to be passed over.
    """

    __slots__ = ("_least", "_next", "_taken", "_tree", "_values")
    HOPS = 16

    def __init__(self, values: list[int]) -> None:
        self._values = values
        self._next = list(range(len(values) + 1))
        self._least = [_TAKEN] * (len(values) + 1)
        """The least value from each position on."""
        least = _TAKEN
        for i in range(len(values) - 1, -1, -1):
            least = min(least, values[i])
            self._least[i] = least
        self._taken: list[int] = []
        """Taken since the tree was planted or last mended."""
        self._tree: _FirstFit | None = None

    def copy(self) -> "_Free":
        twin = _Free.__new__(_Free)
        twin._values, twin._least = self._values, self._least
        twin._next, twin._taken = self._next.copy(), self._taken.copy()
        twin._tree = None if self._tree is None else self._tree.copy()
        return twin

    def first(self, start: int, ceiling: int) -> int:
        """The first free position >= start whose value <= ceiling, or -1."""
        following, values, least = self._next, self._values, self._least
        for _ in range(self.HOPS):
            spot = start
            while following[spot] != spot:
                following[spot] = following[following[spot]]
                spot = following[spot]
            if least[spot] > ceiling:
                return -1
            if values[spot] <= ceiling:
                return spot
            start = spot + 1
        if self._tree is None:
            self._tree = _FirstFit(values)
        for spot in self._taken:
            self._tree.put(spot, _TAKEN)
        self._taken.clear()
        return self._tree.first(start, ceiling)

    def take(self, spot: int) -> None:
        """Takes a position; taking it twice changes nothing."""
        if self._next[spot] == spot:
            self._next[spot] = spot + 1
            self._taken.append(spot)


class _FirstFit:
    """Values by position; the first position from some other on whose value is small enough, in O(log n)."""

    __slots__ = ("_size", "_tree")

    def __init__(self, values: Iterable[int]) -> None:
        leaves = list(values)
        self._size = 1 << len(leaves).bit_length()  # at least one leaf more than values, so that a start may lie behind
        tree = [_TAKEN] * self._size + leaves + [_TAKEN] * (self._size - len(leaves))
        for node in range(self._size - 1, 0, -1):
            tree[node] = min(tree[2 * node], tree[2 * node + 1])
        self._tree = tree

    def copy(self) -> "_FirstFit":
        twin = _FirstFit.__new__(_FirstFit)
        twin._size, twin._tree = self._size, self._tree.copy()
        return twin

    def first(self, start: int, ceiling: int) -> int:
        """The first position >= start whose value <= ceiling, or -1."""
        tree, node = self._tree, start + self._size
        while tree[node] > ceiling:
            while node & 1:  # a right child ends where its parent ends
                node >>= 1
            if not node:
                return -1
            node += 1
        while node < self._size:
            node *= 2
            if tree[node] > ceiling:
                node += 1
        return node - self._size

    def put(self, position: int, value: int) -> None:
        """Change one value."""
        tree, node = self._tree, position + self._size
        tree[node] = value
        while node > 1:
            node >>= 1
            least, right = tree[2 * node], tree[2 * node + 1]
            if right < least:
                least = right
            if tree[node] == least:
                return
            tree[node] = least
