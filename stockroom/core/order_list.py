"""The orders of all suppliers of a site, which share its fridges.

Where there is not room for all, each pack goes to the product whose shortage is likeliest with what it has so far; where
two are short of what is booked, to the one whose first booking without a piece is sooner. Not the practice file's order
decides: the last kit of one product that is nearly sure to be enough should not stand where the first of another is
missing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from stockroom.core.orders import OrderInput, OrderLine, SupplierOrder, order_line, position, supplier_order
from stockroom.core.practice import Supplier
from stockroom.core.room import Room, Wish, shared


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of one supplier: a product each, without ``free_space``. ``arrives_from``: the instant from which on a
    delivery may stand in the fridge.
    """

    supplier: Supplier
    arrives_from: int
    inputs: tuple[OrderInput, ...]


@dataclass(frozen=True, slots=True)
class Answered:
    """A supplier's order, and what its lines stand on, the room for each included, in the order in which it was asked."""

    order: SupplierOrder
    inputs: tuple[OrderInput, ...]
    lines: tuple[OrderLine, ...]


def supplier_orders(asked: Sequence[Asked], room: Room | None, currency: str = "") -> list[Answered]:
    """What to order from each supplier. ``room`` None: the fridges have no limit.

    The instants of ``asked`` must be among the room's marks. An order that is withheld for being worth too little takes no
    room: what it would have taken is given to the others. Raises: as core/orders.py.
    """
    rows = [[(given, order_line(given)) for given in one.inputs] for one in asked]
    if room is not None:
        rows = _in_room(asked, rows, room, currency)
    found = []
    for one, own in zip(asked, rows, strict=True):
        order = supplier_order(own, one.supplier, currency)
        lines = {line.product: line for line in (*order.lines, *order.nothing_needed)}
        found.append(Answered(order, tuple(g for g, _ in own), tuple(lines[g.product.code] for g, _ in own)))
    return found


Rows = list[list[tuple[OrderInput, OrderLine]]]


def _in_room(asked: Sequence[Asked], rows: Rows, room: Room, currency: str) -> Rows:
    """The same lines cut to the room, in which no order that is withheld in the end takes any.

    What is withheld with all the room for itself is so before anything is shared. What only sharing makes too small keeps
    the lines that it had then.
    """
    everyone, out = set(range(len(asked))), set[int]()
    for i, one in enumerate(asked):
        alone = _cut(asked, rows, room, everyone - {i})[i]
        if _withheld(supplier_order(alone, one.supplier, currency), alone):
            rows[i] = alone
            out.add(i)
    while True:
        now = _cut(asked, rows, room, out)
        withheld = {
            i
            for i, one in enumerate(asked)
            if i not in out and _withheld(supplier_order(now[i], one.supplier, currency), now[i])
        }
        if not withheld:
            return now
        for i in withheld:
            rows[i] = now[i]
        out |= withheld


def _withheld(order: SupplierOrder, own: Sequence[tuple[OrderInput, OrderLine]]) -> bool:
    return any(line.packs for _, line in own) and not any(line.packs for line in order.lines)


def _cut(asked: Sequence[Asked], rows: Rows, room: Room, out: set[int]) -> Rows:
    cold = [(i, j) for i, own in enumerate(rows) if i not in out for j, (g, _) in enumerate(own) if g.product.cold]
    wishes = []
    for i, j in cold:
        given, line = rows[i][j]
        size = given.product.space * given.product.pack_size
        wishes.append(Wish((i, j), asked[i].arrives_from, size, line.packs, _rank(given)))
    packs = shared(wishes, room)
    for wish in wishes:
        room = room.filled(wish.at, packs[wish.key] * wish.space)
    found = [list(own) for own in rows]
    for (i, j), wish in zip(cold, wishes, strict=True):
        given, line = rows[i][j]
        given = replace(given, free_space=room.least(wish.at) + packs[wish.key] * wish.space)
        found[i][j] = (given, line if line.packs == packs[wish.key] else order_line(given))
    return found


def _rank(given: OrderInput) -> Callable[[int], tuple[float, ...]]:
    """By the packs that it has: the chance that nothing is short, and the first booking that would have none."""
    here, size = position(given), given.product.pack_size

    def rank(packs: int) -> tuple[float, ...]:
        level = here.level + packs * size
        return here.demand.no_shortage(level), _first_without(given, level + here.known)

    return rank


def _first_without(given: OrderInput, pieces: int) -> float:
    for at, wanted in given.known:
        pieces -= wanted
        if pieces < 0:
            return at
    return float("inf")
