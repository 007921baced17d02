"""How the stock behind an order line will go, ready to be drawn: a site's path of one product, with its orders."""

from dataclasses import dataclass
from datetime import timedelta

from stockroom.core.opening import Opening
from stockroom.core.stock_path import Arrival, StockPath, stock_path
from stockroom.store import Link
from stockroom.tasks.reorder import OrderPlan, Planned, SupplierPlan
from stockroom.tasks.rules import rules

BEYOND = 4
"""The picture goes on for a quarter of the time that the order must last, so that what comes after it is seen."""
THIS_ORDER = "this order"


@dataclass(frozen=True, slots=True)
class Outlook:
    """The path of one product at one site, in the hours and the zone of that site."""

    practice: str
    site: str
    product: str
    name: str
    path: StockPath
    opening: Opening


def outlook(conn: Link, plan: OrderPlan, s: SupplierPlan, p: Planned) -> Outlook:
    """The path of a line's product, what it orders included, drawn day by day."""
    rule = rules(conn, plan.as_of)
    opening = rule.opening(s.site)
    until = p.given.covers_until + (p.given.covers_until - plan.as_of) // BEYOND
    day = opening.day(plan.as_of)
    marks: list[int] = []
    while not marks or marks[-1] < until:
        day += timedelta(days=1)
        marks.append(opening.midnight(day))
    coming = [
        Arrival(o.due, n, o.label)
        for o in plan.orders
        if o.site == s.site and not o.overdue and (n := o.coming(p.product.code))
    ]
    if p.line.order_quantity:
        coming.append(Arrival(p.given.arrives_at, p.line.order_quantity, THIS_ORDER))
    path = stock_path(p.given, coming, marks)
    return Outlook(rule.practice.name, s.site, p.product.code, p.product.name, path, opening)
