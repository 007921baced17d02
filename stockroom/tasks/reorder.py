"""What to order now: what is booked and expected against what is there and coming, by site, supplier and product.

Everything is computed from what had happened by the instant that is asked for; nothing is recorded here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stockroom.core.counts import Pmf
from stockroom.core.deliveries import Arrival, covers_until, next_arrival
from stockroom.core.demand import known_pieces, pieces_per_day, unbooked_mean_procedures, unbooked_pieces
from stockroom.core.orders import OrderInput, OrderLine, SupplierOrder, by_supplier, order_line
from stockroom.core.practice import Procedure, Product, Supplier
from stockroom.core.records import Finding
from stockroom.core.usage import used_by
from stockroom.errors import Refused
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.tasks.coupling import Coupled, coupled
from stockroom.tasks.order_basis import OrderNow, SiteNow, findings_of, free_space, pieces, sites_now
from stockroom.tasks.places import product_named
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.transfers import Proposed, as_moved, proposed_transfers, told_on_line

LOUD = ("NOT ENOUGH", "TOO LATE")
"""How the reasons of a line begin that need a person now (core/orders.py)."""


@dataclass(frozen=True, slots=True)
class Planned:
    """The line of one product with what it stands on.

    ``booked`` are (B-number, start, pieces); ``expected`` (procedure, mean number still to be booked, pieces for each).
    """

    product: Product
    given: OrderInput
    line: OrderLine
    booked: tuple[tuple[int, int, int], ...]
    expected: tuple[tuple[str, float, int], ...]

    @property
    def have(self) -> int:
        """Pieces that can be counted on: usable and not expiring unused, or on order."""
        return self.line.usable - self.line.expiring_unused + self.line.on_order

    @property
    def held(self) -> int:
        """Pieces that may not be used until somebody decides."""
        return sum(n for _, n in self.given.held)

    @property
    def loud(self) -> tuple[str, ...]:
        """The reasons that need a person now."""
        return tuple(said for said in self.line.why if said.startswith(LOUD))

    @property
    def unserved(self) -> bool:
        """True where bookings cannot be served, or nothing can be ordered though it is needed."""
        return bool(self.loud) or (self.line.need > 0 and not self.line.order_quantity)

    @property
    def attention(self) -> bool:
        """True where it is unserved or an order for it is overdue."""
        return self.unserved or bool(self.given.overdue)


@dataclass(frozen=True, slots=True)
class SupplierPlan:
    """What to order from one supplier for one site, and every product that it delivers."""

    site: str
    supplier: Supplier
    arrival: Arrival
    order: SupplierOrder
    products: tuple[Planned, ...]

    @property
    def needed(self) -> tuple[Planned, ...]:
        """The products of which something is needed, also where nothing can be ordered."""
        return tuple(p for p in self.products if p.line.need > 0)


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """All suppliers of some sites at an instant. ``orders`` are those of which something is still to come, ``coupled`` the
    procedures and what they need together, ``room`` the free space of each site's fridges.
    """

    as_of: int
    currency: str
    suppliers: tuple[SupplierPlan, ...]
    orders: tuple[OrderNow, ...]
    findings: tuple[Finding, ...]
    coupled: tuple[Coupled, ...]
    room: Mapping[str, int | None]
    transfers: tuple[Proposed, ...] = ()
    """What to move between sites before anything is ordered; the lines are those after it."""

    @property
    def attention(self) -> int:
        """How many things need a person."""
        return sum(f.urgent for f in self.findings) + sum(p.unserved for s in self.suppliers for p in s.products)

    @property
    def nothing_needed(self) -> tuple[str, ...]:
        """Codes of the products of which nothing is needed at any of the sites."""
        needed = {p.product.code for s in self.suppliers for p in s.needed}
        return tuple(sorted({p.product.code for s in self.suppliers for p in s.products} - needed))


def order_list(store: Store, as_of: int, site: str | None = None) -> OrderPlan:
    """What to order at an instant. Raises: Refused for an unknown site."""
    with store.reading() as conn:
        return order_plan(conn, rules(conn, as_of), as_of, site)


def explained(
    store: Store, as_of: int, product: str, site: str | None = None
) -> tuple[OrderPlan, list[tuple[SupplierPlan, Planned]]]:
    """The whole list, and of it the line of one product at each site.

    Raises: Refused for an unknown product or site, and where its supplier has no next delivery.
    """
    with store.reading() as conn:
        rule = rules(conn, as_of)
        wanted = product_named(rule.practice, product)
        plan = order_plan(conn, rule, as_of, site)
    found = [(s, p) for s in plan.suppliers for p in s.products if p.product.code == wanted.code]
    if not found:
        never = next(f for f in plan.findings if f.slug == "no-delivery" and f'"{wanted.supplier}"' in f.what)
        raise Refused(never.slug, never.what, never.todo)
    return plan, found


def order_plan(conn: Link, rule: Rules, at: int, site: str | None = None) -> OrderPlan:
    """What to order at an instant, one site after another: each orders for itself, after what others can spare.

    Raises: Refused for an unknown site.
    """
    wanted = rule.sites(site)
    # A shortage here may be met from any other site of the group.
    every = sites_now(conn, rule, at, rule.sites(None))
    first = {here.name: _suppliers(here, free_space(here)) for here in every}
    moves = _transfers(conn, rule, every, first)
    ends = {name for t in moves for name in (t.site, t.target_site)}
    suppliers: list[SupplierPlan] = []
    findings: list[Finding] = []
    together: list[Coupled] = []
    room = {}
    shown = [
        (now, here)
        for now, here in zip(every, as_moved(every, moves) if moves else every, strict=True)
        if now.name in wanted
    ]
    for now, here in shown:
        room[here.name] = free_space(here)
        made, never = _suppliers(here, room[here.name]) if here.name in ends else first[here.name]
        suppliers += [_told(s, moves) for s in made]
        findings += [*findings_of(here), *never]
        together += _coupled(now, here, made)
    return OrderPlan(
        at, rule.practice.currency, tuple(suppliers), tuple(o for here, _ in shown for o in here.orders), tuple(findings),
        tuple(together), room, tuple(t for t in moves if {t.site, t.target_site} & set(wanted)),
    )  # fmt: skip


def _transfers(
    conn: Link, rule: Rules, sites: Sequence[SiteNow], first: Mapping[str, tuple[list[SupplierPlan], list[Finding]]]
) -> list[Proposed]:
    """What to move between the sites of a group before each orders for itself."""
    if len(sites) < 2:
        return []
    lines = {
        name: {p.product.code: (p.given, p.line.need) for s in made for p in s.products}
        for name, (made, _) in first.items()
    }
    return proposed_transfers(conn, rule, sites, lines)


def _told(plan: SupplierPlan, moves: Sequence[Proposed]) -> SupplierPlan:
    """The same, its lines saying what of what is there comes or goes first."""
    products = []
    for p in plan.products:
        said = told_on_line(moves, plan.site, p.product.code)
        products.append(replace(p, line=replace(p.line, why=(*p.line.why, said))) if said else p)
    return replace(plan, products=tuple(products))


def _suppliers(here: SiteNow, room: int | None) -> tuple[list[SupplierPlan], list[Finding]]:
    """The plan of every supplier that delivers something, and those that never do.

    The fridges are shared: what one order fills is not there for the next, in the practice file's order.
    """
    made, never = [], []
    for supplier in here.practice.suppliers:
        products = [p for p in here.practice.products if p.supplier == supplier.name]
        if not products:
            continue
        try:
            plan = _supplier(here, supplier, products, room)
        except Refused as fault:
            if fault.slug != "no-delivery":
                raise
            codes = ", ".join(p.code for p in products)
            never.append(Finding(fault.slug, f"{fault.what}: nothing is proposed of {codes}", fault.todo, urgent=True))
            continue
        made.append(plan)
        if room is not None:
            room -= sum(p.line.order_quantity * p.product.space for p in plan.products if p.product.cold)
    return made, never


def _supplier(here: SiteNow, supplier: Supplier, products: Sequence[Product], room: int | None) -> SupplierPlan:
    arrival = next_arrival(supplier, here.opening, here.at)
    planned = []
    for product in products:
        one = _planned(here, supplier, arrival, product, room if product.cold else None)
        planned.append(one)
        if room is not None and product.cold:
            room -= one.line.order_quantity * product.space
    order = by_supplier([p.given for p in planned], supplier, here.practice.currency)
    # The supplier's minimum may have taken a line back to nothing.
    lines = {line.product: line for line in (*order.lines, *order.nothing_needed)}
    return SupplierPlan(
        here.name, supplier, arrival, order, tuple(replace(p, line=lines[p.product.code]) for p in planned)
    )


def _planned(here: SiteNow, supplier: Supplier, arrival: Arrival, product: Product, room: int | None) -> Planned:
    practice, products, code = here.practice, here.products, product.code
    until = covers_until(supplier, here.opening, here.at, practice.review_days, product.warmup_seconds)
    booked = tuple(
        (b.number, start, n) for b in here.bookings for start, n in known_pieces(code, [b], here.procedures, products)
    )
    users = [(p, n) for p in practice.procedures if (n := used_by(p, None, products).loose.get(code, 0))]
    means = {p.code: _mean(here, p, until) for p, _ in users}
    given = OrderInput(
        product=product, now=here.at, arrives_at=arrival.arrives_at, covers_until=until,
        known=tuple((start, n) for _, start, n in booked),
        unbooked=unbooked_pieces(code, practice.procedures, means, products),
        unbooked_lead=_until_usable(here, arrival, product, means) if practice.target_kind == "fill" else None,
        daily_rate=pieces_per_day(code, practice.procedures, products),
        target=practice.service_target if product.service_target is None else product.service_target,
        target_kind=practice.target_kind,
        lots=pieces(here, product, "usable"), held=pieces(here, product, "quarantined"),
        on_order=tuple((o.due, n) for o in here.orders if not o.overdue and (n := o.coming(code))),
        overdue=tuple((o.label, n) for o in here.orders if o.overdue and (n := o.coming(code))),
        free_space=room,
    )  # fmt: skip
    expected = tuple((p.code, means[p.code], n) for p, n in users)
    return Planned(product, given, order_line(given), booked, expected)


def _mean(here: SiteNow, procedure: Procedure, until: int) -> float:
    """How many more of a procedure are expected to be booked until an instant, by the practice file's figure."""
    starts = [b.start for b in here.bookings if b.procedure == procedure.code]
    return unbooked_mean_procedures(procedure, here.opening, here.at, until, starts)


def _until_usable(here: SiteNow, arrival: Arrival, product: Product, means: Mapping[str, float]) -> Pmf:
    """Pieces still to be booked until this order can be used: its warm-up counts, as that of the next one does in
    covers_until. Bookings late in a week may leave less for the week than for its beginning; never more is expected
    for a part than for the whole.
    """
    usable = arrival.arrives_at + product.warmup_seconds
    lead = {code: min(mean, _mean(here, here.procedures[code], usable)) for code, mean in means.items()}
    return unbooked_pieces(product.code, here.practice.procedures, lead, here.products)


def _coupled(now: SiteNow, here: SiteNow, made: Sequence[SupplierPlan]) -> list[Coupled]:
    lines = {p.product.code: p.line for s in made for p in s.products}
    coming = {code: line.on_order + line.order_quantity for code, line in lines.items()}
    return coupled(now, here, coming, {code: line.no_shortage for code, line in lines.items()})
