"""What will expire, and how many of those will not be used in time at the expected pace."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from stockroom.core.projection import Stock, left_at_expiry
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.tasks.expected_demand import Expected, expected_demand
from stockroom.tasks.list_stock import StockRow, stock_report
from stockroom.tasks.order_basis import sites_now
from stockroom.tasks.rules import Rules, rules

DAY = 86_400
EVER = 1_000_000
"""Days after which no lot expires any more."""
AHEAD = 28 * DAY
"""The pace is that of the forecast for so long: beyond it nobody knows more than in the long run."""


@dataclass(frozen=True, slots=True)
class ExpiringRow:
    """Usable pieces of a lot that expires soon; ``unused`` is what is expected to be left then."""

    product: str
    lot: str
    expiry: date
    days_left: int
    quantity: int
    unused: int


@dataclass(frozen=True, slots=True)
class ExpiringReport:
    """What ``stock expiring`` answers."""

    as_of: int
    within: int
    rows: tuple[ExpiringRow, ...]

    @property
    def attention(self) -> int:
        """Lots that have expired, or of which something will be left."""
        return sum(r.unused > 0 for r in self.rows)


def expiring_stock(store: Store, as_of: int, within: int, *, site: str | None = None) -> ExpiringReport:
    """Lots that expire within so many days, expired ones first. Known bookings and the expected pace use them up."""
    with store.reading() as conn:
        rule = rules(conn, as_of)
        rows = _expiring(conn, rule, as_of, within, site, _demand(conn, rule, as_of, site))
    return ExpiringReport(as_of, within, tuple(sorted(rows, key=lambda r: (r.expiry, r.product, r.lot))))


def unused_of(conn: Link, rule: Rules, as_of: int, product: str, lot: str, site: str) -> int:
    """Pieces of one lot at a site that are expected to be left when it expires; 0 where nothing says that it is used."""
    named = None if len(rule.practice.sites) == 1 else site
    demand = _demand(conn, rule, as_of, named)
    found = rule.practice.product(product)
    if found is None or not any(one.known(product) or one.per_day(found, as_of + AHEAD) for one in demand):
        return 0
    rows = _expiring(conn, rule, as_of, EVER, named, demand, only=product)
    return sum(r.unused for r in rows if r.lot == lot and r.days_left >= 0)


def _demand(conn: Link, rule: Rules, as_of: int, site: str | None) -> list[Expected]:
    return expected_demand(conn, as_of, sites_now(conn, rule, as_of, rule.sites(site)))


def _expiring(
    conn: Link,
    rule: Rules,
    as_of: int,
    within: int,
    site: str | None,
    demand: Sequence[Expected],
    only: str | None = None,
) -> list[ExpiringRow]:
    """The lots of all products, or of one, that expire within so many days."""
    stock = stock_report(conn, rule, as_of, product=only, site=site)
    opening = rule.opening(rule.sites(site)[0])
    rows: list[ExpiringRow] = []
    for code in sorted({r.product for r in stock.rows}):
        lots = [r for r in stock.rows if r.product == code and r.state != "quarantined" and r.expiry is not None]
        product = rule.practice.product(code)
        known = tuple(sorted((start, n) for one in demand for _, start, n in one.known(code)))
        pace = sum(one.per_day(product, as_of + AHEAD) for one in demand) / DAY if product else 0.0
        soon = [r for r in lots if r.days_left is not None and r.days_left <= within]
        if soon:
            last = max(r.expiry for r in soon if r.expiry is not None)
            end = opening.midnight(last + timedelta(days=1))
            # What is booked is part of the expected pace: where it is already above it, it alone counts.
            booked = sum(n for at, n in known if at < end) / max(end - as_of, DAY)
            rows += _rows(rule, lots, soon, as_of, known, max(0.0, pace - booked))
    return rows


def _rows(
    rule: Rules, lots: list[StockRow], soon: list[StockRow], as_of: int, known: tuple[tuple[int, int], ...], rate: float
) -> list[ExpiringRow]:
    opening = rule.opening("")
    stocks: list[Stock] = [
        (as_of, opening.midnight(r.expiry + timedelta(days=1)) if r.expiry else None, r.quantity) for r in lots
    ]
    left = left_at_expiry(stocks, as_of, known, {as_of: rate})
    found: dict[tuple[str, date], tuple[int, float, int]] = {}
    for row, unused in zip(lots, left, strict=True):
        if row in soon and row.expiry is not None and row.days_left is not None:
            quantity, more, _ = found.get((row.lot, row.expiry), (0, 0.0, 0))
            found[row.lot, row.expiry] = (quantity + row.quantity, more + unused, row.days_left)
    code = lots[0].product
    return [
        ExpiringRow(code, lot, expiry, days, quantity, min(quantity, int(unused + 0.5)))
        for (lot, expiry), (quantity, unused, days) in found.items()
    ]
