"""What one site of a group has too many of and another needs: moved before anything is ordered.

Of one product at a time. A lot that would expire unused goes first, the earliest expiry first; then what a site has
beyond its own need. A giver keeps what it needs at its own target, a receiver gets no more than it needs, and nothing
goes where it would expire unused as well.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from stockroom.core.orders import OrderInput, expected_rates, position
from stockroom.core.projection import Stock, left_at_expiry
from stockroom.core.stock_path import bad_case

NOTHING = 1e-6
"""Pieces below which expected waste is rounding."""


@dataclass(frozen=True, slots=True)
class Movable:
    """Usable pieces of a lot in a place of a site; ``end`` of their use, None where they never expire."""

    site: str
    lot: str
    place: str
    end: int | None
    pieces: int


@dataclass(frozen=True, slots=True)
class Transfer:
    """Pieces of a lot that are proposed to go to another site; ``expiring`` where they would expire unused here."""

    site: str
    lot: str
    place: str
    end: int | None
    target: str
    pieces: int
    expiring: bool


def transfers(inputs: Mapping[str, OrderInput], movable: Iterable[Movable]) -> list[Transfer]:
    """What should go from which site to which, of one product: ``inputs`` by site, in the order of preference.

    A receiver's ``free_space`` is that of the place to which things would go. With one lot after the other by expiry,
    each to any site that can still use it, as many expiring pieces are saved as can be: a later expiry can serve
    whatever an earlier one can (nested sets, so the greedy choice is a maximum one; Glover 1967), where the givers'
    reserves do not bind.

    Raises: as ``order_line`` of core/orders.py.
    """
    group = _Group(dict(inputs), [(m, m.pieces) for m in sorted(movable, key=_turn)])
    for expiring in (True, False):
        for i in range(len(group.movable)):
            group.offer(i, expiring=expiring)
    return group.made


def _turn(m: Movable) -> tuple[bool, int, str, str, str]:
    return m.end is None, m.end or 0, m.site, m.lot, m.place


@dataclass(slots=True)
class _Group:
    """The sites as they would stand after the transfers made so far; ``movable`` with what is left of each."""

    inputs: dict[str, OrderInput]
    movable: list[tuple[Movable, int]]
    made: list[Transfer] = field(default_factory=list)
    got: dict[str, int] = field(default_factory=dict)
    _wants: dict[str, int] = field(default_factory=dict)
    """What each site wants as things stand: a transfer changes only the two that it is between."""

    def offer(self, index: int, *, expiring: bool) -> None:
        """Gives what can be given of one lot to those who need it, the most urgent first."""
        m, left = self.movable[index]
        most = min(left, spare(self.inputs[m.site], m.end, expiring=expiring)) if left else 0
        for target in self._wanting(m.site) if most else ():
            giver, receiver = self.inputs[m.site], self.inputs[target]
            got = self.got.get(target, 0)
            pieces = _most(min(most, self._wanted(target)), giver, receiver, m.end, got)
            if pieces:
                left -= pieces
                self.got[target] = got + pieces
                self.inputs[m.site] = without(giver, m.end, pieces)
                self.inputs[target] = with_more(receiver, m.end, pieces)
                self.made.append(Transfer(m.site, m.lot, m.place, m.end, target, pieces, expiring))
                self._wants.pop(m.site, None)
                self._wants.pop(target, None)
                most = min(left, spare(self.inputs[m.site], m.end, expiring=expiring))
            if not most:
                break
        self.movable[index] = (m, left)

    def _wanted(self, site: str) -> int:
        if site not in self._wants:
            self._wants[site] = wanted(self.inputs[site], self.got.get(site, 0))
        return self._wants[site]

    def _wanting(self, giver: str) -> list[str]:
        need = {site: self._wanted(site) for site in self.inputs if site != giver}
        return sorted((s for s, n in need.items() if n > 0), key=lambda s: (-_urgent(self.inputs[s]), -need[s]))


def wanted(given: OrderInput, got: int = 0) -> int:
    """Pieces that a site needs and that a transfer made now could still serve, within its free space.

    ``got``: pieces of its lots that are transferred as well.
    """
    too_soon = sum(n for _, n in given.known) - sum(n for _, n in _served(given, got).known)
    need = position(given).need - too_soon
    if given.free_space is not None and given.product.space:
        need = min(need, given.free_space // given.product.space)
    return max(0, need)


def spare(given: OrderInput, end: int | None, *, expiring: bool) -> int:
    """Pieces with one end of use that a site can do without: those it will not use in time, or all beyond its need.

    Of both it keeps enough for what may come, at its own target, until these pieces end or its own order can be used.
    """
    ready = given.arrives_at + given.product.warm_after
    until = ready if end is None else min(end, ready)
    free = sum(n for _, n in given.lots) - bad_case(given, until)
    if not expiring:
        return max(0, min(free, -position(given).need))
    if end is None:
        return 0
    unused = sum(left for (e, _), left in zip(given.lots, _left(given), strict=False) if e == end)
    return max(0, min(free, math.floor(unused + NOTHING)))


def fits(given: OrderInput, end: int | None, pieces: int, got: int = 0) -> bool:
    """True where so many more pieces would all be used before they end, once they are warm, at expected demand."""
    start = given.now + given.product.warm_after
    if end is not None and end <= start:
        return False
    here = _served(given, got)
    return sum(_left(here, (start, end, pieces))) <= sum(_left(here)) + NOTHING


def _served(given: OrderInput, got: int) -> OrderInput:
    """The same without bookings that start before a piece that is moved now is warm, and that its own stock does not
    reach: nothing that is moved can serve them.
    """
    warm = given.now + given.product.warm_after
    left, known = sum(n for _, n in given.lots) - got, []
    for at, n in sorted(given.known):
        served = n if at >= warm else min(n, left)
        left -= served
        if served:
            known.append((at, served))
    return replace(given, known=tuple(known))


def without(given: OrderInput, end: int | None, pieces: int) -> OrderInput:
    """A site without some pieces of one end of use."""
    lots = []
    for e, n in given.lots:
        taken = min(n, pieces) if e == end else 0
        pieces -= taken
        if n > taken:
            lots.append((e, n - taken))
    return replace(given, lots=tuple(lots))


def with_more(given: OrderInput, end: int | None, pieces: int) -> OrderInput:
    """A site with more pieces, which take of its free space."""
    room = given.free_space
    return replace(
        given,
        lots=(*given.lots, (end, pieces)),
        free_space=None if room is None else room - pieces * given.product.space,
    )


def _keeps(given: OrderInput, end: int | None, pieces: int) -> bool:
    """True where a giver need not order more for it."""
    return position(without(given, end, pieces)).need <= max(0, position(given).need)


def _urgent(given: OrderInput) -> int:
    """Booked pieces for which no order of a site's own would be here in time."""
    ready = given.arrives_at + given.product.warm_after
    return max(0, sum(n for at, n in given.known if at < ready) - sum(n for _, n in given.lots))


def _left(given: OrderInput, *more: Stock) -> list[float]:
    """What of each lot, then of each order to come, then of ``more`` is expected to expire unused."""
    return left_at_expiry([*given.stocks, *more], given.now, given.known, expected_rates(given))


def _most(bound: int, giver: OrderInput, receiver: OrderInput, end: int | None, got: int) -> int:
    """The most pieces up to a bound that fit at the receiver and that the giver need not order anew."""
    low, high = 0, bound
    while low < high:
        middle = (low + high + 1) // 2
        if fits(receiver, end, middle, got) and _keeps(giver, end, middle):
            low = middle
        else:
            high = middle - 1
    return low
