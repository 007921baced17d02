"""What would cure a booking for which no kit is left: a decision about held stock, an order on its way, a new one."""

from collections.abc import Sequence

from stockroom.core.deliveries import next_arrival
from stockroom.core.practice import Product
from stockroom.core.takeout import earliest_start_from_fridge, habits, time_left
from stockroom.core.warmup import Row
from stockroom.errors import Refused
from stockroom.store import Link, orders
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import lots_there


def with_cures(conn: Link, rule: Rules, rows: Sequence[Row], at: int) -> list[Row]:
    """The same rows; those that are short say what would cure them. One piece on order cures one of them."""
    coming = sorted(orders.open_orders(conn, at), key=lambda o: o.due)
    codes = {r.product for r in rows}
    left: dict[tuple[int, str], int] = {(o.number, code): o.open_quantity(code) for o in coming for code in codes}
    held: dict[str, tuple[int, list[str]]] = {}
    found = []
    for row in rows:
        product = rule.practice.product(row.product)
        if row.state != "short" or product is None:
            found.append(row)
            continue
        if row.product not in held:
            held[row.product] = _in_quarantine(conn, row.product, at)
        row = _held(row, *held[row.product])
        mine = [o for o in coming if o.site == row.site and left[o.number, row.product]]
        late = [o for o in mine if o.due < at]
        nearest = next((o for o in mine if o.due >= at), None)
        if late:
            label = f"O-{late[0].number}"
            due = rule.opening(row.site).clock(late[0].due)
            row = _more(row, f"{label} was due {due} and has not come: ask {late[0].supplier}", "reorder orders")
        if nearest is not None:
            left[nearest.number, row.product] -= 1
            brings = f"O-{nearest.number} brings {nearest.open_quantity(row.product)} by {rule.opening(row.site).clock(nearest.due)}"
            row = _arriving(rule, row, product, brings, nearest.due, "reorder orders")
        elif not late:
            row = _order(rule, row, product, at)
        found.append(row)
    return found


def _order(rule: Rules, row: Row, product: Product, at: int) -> Row:
    """Nothing is on order: what an order made now would do."""
    supplier = next((s for s in rule.practice.suppliers if s.name == product.supplier), None)
    opening = rule.opening(row.site)
    if supplier is None:
        return _more(row, "none is on order", "reorder list")
    try:
        way = next_arrival(supplier, opening, at)
    except Refused:
        return _more(row, "none is on order, and no delivery is to be had", "reorder list")
    what = f"none is on order; ordered by {opening.clock(way.order_by)} it comes {opening.clock(way.arrives_at)}"
    return _arriving(rule, row, product, what, way.arrives_at, "reorder list")


def _arriving(rule: Rules, row: Row, product: Product, what: str, due: int, see: str) -> Row:
    """Says whether what is here by ``due`` can still be warm in time, or from which start on it could serve."""
    opening, habit = rule.opening(row.site), habits(rule.practice)
    if row.take_out_staffed_by is not None and row.take_out_staffed_by >= due:
        return _more(row, f"{what}: in time", see)
    start = earliest_start_from_fridge(
        *(opening, habit, product, row.end - row.start, due), left=time_left(product), expiry_end=None
    )
    if start is None:
        return _more(row, f"{what}: too late", see)
    start = -(-start // 60) * 60
    what += f": too late for it; from {opening.clock(start)} on it could serve"
    return _more(
        row._replace(earliest_start=start), what, see, f"booking move B-{row.booking} --start {opening.typed(start)}"
    )


def _in_quarantine(conn: Link, product: str, at: int) -> tuple[int, list[str]]:
    """(pieces of a product that are held, for what)."""
    there = (now for now in lots_there(conn, at).values() if now.lot.product == product)
    held = [p for now in there for p in now.state.inside() if p.held]
    return sum(p.quantity for p in held), sorted({cause for p in held for cause in p.causes})


def _held(row: Row, pieces: int, causes: Sequence[str]) -> Row:
    """Where stock is held a decision could cure it: says so, and which excursion it waits for."""
    if not pieces:
        return row._replace(todo="")
    todo = "fridge check" if any(c.startswith("E-") for c in causes) else f"stock list --product {row.product}"
    return row._replace(why=f"{row.why}; {pieces} in quarantine ({', '.join(causes)})", todo=todo)


def _more(row: Row, what: str, *todos: str) -> Row:
    said = list(dict.fromkeys([*row.todos, *todos]))
    return row._replace(why=f"{row.why}; {what}", todo=said[0], others=tuple(said[1:]))
