"""Values in a row, of which any may be struck off: the first one left that is small enough.

The next one left is found by a search through flags, at the speed of memory; where no later value is small enough, left
or not, the search ends there. A tree of minima is planted only where many have to be passed over.
"""

from collections.abc import Sequence

NEVER = 1 << 62
"""Above every value."""
HOPS = 16
"""How many are passed over one by one."""


class FirstLeft:
    """``values`` in stretches that are searched each on its own; ``ends`` are the positions at which they end."""

    __slots__ = ("_changed", "_flags", "_least", "_tree", "_values")

    def __init__(self, values: Sequence[int], ends: Sequence[int]) -> None:
        self._values = values
        self._flags = bytearray(b"\1" * len(values))
        self._least = _least_from_here(values, ends)
        self._changed: list[int] = []
        """Struck off or restored since the tree was last mended."""
        self._tree: _MinimaTree | None = None

    def copy(self) -> "FirstLeft":
        """Another one in the same state."""
        twin = FirstLeft.__new__(FirstLeft)
        twin._values, twin._least = self._values, self._least
        twin._flags, twin._changed = self._flags.copy(), self._changed.copy()
        twin._tree = None if self._tree is None else self._tree.copy()
        return twin

    def first(self, start: int, end: int, ceiling: int) -> int:
        """The first position left in [start, end) whose value <= ceiling, or -1. ``end`` ends a stretch."""
        spot = self._flags.find(1, start, end)
        if spot < 0 or self._least[spot] > ceiling:
            return -1
        return spot if self._values[spot] <= ceiling else self._further(spot + 1, end, ceiling)

    def _further(self, start: int, end: int, ceiling: int) -> int:
        """``first`` where the next one left is too large."""
        flags, values = self._flags, self._values
        for _ in range(HOPS):
            spot = flags.find(1, start, end)
            if spot < 0 or self._least[spot] > ceiling:
                return -1
            if values[spot] <= ceiling:
                return spot
            start = spot + 1
        spot = self._by_tree(start, ceiling)
        return spot if spot < end else -1

    def _by_tree(self, start: int, ceiling: int) -> int:
        tree = self._tree
        if tree is None:
            left = zip(self._values, self._flags, strict=True)
            tree = self._tree = _MinimaTree([value if flag else NEVER for value, flag in left])
        for spot in self._changed:
            tree.put(spot, self._values[spot] if self._flags[spot] else NEVER)
        self._changed.clear()
        return tree.first(start, ceiling)

    def strike(self, spot: int) -> None:
        """Strikes a position off; a second time changes nothing."""
        self._flags[spot] = 0
        if self._tree is not None:
            self._changed.append(spot)

    def restore(self, spot: int) -> None:
        """Takes a strike back."""
        self._flags[spot] = 1
        if self._tree is not None:
            self._changed.append(spot)


def _least_from_here(values: Sequence[int], ends: Sequence[int]) -> list[int]:
    """For each position the least value from there to the end of its stretch."""
    found = list(values)
    last = {end - 1 for end in ends}
    least = NEVER
    for spot in range(len(found) - 1, -1, -1):
        if spot in last or found[spot] < least:
            least = found[spot]
        found[spot] = least
    return found


class _MinimaTree:
    """Values by position; the first position from some other on whose value is small enough, in O(log n)."""

    __slots__ = ("_size", "_tree")

    def __init__(self, leaves: list[int]) -> None:
        self._size = 1 << len(leaves).bit_length()  # at least one leaf more than values, so that a start may lie behind
        tree = [NEVER] * self._size + leaves + [NEVER] * (self._size - len(leaves))
        for node in range(self._size - 1, 0, -1):
            tree[node] = min(tree[2 * node], tree[2 * node + 1])
        self._tree = tree

    def copy(self) -> "_MinimaTree":
        twin = _MinimaTree.__new__(_MinimaTree)
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
