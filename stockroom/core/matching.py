"""Which kit for which booking: as many bookings as possible, then kits already out, then first expired first out.

A kit serves a booking where it is ready by the start and good to the end; one in the fridge, besides, only where
somebody can take it out in time and its hours out then last. Which sets of kits can be used together, and which
sets of bookings can be served together, are two transversal matroids of the same rank. Hence

1. kits, in the order in which they should be used, are each kept where all kept so far can be used at once: these
   are as many as any assignment can use;
2. bookings by start are seated on the kits kept, each on the feasible free one with the earliest use-by (Glover
   1967), by augmenting paths where there is none (with bookings of different length, or ones that only a kit
   already out can serve, that happens). Whatever set of bookings can be served at all can be served together
   with using all these kits (Mendelsohn & Dulmage 1958), so nothing is lost by leaving the others aside.

Every step keeps the maximum; the order of kits and bookings only decides between equal maxima. Neighbours are
never listed: "the first free one with key >= x and value <= y" is a walk down a tree of minima.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

FOREVER = 1 << 61
"""Stands for a limit that is not known."""
_TAKEN = 1 << 62


@dataclass(frozen=True, slots=True)
class Want:
    """One kit wanted from ``start`` to ``end``.

    ``out_for``: how many seconds a kit from the fridge would have been out at the end, taken out at the last
    moment at which somebody is there; None where nobody is there in time (late or blocked).
    """

    start: int
    end: int
    out_for: int | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One kit: when it is or could be ready, until when it is good, whether it is out already.

    ``use_by`` None: no limit known. ``left``: seconds that a kit in the fridge may yet be out, None for no limit.
    """

    ready: int
    use_by: int | None
    out: bool
    left: int | None = None


def serves(option: Option, want: Want) -> bool:
    """True where the kit can serve the booking: the rule itself, one pair at a time."""
    if option.ready > want.start or (option.use_by is not None and option.use_by < want.end):
        return False
    return option.out or (want.out_for is not None and (option.left is None or option.left >= want.out_for))


def assignment(wants: Sequence[Want], options: Sequence[Option]) -> list[int | None]:
    """For each want the position of its kit in ``options``, or None: a largest assignment, ties as said above."""
    lefts = _lefts(options)
    # Kits that may choose take the bookings first that fewest others can serve: it saves most of the moving about.
    kits = Pairing([_want_as_post(w, lefts) for w in wants], by_group=True)
    by_use = sorted(range(len(options)), key=lambda k: _use_order(options[k], k))
    used = [k for k in by_use if kits.seat(k, _option_as_seeker(options[k], lefts))]
    pairs = Pairing([_as_post(options[k], lefts) for k in used])
    spans = [(w.start, w.end) for w in wants]
    for i in sorted(range(len(wants)), key=spans.__getitem__):
        pairs.seat(i, _as_seeker(wants[i], lefts))
    return [None if (post := pairs.post_of.get(i)) is None else used[post] for i in range(len(wants))]


class Spare:
    """What an assignment leaves over: could so many more bookings be served without unserving one?"""

    def __init__(self, wants: Sequence[Want], options: Sequence[Option], given: Sequence[int | None]) -> None:
        self._options = options
        self._lefts = _lefts(options)
        self._pairs = Pairing([_as_post(o, self._lefts) for o in options])
        for i, post in enumerate(given):
            if post is not None:
                self._pairs.seat(i, _as_seeker(wants[i], self._lefts), post)

    def takes(self, want: Want, number: int = 1) -> bool:
        """True where ``number`` such bookings more would raise the largest assignment by ``number``."""
        pairs = self._pairs.copy()
        seeker = _as_seeker(want, self._lefts)
        return all(pairs.seat(-1 - n, seeker) for n in range(number))

    def idle_out(self, want: Want, number: int = 1) -> bool:
        """True where ``number`` kits that are out and given to nobody would serve such a booking."""
        idle = (o for k, o in enumerate(self._options) if o.out and not self._pairs.has(k))
        return sum(serves(o, want) for o in idle) >= number


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


def _lefts(options: Iterable[Option]) -> list[int]:
    """The different lengths of time that kits in the fridge may yet be out, longest first."""
    return sorted({_limit(o.left) for o in options if not o.out}, reverse=True)


def _limit(seconds: int | None) -> int:
    return FOREVER if seconds is None else seconds


def _use_order(option: Option, position: int) -> tuple[bool, int, int, int]:
    """Kits already out come first, then those that expire first."""
    return (not option.out, _limit(option.use_by), option.ready, position)


def _reach(want: Want, lefts: Sequence[int]) -> int:
    """How many of ``lefts`` are long enough for the want: a prefix, since they are sorted."""
    return 0 if want.out_for is None else sum(left >= want.out_for for left in lefts)


# Kits that are out are group 0, kits in the fridge group 1 + the position of their time left. Bookings are grouped
# by how many of these times reach them, so that who may take whom is a range from either side.


def _as_seeker(want: Want, lefts: Sequence[int]) -> Seeker:
    return (want.end, want.start, range(_reach(want, lefts) + 1))


def _as_post(option: Option, lefts: Sequence[int]) -> Post:
    return (_limit(option.use_by), option.ready, 0 if option.out else 1 + lefts.index(_limit(option.left)))


def _option_as_seeker(option: Option, lefts: Sequence[int]) -> Seeker:
    least = 0 if option.out else 1 + lefts.index(_limit(option.left))
    return (option.ready, _limit(option.use_by), range(least, len(lefts) + 1))


def _want_as_post(want: Want, lefts: Sequence[int]) -> Post:
    return (want.start, want.end, _reach(want, lefts))
