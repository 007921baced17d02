"""A delivery against what was ordered: is it of that order, product and quantity, and how long will it last?

What came is recorded whatever it is; what is odd about it is named on the record.
"""

from datetime import date

from stockroom.core.practice import Product
from stockroom.core.units import count, quoted, quoted_lot
from stockroom.core.when import day_text
from stockroom.store import orders
from stockroom.store.engine import Store
from stockroom.store.orders import OrderRow
from stockroom.tasks.act import Recording
from stockroom.tasks.expiring import unused_of
from stockroom.tasks.order_book import ending, home, unknown_order
from stockroom.tasks.places import folded, number_of
from stockroom.tasks.rules import rules

FRESH = 0.75
"""Of the usual days on arrival: with fewer left a delivery is short-dated. Below that a common delivery varies too."""
DELIVERY_NOTE = "check the delivery note"


def order_it_fits(store: Store, at: int, product: str, place: str) -> str | None:
    """The one open order of a place's site of which a product is still to come (O-3); None where it is not one."""
    with store.reading() as conn:
        practice = rules(conn, at).practice
        code = folded(product, [p.code for p in practice.products])
        names = [f.name for f in practice.fridges] + [s.name for s in practice.shelves]
        site = practice.site_of(folded(place, names) or "")
        found = [
            n
            for n, o in orders.orders(conn, at).items()
            if code and home(practice, o) == site and o.open_quantity(code)
        ]
    return f"O-{found[0]}" if len(found) == 1 else None


def against_order(rec: Recording, text: str, product: Product, pieces: int, into: str) -> OrderRow:
    """The order that a delivery was said to be of, before it counts as come. Names what does not fit.

    Raises: Refused where there is no such order.
    """
    known = orders.orders(rec.conn)
    number = number_of(text, "O")
    if number is None or number not in known:
        raise unknown_order(text, known)
    order, then = known[number], orders.orders(rec.conn, rec.act.at).get(number)
    if then is None:
        placed = day_text(rec.rules.opening(order.site).day(order.at))
        rec.broke("before-the-order", f"O-{number} was only placed on {placed}", "check --at and the order's number")
    elif then.state in ("cancelled", "closed"):
        rec.broke("order-not-open", ending(then), DELIVERY_NOTE)
    site, ordered = rec.rules.practice.site_of(into), home(rec.rules.practice, order)
    if site is not None and ordered != site:
        rec.broke(
            "order-of-other-site", f"O-{number} is of {ordered}, this went to {into} of {site}",
            f"if it belongs there: stockroom stock move … --from {quoted(into)} --to PLACE",
        )  # fmt: skip
    left = order.ordered.get(product.code, 0) - order.received.get(product.code, 0)
    if product.code not in order.ordered:
        elsewhere = "" if product.supplier == order.supplier else f", which is listed with {product.supplier}"
        what = f"O-{number} to {order.supplier} has no {product.code}{elsewhere}"
        other = [n for n, o in known.items() if o.open_quantity(product.code)]
        todo = f"{DELIVERY_NOTE}; O-{other[0]} has some to come" if other else DELIVERY_NOTE
        rec.broke("not-ordered", what, todo)
    elif pieces > left:
        what = f"O-{number} had {max(0, left)} {product.code} still to come, {pieces} came"
        rec.broke("more-than-ordered", what, DELIVERY_NOTE)
    return order


def order_not_named(rec: Recording, product: Product, into: str) -> None:
    """Says which open orders have the product to come: it counts as still to come until one of them is named."""
    site, known = rec.rules.practice.site_of(into), orders.orders(rec.conn, rec.act.at)
    found = [
        (n, left)
        for n, o in known.items()
        if home(rec.rules.practice, o) == site and (left := o.open_quantity(product.code))
    ]
    if found:
        listed = ", ".join(f"O-{n} ({left})" for n, left in found)
        what = f"{product.code} is still to come of {listed}: this was not counted against it"
        todo = f"if it is of it: stockroom undo {rec.book.label} --why …, then again with --order O-{found[0][0]}"
        rec.note("order-not-named", what, todo)


def to_come(rec: Recording, number: int) -> dict[str, int]:
    """What is still to come of an order, with all that this entry has recorded."""
    order = orders.orders(rec.conn)[number]
    return {code: left for code in order.ordered if (left := order.open_quantity(code))}


def shelf_life(
    rec: Recording, product: Product, lot: str, expiry: date, pieces: int, into: str, lender: str | None
) -> dict[str, object]:
    """Names a delivery that will not last as usual, and pieces that will not be used before they expire.

    Returns the days left, those that are usual, and the pieces of the lot that are expected to expire unused.
    """
    site = rec.rules.practice.site_of(into) or rec.rules.practice.sites[0].name
    left = (expiry - rec.rules.opening(site).day(rec.act.at)).days
    usual = product.shelf_life_days
    if left < 0:
        return {"days_left": left, "usual_days": usual, "expected_unused": None}
    unused = min(pieces, unused_of(rec.conn, rec.rules, rec.act.at, product.code, lot, site))
    short = usual is not None and left < FRESH * usual
    if short:
        what = f"{product.code} lot {lot} came with {count(left, 'day')} left, {usual} are usual"
        back = f"stockroom stock return {product.code} {quoted_lot(lot)} --quantity {pieces} --why …"
        rec.broke("short-dated", what, f"ask {lender or product.supplier}; to send it back: {back}")
    if unused:
        what = f"of {product.code} lot {lot} {count(unused, 'piece')} {'is' if unused == 1 else 'are'} expected to be left on {day_text(expiry)}"
        rec.note("left-over", what, "see: stockroom stock expiring", urgent=short)
    return {"days_left": left, "usual_days": usual, "expected_unused": unused}
