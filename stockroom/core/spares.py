"""What is left over of one product at one site, and from when on it could serve a booking that nothing serves now.

A start depends on how long the booking takes and on how long the kit may yet be out, not on which booking or lot it is:
each is worked out once. A lot's expiry only says whether its kit lasts that long.
"""

from collections import Counter

from stockroom.core.allotment import Allotment
from stockroom.core.takeout import (
    FridgeStock,
    Kit,
    earliest_start,
    earliest_start_from_fridge,
    last_use,
    ready_at,
    time_left,
)


class Spares:
    """Kits that nobody was given, in order: those out one by one, then lot by lot those in the fridge."""

    def __init__(self, one: Allotment) -> None:
        self._one = one
        given = {position for position in one.given if position is not None}
        taken = Counter(id(one.sources[position]) for position in given)
        self._kits = [kit for position, kit in enumerate(one.free) if position not in given]
        self._piles: list[Kit | FridgeStock] = [*self._kits]
        self._pieces = [1] * len(self._piles)
        self._lots: dict[int | None, list[tuple[FridgeStock, int]]] = {}
        """Time that a kit may yet be out -> (lot, position of its pile) in order of expiry, where any is left."""
        for stock in one.stock:
            if pieces := stock.quantity - taken[id(stock)]:
                alike = self._lots.setdefault(time_left(one.product, stock.out_before), [])
                alike.append((stock, len(self._piles)))
                self._piles.append(stock)
                self._pieces.append(pieces)
        self._last = len(self._piles) - 1
        self._of_kits: dict[int, list[tuple[int, int]]] = {}
        self._from_fridge: dict[tuple[int, int | None], int | None] = {}

    def take_soonest(self, seconds: int) -> tuple[int, Kit | FridgeStock] | None:
        """(start, kit): takes the kit that could serve a booking of such length first; None where none could."""
        found = [way for way in (self._kit_out(seconds), *(self._lot(seconds, left) for left in self._lots)) if way]
        if not found:
            return None
        start, pile = min(found)
        self._take(pile)
        return start, self._piles[pile]

    def take_any(self) -> bool:
        """Takes the last kit; False where none is left."""
        while self._last >= 0 and not self._pieces[self._last]:
            self._last -= 1
        if self._last >= 0:
            self._take(self._last)
        return self._last >= 0

    def no_start(self, seconds: int) -> bool:
        """True where not even a fresh kit that never expires could serve it: no span is long enough, or its hours out
        are too few."""
        return self._start_from_fridge(seconds, time_left(self._one.product)) is None

    def start_with(self, source: Kit | FridgeStock, seconds: int, not_before: int) -> int | None:
        """The first start from ``not_before`` (and from now) on at which this kit could serve, or None."""
        one, since = self._one, max(self._one.now, not_before)
        if isinstance(source, Kit):
            limit = last_use(source, one.product)
            return earliest_start(one.opening, seconds, ready_at(source, one.product), limit, since)
        return earliest_start_from_fridge(
            *(one.opening, one.habit, one.product, seconds, one.now),
            left=time_left(one.product, source.out_before),
            expiry_end=source.expiry_end,
            not_before=since,
        )

    def _take(self, pile: int) -> None:
        self._pieces[pile] -= 1
        source = self._piles[pile]
        if isinstance(source, FridgeStock) and not self._pieces[pile]:
            self._lots[time_left(self._one.product, source.out_before)].remove((source, pile))

    def _kit_out(self, seconds: int) -> tuple[int, int] | None:
        """(start, pile) of the kit out that could serve first."""
        if seconds not in self._of_kits:
            starts = [(self.start_with(kit, seconds, self._one.now), pile) for pile, kit in enumerate(self._kits)]
            self._of_kits[seconds] = sorted(((s, pile) for s, pile in starts if s is not None), reverse=True)
        line = self._of_kits[seconds]
        while line and not self._pieces[line[-1][1]]:
            line.pop()
        return line[-1] if line else None

    def _lot(self, seconds: int, left: int | None) -> tuple[int, int] | None:
        """(start, pile) of the first lot to expire, of those with as much time left, that could serve."""
        start = self._start_from_fridge(seconds, left)
        if start is None:
            return None
        lasting = (
            pile for lot, pile in self._lots[left] if lot.expiry_end is None or start + seconds <= lot.expiry_end
        )
        pile = next(lasting, None)
        return None if pile is None else (start, pile)

    def _start_from_fridge(self, seconds: int, left: int | None) -> int | None:
        """The first start with a kit of the fridge that never expires."""
        key = (seconds, left)
        if key not in self._from_fridge:
            one = self._one
            self._from_fridge[key] = earliest_start_from_fridge(
                *(one.opening, one.habit, one.product, seconds, one.now), left=left, expiry_end=None
            )
        return self._from_fridge[key]
