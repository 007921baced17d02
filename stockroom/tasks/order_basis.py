"""What a site has on record that its orders stand on: stock that can serve, bookings, what is coming, free space."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from stockroom.core.lead_times import LeadRecord
from stockroom.core.opening import Opening
from stockroom.core.practice import Practice, Procedure, Product
from stockroom.core.records import Booking, Finding
from stockroom.core.room import Inside, Room, room_ahead
from stockroom.core.units import count, few, quoted
from stockroom.core.when import day_text
from stockroom.store import Link, fridge_notes, ledger, orders
from stockroom.tasks.diary import diary
from stockroom.tasks.lead_record import lead_records
from stockroom.tasks.list_stock import StockReport, StockRow, stock_report
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import pulls_there


@dataclass(frozen=True, slots=True)
class OrderNow:
    """An order of which something is still to come; ``lines`` are (product, ordered, received, still to come)."""

    number: int
    supplier: str
    site: str
    placed_at: int
    due: int
    due_on: date
    overdue: bool
    lines: tuple[tuple[str, int, int, int], ...]

    @property
    def label(self) -> str:
        """The order's number as people write it."""
        return f"O-{self.number}"

    def coming(self, product: str) -> int:
        """Pieces of a product that have not come yet."""
        return sum(left for code, _, _, left in self.lines if code == product)

    @property
    def missing(self) -> str:
        """All that has not come yet: ``4 x CK, 50 x SWAB``."""
        return ", ".join(f"{left} x {code}" for code, _, _, left in self.lines if left)


@dataclass(frozen=True, slots=True)
class SiteNow:
    """One site at an instant. ``bookings`` are those not yet done, by start; ``strangers`` those of them whose
    procedure the practice file does not have; ``owed`` are (product, lot, place, pieces) that the record lacks;
    ``off`` the fridges that are switched off; ``leads`` what the orders to each supplier took.
    """

    name: str
    at: int
    practice: Practice
    opening: Opening
    rows: tuple[StockRow, ...]
    owed: tuple[tuple[str, str, str, int], ...]
    bookings: tuple[Booking, ...]
    strangers: tuple[Booking, ...]
    orders: tuple[OrderNow, ...]
    off: frozenset[str] = frozenset()
    leads: Mapping[str, LeadRecord] = field(default_factory=dict)
    _rows: dict[str, list[StockRow]] = field(default_factory=dict, init=False, repr=False, compare=False)

    def rows_of(self, product: str) -> Sequence[StockRow]:
        """The stock of one product."""
        if not self._rows:
            for row in self.rows:
                self._rows.setdefault(row.product, []).append(row)
        return self._rows.get(product, ())

    @property
    def products(self) -> dict[str, Product]:
        """Code -> product."""
        return {p.code: p for p in self.practice.products}

    @property
    def procedures(self) -> dict[str, Procedure]:
        """Code -> procedure."""
        return {p.code: p for p in self.practice.procedures}


def sites_now(conn: Link, rule: Rules, at: int, sites: Sequence[str]) -> list[SiteNow]:
    """Each of some sites at ``at``."""
    practice = rule.practice
    stock = stock_report(conn, rule, at)
    homes = _homes(conn, practice, at, stock)
    known = {p.code for p in practice.procedures}
    off, leads = _switched_off(conn, practice, at), lead_records(conn, rule, at)
    coming, standing = open_orders(conn, rule, at, sites), diary(conn, rule, at, sites, standing=True)
    found = []
    for name in sites:
        booked = sorted((b for b in standing.values() if b.site == name), key=lambda b: (b.start, b.number))
        found.append(
            SiteNow(
                name, at, practice, rule.opening(name),
                rows=tuple(r for r, home in zip(stock.rows, homes, strict=True) if home == name),
                owed=tuple(o for o in stock.owed if _site(practice, practice.site_of(o[2])) == name),
                bookings=tuple(b for b in booked if b.procedure in known),
                strangers=tuple(b for b in booked if b.procedure not in known),
                orders=tuple(o for o in coming if o.site == name),
                off=off, leads=leads,
            )
        )  # fmt: skip
    return found


def open_orders(conn: Link, rule: Rules, at: int, sites: Sequence[str]) -> list[OrderNow]:
    """The orders of some sites of which something is still to come at ``at``, by the day on which they are due."""
    found = []
    for o in orders.open_orders(conn, at):
        site = _site(rule.practice, o.site)
        if site not in sites:
            continue
        lines = tuple((p, n, o.received.get(p, 0), o.open_quantity(p)) for p, n in o.ordered.items())
        # Where somebody is there until midnight, it is due at the first instant of the next day.
        due_on = rule.opening(site).day(o.due - 1)
        found.append(OrderNow(o.number, o.supplier, site, o.at, o.due, due_on, o.due < at, lines))
    return sorted(found, key=lambda o: (o.due, o.number))


def _site(practice: Practice, name: str | None) -> str:
    """The site of that name, the first one for what names none that is known: so that nothing counts twice."""
    return next((s.name for s in practice.sites if s.name == name), practice.sites[0].name)


def _switched_off(conn: Link, practice: Practice, at: int) -> frozenset[str]:
    """The fridges that are switched off at an instant."""
    keys = {f.name: ledger.place_key(conn, f.name) for f in practice.fridges}
    said = {n: fridge_notes.switches(conn, key, at) for n, key in keys.items() if key is not None}
    return frozenset(n for n, switches in said.items() if not fridge_notes.on_at(switches, at))


def _homes(conn: Link, practice: Practice, at: int, stock: StockReport) -> list[str]:
    """The site of each row: that of its place, of a kit that is out that of the fridge which it came from."""
    pulls = pulls_there(conn, at)
    found = []
    for row in stock.rows:
        pull = None if row.pull is None else pulls[row.pull]
        home = practice.site_of(row.place if pull is None else pull.source)
        found.append(_site(practice, pull.site if home is None and pull is not None else home))
    return found


def pieces(here: SiteNow, product: Product, state: str) -> tuple[tuple[int | None, int], ...]:
    """(end of use, pieces) of a product's stock in a state, where it can serve.

    What is kept cold counts in a fridge, or out of it to warm, and only with a known expiry; a kit that is out only
    before its use-by.
    """
    found = []
    for row in here.rows_of(product.code):
        if row.state != state:
            continue
        end = None if row.expiry is None else here.opening.midnight(row.expiry + timedelta(days=1))
        in_place = row.pull is not None or here.practice.fridge(row.place) is not None
        if product.cold and (end is None or not in_place):
            continue
        if row.use_by is not None:
            end = row.use_by if end is None else min(end, row.use_by)
        if end is None or end > here.at:
            found.append((end, row.quantity))
    return tuple(found)


def free_space(here: SiteNow) -> int | None:
    """Room in all fridges of a site together now, in the products' ``space``; None where one of them has no limit.

    What stands in them takes room, held and expired pieces too, and so does what is on order and kept cold. An
    overdue order takes none, as it counts as nothing. A fridge that is switched off, or none at all, gives no room.
    """
    room = room_when(here, lambda code: (), [])
    return None if room is None else room.free[-1]


def room_when(
    here: SiteNow, booked: Callable[[str], Sequence[tuple[int, int, int]]], marks: Sequence[int]
) -> Room | None:
    """The same from now on: an order takes room from the morning of the day on which it is due, and what known bookings
    (``booked``: product -> (number, start, pieces)) take out of the fridge gives it back, when a kit must leave it to be
    warm. Bookings whose time has come give none back, nor do those for which as many kits are out.
    """
    capacity = _capacity(here)
    if capacity is None:
        return None
    fridges = {f.name for f in here.practice.fridges if f.site == here.name}
    contents = []
    products = here.products
    for code in {*(r.product for r in here.rows), *(p.code for p in products.values() if p.cold)}:
        product = products.get(code)
        rows = [r for r in here.rows_of(code) if r.pull is None and r.place in fridges]
        if product is None or not product.cold:
            contents.append(Inside(1 if product is None else product.space, idle=sum(r.quantity for r in rows)))
            continue
        usable = [r for r in rows if r.state == "usable" and r.expiry is not None]
        contents.append(
            Inside(
                product.space,
                lots=tuple(
                    (here.opening.midnight(r.expiry + timedelta(days=1)), r.quantity) for r in usable if r.expiry
                ),
                idle=sum(r.quantity for r in rows) - sum(r.quantity for r in usable),
                comes=tuple((_morning(here, o.due_on), o.coming(code)) for o in here.orders if not o.overdue),
                leaves=_leaves(here, product, booked(code)),
            )
        )
    return room_ahead(capacity, here.at, contents, marks)


def _capacity(here: SiteNow) -> int | None:
    """Of all fridges of a site that are on; None where one of them has no limit."""
    found = [f.capacity for f in here.practice.fridges if f.site == here.name and f.name not in here.off]
    return None if None in found else sum(c or 0 for c in found)


def _morning(here: SiteNow, day: date) -> int:
    """The first instant of a day at which somebody is there, its very first where nobody is."""
    spans = here.opening.day_spans(day)
    return spans[0][0] if spans else here.opening.midnight(day)


def _leaves(here: SiteNow, product: Product, booked: Sequence[tuple[int, int, int]]) -> tuple[tuple[int, int], ...]:
    """(instant, pieces) that bookings to come take from the fridge, the kits that are out already serving the first."""
    out = sum(r.quantity for r in here.rows_of(product.code) if r.pull is not None)
    found = []
    for _, start, pieces in sorted(booked, key=lambda b: b[1]):
        if start > here.at:
            served = min(out, pieces)
            out -= served
            by = start - product.warm_after
            found.append((by if by >= here.at else start, pieces - served))
    return tuple(found)


def findings_of(here: SiteNow) -> list[Finding]:
    """What makes a list of orders wrong or late: overdue orders, stock that the record lacks, bookings not recorded."""
    found = []
    for o in here.orders:
        if o.overdue:
            what = f"{o.label} from {o.supplier} was due {day_text(o.due_on)}; until it has a new day {o.missing} count as nothing"
            todo = f"stockroom reorder expect {o.label} --on DAY, or: stockroom reorder close {o.label} --why …"
            found.append(Finding("order-overdue", what, todo, urgent=True))
    for product, lot, place, n in here.owed:
        what = f"{product} lot {lot}: {count(n, 'piece')} used that the record does not have, at {place}"
        todo = f"until it is counted, the list is not sure: stockroom stock count {quoted(place)}"
        found.append(Finding("unaccounted", what, todo, urgent=True))
    for b in here.strangers:
        what = f"B-{b.number} is booked for {b.procedure}, which the practice file does not have: not counted"
        todo = f"load a practice file that has it, or: stockroom booking cancel B-{b.number} --why …"
        found.append(Finding("unknown-procedure", what, todo, urgent=True))
    over = [f"B-{b.number}" for b in here.bookings if b.end <= here.at]
    if over:
        what = f"{count(len(over), 'booking')} over and not yet recorded, counted as still to come: {few(over, 6)}"
        found.append(Finding("unrecorded", what, f"stockroom booking done {over[0]}"))
    return found
