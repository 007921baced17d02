"""Orders to suppliers: their lines, what was changed about them, and what of them has arrived."""

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from stockroom.core.stock import FOREVER
from stockroom.store import tables as t
from stockroom.store.once import once
from stockroom.store.open_page import orders_open, page_from
from stockroom.store.writing import Book, live


@dataclass(frozen=True, slots=True)
class Ordered:
    """One line of an order: pieces, what the program had proposed, the price of a pack in hundredths."""

    product: str
    quantity: int
    proposed: int | None
    pack_price: int | None
    why: str | None


@dataclass(frozen=True, slots=True)
class Receipt:
    """What came of an order: pieces of one lot, by which entry and when, into which place."""

    entry: int
    at: int
    product: str
    lot: str
    quantity: int
    place: str


@dataclass(frozen=True, slots=True)
class Change:
    """What became of an order: ``kind`` is expect (with its new ``due``), cancel or close."""

    entry: int
    at: int
    kind: str
    due: int | None
    why: str | None


@dataclass(slots=True)
class OrderRow:
    """An order as it stands: per product the pieces ordered and received, and when the rest is due."""

    number: int
    supplier: str
    site: str
    at: int
    due: int
    entry: int
    state: str = "open"
    ordered: dict[str, int] = field(default_factory=dict)
    received: dict[str, int] = field(default_factory=dict)
    lines: list[Ordered] = field(default_factory=list)
    receipts: list[Receipt] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)

    def open_quantity(self, product: str) -> int:
        """Pieces still to come (none from a closed or cancelled order)."""
        left = self.ordered.get(product, 0) - self.received.get(product, 0)
        return max(0, left) if self.state == "open" else 0


def orders(conn: sa.Connection, until: int = FOREVER) -> dict[int, OrderRow]:
    """O-number -> order as it stood at ``until``; not to be changed by who reads it."""
    return once(conn, ("orders", until), lambda: _orders(conn, until))


def open_orders(conn: sa.Connection, until: int = FOREVER) -> list[OrderRow]:
    """Those of which something was still to come at ``until``, by number; not to be changed by who reads them."""
    return once(conn, ("open orders", until), lambda: _open_orders(conn, until))


def _open_orders(conn: sa.Connection, until: int) -> list[OrderRow]:
    page = page_from(conn, until)
    candidates = None if page is None else orders_open(conn, page)
    found = orders(conn, until) if candidates is None else _orders(conn, until, candidates)
    return [o for o in found.values() if o.state == "open"]


def _orders(conn: sa.Connection, until: int, only: Collection[int] | None = None) -> dict[int, OrderRow]:
    def some(query: sa.Select[Any], number: sa.Column[int]) -> sa.Select[Any]:
        return query if only is None else query.where(number.in_(only))

    found: dict[int, OrderRow] = {}
    query = sa.select(t.supply_order).where(live(t.supply_order), t.supply_order.c.at <= until)
    for r in conn.execute(some(query, t.supply_order.c.n).order_by(t.supply_order.c.n)):
        found[r.n] = OrderRow(r.n, r.supplier, r.site, r.at, r.due, r.entry)
    lines = sa.select(t.order_line).where(live(t.order_line)).order_by(t.order_line.c.id)
    for r in conn.execute(some(lines, t.order_line.c.supply_order)):
        if r.supply_order in found:
            order = found[r.supply_order]
            order.lines.append(Ordered(r.product, r.quantity, r.proposed, r.pack_price, r.why))
            order.ordered[r.product] = order.ordered.get(r.product, 0) + r.quantity
    changes = sa.select(t.order_change).where(live(t.order_change), t.order_change.c.at <= until)
    changes = some(changes, t.order_change.c.supply_order)
    for r in conn.execute(changes.order_by(t.order_change.c.at, t.order_change.c.id)):
        if r.supply_order not in found:
            continue
        order = found[r.supply_order]
        order.changes.append(Change(r.entry, r.at, r.kind, r.due, r.why))
        if r.kind == "expect":
            order.due = r.due
        else:
            order.state = {"cancel": "cancelled", "close": "closed"}[r.kind]
    for number, receipt in _receipts(conn, until, only):
        if number in found:
            order = found[number]
            order.receipts.append(receipt)
            order.received[receipt.product] = order.received.get(receipt.product, 0) + receipt.quantity
    for order in found.values():
        if order.state == "open" and order.ordered and not any(map(order.open_quantity, order.ordered)):
            order.state = "received"
    return found


def _receipts(conn: sa.Connection, until: int, only: Collection[int] | None) -> list[tuple[int, Receipt]]:
    """(O-number, what came of it) up to an instant, in order of time; of all orders or some."""
    m = t.movement.c
    query = (
        sa.select(m.supply_order, m.entry, m.at, t.lot.c.product, t.lot.c.code, m.quantity, t.place.c.name)
        .select_from(t.movement.join(t.lot, t.lot.c.id == m.lot).join(t.place, t.place.c.id == m.target))
        .where(m.supply_order.is_not(None), m.kind == "receive", m.at <= until, live(t.movement))
        .order_by(m.at, m.id)
    )
    query = query if only is None else query.where(m.supply_order.in_(only))
    return [(int(order), Receipt(*row)) for order, *row in conn.execute(query)]


def ordered(book: Book, supplier: str, due: int) -> int:
    """Appends an order; its lines follow. Returns its O-number."""
    number = book.number("orders")
    book.add(t.supply_order, n=number, at=book.at, supplier=supplier, site=book.site, due=due)
    return number


def line(
    book: Book, order: int, product: str, quantity: int, proposed: int | None, pack_price: int | None, why: str | None
) -> None:
    """Appends one line of an order: pieces, what the program had proposed, the price of a pack in hundredths."""
    book.add(
        t.order_line, supply_order=order, product=product, quantity=quantity, proposed=proposed, pack_price=pack_price,
        why=why,
    )  # fmt: skip


def changed(book: Book, order: int, kind: str, *, due: int | None = None, why: str | None = None) -> None:
    """Appends that an order is expected on another day, cancelled or closed (``kind`` expect, cancel, close)."""
    book.add(t.order_change, at=book.at, supply_order=order, kind=kind, due=due, why=why)
