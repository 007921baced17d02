"""What is on hand by lot, earliest expiry first, and what will expire before it is used."""

from dataclasses import dataclass
from datetime import date

from stockroom.core.records import Pull
from stockroom.core.stock import Standing, standing
from stockroom.core.warmup import Kit, ready_at, use_by
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.tasks.places import product_named
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import LotNow, lots_there, pulls_there
from stockroom.tasks.warm_plan import expiry_end


@dataclass(frozen=True, slots=True)
class StockRow:
    """Pieces of a lot in one place and state; a kit that is out has a row of its own."""

    product: str
    lot: str
    expiry: date | None
    place: str
    quantity: int
    state: str
    days_left: int | None
    causes: tuple[str, ...]
    pull: int | None = None
    ready_at: int | None = None
    use_by: int | None = None
    booking: int | None = None


@dataclass(frozen=True, slots=True)
class StockReport:
    """What ``stock list`` answers; ``owed`` are (product, lot, place, pieces) that the record does not have."""

    as_of: int
    rows: tuple[StockRow, ...]
    owed: tuple[tuple[str, str, str, int], ...]

    @property
    def attention(self) -> int:
        """Rows that wait for a person: held or expired stock, and what is unaccounted for."""
        return sum(r.state != "usable" for r in self.rows) + len(self.owed)


def list_stock(store: Store, as_of: int, *, product: str | None = None, site: str | None = None) -> StockReport:
    """Everything on hand at an instant. Raises: Refused for an unknown product."""
    with store.reading() as conn:
        rule = rules(conn, as_of)
        code = None if product is None else product_named(rule.practice, product).code
        return stock_report(conn, rule, as_of, product=code, site=site)


def stock_report(
    conn: Link, rule: Rules, as_of: int, *, product: str | None = None, site: str | None = None
) -> StockReport:
    """Everything on hand at an instant, of one product or all."""
    sites = rule.sites(site)
    pulls = {p.place: p for p in pulls_there(conn, as_of).values()}
    rows: list[StockRow] = []
    owed: list[tuple[str, str, str, int]] = []
    for now in lots_there(conn, as_of).values():
        if product is not None and now.lot.product != product:
            continue
        for place, n in now.state.short.items():
            if n and (site is None or (rule.practice.site_of(place) or sites[0]) in sites):
                owed.append((now.lot.product, now.lot.code, place, n))
        today = rule.opening(sites[0]).day(as_of)
        for row in standing(now.state, now.lot.expiry, today):
            pull = pulls.get(row.place)
            origin = row.place if pull is None else pull.source
            if site is None or (rule.practice.site_of(origin) or sites[0]) in sites:
                rows.append(_row(rule, now, row, pull, today, sites[0]))
    rows.sort(key=lambda r: (r.product, r.expiry or date.max, r.lot, r.place, r.state))
    return StockReport(as_of, tuple(rows), tuple(owed))


def _row(rule: Rules, now: LotNow, row: Standing, pull: Pull | None, today: date, site: str) -> StockRow:
    left = None if now.lot.expiry is None else (now.lot.expiry - today).days
    base = (now.lot.product, now.lot.code, now.lot.expiry)
    product = rule.practice.product(now.lot.product)
    if pull is None or product is None:
        return StockRow(*base, row.place, row.quantity, row.state, left, row.causes)
    kit = Kit(
        pull.product, pull.lot, now.lot.code, pull.site, expiry_end(rule, now, site), pull.source, pull.number, pull.at,
        pull.out_before, pull.booking,
    )  # fmt: skip
    return StockRow(
        *base, "out", row.quantity, row.state, left, row.causes, pull.number, ready_at(kit, product), use_by(kit, product),
        pull.booking,
    )  # fmt: skip
