"""Orders as records: what was ordered, what came of it and when, and what became of the rest."""

from dataclasses import dataclass
from datetime import date

from stockroom.core.practice import Practice
from stockroom.errors import Refused, nearest
from stockroom.store import Link, orders
from stockroom.store.engine import Store
from stockroom.store.orders import Change, Ordered, OrderRow, Receipt
from stockroom.tasks.places import number_of
from stockroom.tasks.rules import Rules, rules


@dataclass(frozen=True, slots=True)
class Line:
    """One product of an order. ``ordered`` is 0 for what came without having been ordered."""

    product: str
    ordered: int
    received: int
    to_come: int
    placed: tuple[Ordered, ...]
    """As it was ordered: what had been proposed, the price of a pack, the reason."""

    @property
    def proposed(self) -> int | None:
        """Pieces that had been proposed, None where nothing was."""
        return next((x.proposed for x in self.placed), None)

    @property
    def pack_price(self) -> int | None:
        """Of a pack when it was ordered, in hundredths."""
        return next((x.pack_price for x in self.placed), None)

    @property
    def why(self) -> str | None:
        """Why it was not what had been proposed."""
        return next((x.why for x in self.placed if x.why), None)


@dataclass(frozen=True, slots=True)
class OrderRecord:
    """An order as it stood at an instant. ``state`` is open, overdue, received, closed or cancelled."""

    number: int
    entry: int
    supplier: str
    site: str
    placed_at: int
    due_on: date
    state: str
    lines: tuple[Line, ...]
    receipts: tuple[Receipt, ...]
    changes: tuple[Change, ...]

    @property
    def label(self) -> str:
        """The order's number as people write it."""
        return f"O-{self.number}"

    @property
    def coming(self) -> bool:
        """True where something of it is still to come."""
        return self.state in ("open", "overdue")

    @property
    def summary(self) -> str:
        """What is on it: ``8 x CK, 50 x SWAB``."""
        return ", ".join(f"{x.ordered} x {x.product}" for x in self.lines if x.ordered)

    @property
    def missing(self) -> str:
        """What has not come yet: ``4 x CK``."""
        return ", ".join(f"{x.to_come} x {x.product}" for x in self.lines if x.to_come)


def order_book(
    store: Store, as_of: int, *, site: str | None = None, every: bool = False, named: str | None = None
) -> list[OrderRecord]:
    """The orders of some sites at an instant: those of which something is to come, by the day on which they are due;
    with ``every`` all of them, by number; with ``named`` that one, whatever became of it.

    Raises: Refused for an unknown site or order.
    """
    with store.reading() as conn:
        rule = rules(conn, as_of)
        if named is not None:
            return [order_record(conn, rule, as_of, named)]
        found = [record_of(rule, o, as_of) for o in orders.orders(conn, as_of).values()]
        sites = rule.sites(site)
    here = [o for o in found if o.site in sites]
    if every:
        return sorted(here, key=lambda o: o.number)
    return sorted((o for o in here if o.coming), key=lambda o: (o.due_on, o.number))


def order_record(conn: Link, rule: Rules, as_of: int, text: str) -> OrderRecord:
    """The order that was typed, as it stood at ``as_of``. Raises: Refused where there was none of that number."""
    known = orders.orders(conn, as_of)
    number = number_of(text, "O")
    if number is None or number not in known:
        raise unknown_order(text, known)
    return record_of(rule, known[number], as_of)


def unknown_order(text: str, known: dict[int, OrderRow]) -> Refused:
    """The refusal of an order that does not exist, with the nearest that does and those that are open."""
    hint = nearest(text, [f"O-{n}" for n in known])
    listed = ", ".join(f"O-{n}" for n, o in known.items() if o.state == "open")
    return Refused("unknown-order", f'there is no order "{text}"{hint}', f"open orders: {listed or 'none'}")


def record_of(rule: Rules, o: OrderRow, as_of: int) -> OrderRecord:
    """An order with its lines, those that came without having been ordered last."""
    site = home(rule.practice, o)
    lines = tuple(
        Line(
            code, o.ordered.get(code, 0), o.received.get(code, 0), o.open_quantity(code),
            tuple(x for x in o.lines if x.product == code),
        )
        for code in dict.fromkeys([*o.ordered, *o.received])
    )  # fmt: skip
    state = "overdue" if o.state == "open" and o.due < as_of else o.state
    # Where somebody is there until midnight, it is due at the first instant of the next day.
    due_on = rule.opening(site).day(o.due - 1)
    return OrderRecord(
        o.number, o.entry, o.supplier, site, o.at, due_on, state, lines, tuple(o.receipts), tuple(o.changes)
    )  # fmt: skip


def home(practice: Practice, o: OrderRow) -> str:
    """The site of an order, the first one where the practice file does not know it (any more, or not yet)."""
    return next((s.name for s in practice.sites if s.name == o.site), practice.sites[0].name)


def ending(o: OrderRow) -> str:
    """How an order ended, for people: ``O-3 was cancelled: ordered twice``."""
    last = next((c for c in reversed(o.changes) if c.kind != "expect"), None)
    return f"O-{o.number} was {o.state}" + (f": {last.why}" if last is not None and last.why else "")
