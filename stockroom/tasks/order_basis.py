"""What a site has on record that its orders stand on: stock that can serve, bookings, what is on order, free space."""

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


@dataclass(frozen=True, slots=True)
class _Site:
    """What one site has on record at ``at``; its bookings are those not yet done, of procedures that are known."""

    name: str
    at: int
    practice: Practice
    products: Mapping[str, Product]
    opening: Opening
    rows: tuple[StockRow, ...]
    bookings: tuple[Booking, ...]
    orders: tuple[OrderNow, ...]


def open_orders(conn: Link, rule: Rules, at: int, sites: Sequence[str]) -> list[OrderNow]:
    """The orders of some sites of which something is still to come at ``at``, by the day on which they are due."""
    found = []
    for o in orders.orders(conn, at).values():
        site = _known_site(rule.practice, o.site)
        if o.state != "open" or site not in sites:
            continue
        lines = tuple((p, n, o.received.get(p, 0), o.open_quantity(p)) for p, n in o.ordered.items())
        # A day that ends at midnight is due at the first instant of the next one.
        due_on = rule.opening(site).day(o.due - 1)
        found.append(OrderNow(o.number, o.supplier, site, o.at, o.due, due_on, o.due < at, lines))
    return sorted(found, key=lambda o: (o.due, o.number))


def _on_record(
    conn: Link, rule: Rules, at: int, name: str, stock: StockReport, pulls: Mapping[int, Pull]
) -> _Site:
    practice = rule.practice
    known = {p.code for p in practice.procedures}
    booked = [b for b in diary(conn, rule, at, [name]).values() if b.state == "booked" and b.procedure in known]
    return _Site(
        name, at, practice, {p.code: p for p in practice.products}, rule.opening(name),
        tuple(r for r in stock.rows if _site_of(practice, r, pulls) == name),
        tuple(sorted(booked, key=lambda b: (b.start, b.number))),
        tuple(open_orders(conn, rule, at, [name])),
    )  # fmt: skip


def _known_site(practice: Practice, name: str | None) -> str:
    """The site of that name; the first one for a place or record that names none, so that nothing counts twice."""
    return name if name in {s.name for s in practice.sites} and name is not None else practice.sites[0].name


def _site_of(practice: Practice, row: StockRow, pulls: Mapping[int, Pull]) -> str:
    if row.pull is None:
        return _known_site(practice, practice.site_of(row.place))
    pull = pulls[row.pull]
    site = practice.site_of(pull.source)
    return _known_site(practice, pull.site if site is None else site)


def _overdue(here: _Site) -> list[Finding]:
    found = []
    for o in here.orders:
        if o.overdue:
            missing = ", ".join(f"{left} x {code}" for code, _, _, left in o.lines if left)
            what = f"{o.label} from {o.supplier} was due {day_text(o.due_on)}: {missing} not here, counted as nothing"
            todo = f"stockroom reorder expect {o.label} --on DAY, or: stockroom reorder close {o.label} --why …"
            found.append(Finding("order-overdue", what, todo, urgent=True))
    return found


def _unaccounted(rule: Rules, here: _Site, stock: StockReport) -> list[Finding]:
    return [
        Finding(
            "unaccounted", f"{product} lot {lot}: {count(n, 'piece')} used that the record does not have, at {place}",
            f'count it, or this list is wrong: stockroom stock count "{place}"', urgent=True,
        )
        for product, lot, place, n in stock.owed
        if _known_site(rule.practice, rule.practice.site_of(place)) == here.name
    ]  # fmt: skip


def _bookings(conn: Link, rule: Rules, here: _Site) -> list[Finding]:
    """Bookings that are over and not recorded (they count as known), and those whose demand nobody can know."""
    found = []
    over = [b for b in here.bookings if b.end <= here.at]
    if over:
        listed = _few([f"B-{b.number}" for b in over])
        found.append(
            Finding(
                "unrecorded", f"{count(len(over), 'booking')} over and not yet recorded, counted as still to come: {listed}",
                f"stockroom booking done B-{over[0].number}",
            )
        )  # fmt: skip
    known = {p.code for p in here.practice.procedures}
    for b in diary(conn, rule, here.at, [here.name]).values():
        if b.state == "booked" and b.procedure not in known:
            what = f"B-{b.number} is booked for {b.procedure}, which the practice file does not have: not counted"
            todo = f"load a practice file that has it, or: stockroom booking cancel B-{b.number} --why …"
            found.append(Finding("unknown-procedure", what, todo, urgent=True))
    return found


def _few(names: Sequence[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def free_space(practice: Practice, site: str, rows: Sequence[StockRow], coming: Sequence[OrderNow]) -> int | None:
    """Room in all fridges of a site together, in the products' ``space``; None where one of them has no limit.

    What stands in them takes room, held and expired pieces too, and so does what is on order and kept cold. An
    overdue order takes none, as it counts as nothing. Without any fridge there is no room.
    """
    capacity = {f.name: f.capacity for f in practice.fridges if f.site == site}
    if None in capacity.values():
        return None
    space = {p.code: p.space for p in practice.products}
    stands = sum(r.quantity * space.get(r.product, 1) for r in rows if r.pull is None and r.place in capacity)
    cold = [p for p in practice.products if p.cold]
    ordered = sum(o.coming(p.code) * p.space for o in coming if not o.overdue for p in cold)
    return sum(c or 0 for c in capacity.values()) - stands - ordered


def _pieces(here: _Site, product: Product, state: str) -> tuple[tuple[int | None, int], ...]:
    """(end of use, pieces) of a product's stock in a state, where it can serve: what is kept cold counts in a fridge or
    out of it to warm, and only with a known expiry; a kit that is out only before its use-by.
    """
    found = []
    for row in here.rows:
        if row.product != product.code or row.state != state:
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


