"""What the suppliers' orders took: measured on the orders and deliveries on record."""

from collections.abc import Mapping

from stockroom.core.deliveries import order_day
from stockroom.core.lead_times import BACK_DAYS, Came, LeadRecord, lead_record
from stockroom.errors import Refused
from stockroom.store import Link, orders
from stockroom.store.orders import OrderRow
from stockroom.tasks.rules import Rules

DAY = 86_400


def lead_records(conn: Link, rule: Rules, at: int) -> Mapping[str, LeadRecord]:
    """Supplier -> what its orders of the last two years took, over all sites: those of which nothing is to come at ``at``.

    What never came of a cancelled or closed order tells nothing; what came of it does.
    """
    known = {s.name: s for s in rule.practice.suppliers}
    came: dict[str, list[Came]] = {}
    for order in orders.orders(conn, at).values():
        if order.state != "open" and order.receipts and order.supplier in known and order.at >= at - BACK_DAYS * DAY:
            found = _came(rule, order)
            if found is not None:
                came.setdefault(order.supplier, []).append(found)
    records = {name: lead_record(known[name], found) for name, found in came.items()}
    return {name: record for name, record in records.items() if record is not None}


def _came(rule: Rules, order: OrderRow) -> Came | None:
    """An order as core/lead_times.py takes it; None where the supplier takes no orders any more."""
    opening = rule.opening(order.site)
    supplier = rule.practice.supplier(order.supplier)
    if supplier is None:
        return None
    try:
        order_on, _ = order_day(supplier, opening, order.at)
    except Refused:
        return None
    return Came(opening, order_on, tuple((r.product, opening.day(r.at), r.quantity) for r in order.receipts))
