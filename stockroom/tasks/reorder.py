"""What to order now: what is booked and expected against what is there and coming, by site, supplier and product.

Everything is computed from what had happened by the instant that is asked for; nothing is recorded here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stockroom.core.counts import Pmf
from stockroom.core.deliveries import Arrival
from stockroom.core.lead_times import LeadRecord, Timing, timing
from stockroom.core.order_list import Asked, supplier_orders
from stockroom.core.orders import OrderInput, OrderLine, SupplierOrder
from stockroom.core.practice import Product, Supplier
from stockroom.core.protection import Way
from stockroom.core.records import Finding
from stockroom.errors import Refused
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.tasks.coupling import Coupled, coupled
from stockroom.tasks.expected_demand import Expected, Still, expected_demand
from stockroom.tasks.order_basis import OrderNow, SiteNow, findings_of, free_space, pieces, room_when, sites_now
from stockroom.tasks.places import product_named
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.transfers import Proposed, as_moved, proposed_transfers, told_on_line

LOUD = ("NOT ENOUGH", "TOO LATE")
"""How the reasons of a line begin that need a person now (core/orders.py)."""


@dataclass(frozen=True, slots=True)
class Planned:
    """The line of one product with what it stands on.

    ``booked`` are (B-number, start, pieces); ``still`` is what is needed besides, until the next order can be used.
    """

    product: Product
    given: OrderInput
    line: OrderLine
    booked: tuple[tuple[int, int, int], ...]
    still: Still

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
    record: LeadRecord | None = None
    """What its orders took, where that replaces the stated lead days."""
    room: int | None = None
    """Free in the fridges from its arrival on, before anything that is proposed; None: no limit."""

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
    bases: tuple[tuple[SiteNow, Expected], ...] = ()
    """What each of the sites stands on, after these transfers."""

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
    demand = {one.here.name: one for one in expected_demand(conn, at, every)}
    first = {here.name: site_orders(here, demand[here.name]) for here in every}
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
        made, never = site_orders(here, demand[here.name]) if here.name in ends else first[here.name]
        suppliers += [_told(s, moves) for s in made]
        findings += [*findings_of(here), *never]
        together += _coupled(now, here, made)
    return OrderPlan(
        at, rule.practice.currency, tuple(suppliers), tuple(o for here, _ in shown for o in here.orders), tuple(findings),
        tuple(together), room, tuple(t for t in moves if {t.site, t.target_site} & set(wanted)),
        tuple((here, demand[here.name]) for _, here in shown),
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


def site_orders(here: SiteNow, expected: Expected) -> tuple[list[SupplierPlan], list[Finding]]:
    """The plan of every supplier that delivers something, and those that never do. They share the fridges."""
    practice = here.practice
    asked, timings, never = [], [], []
    besides: dict[str, Still] = {}
    for supplier in practice.suppliers:
        products = [p for p in practice.products if p.supplier == supplier.name]
        if not products:
            continue
        try:
            when = timing(supplier, here.opening, here.at, practice.review_days, here.leads.get(supplier.name))
            given = [_given(here, expected, when, p) for p in products]
        except Refused as fault:
            if fault.slug != "no-delivery":
                raise
            codes = ", ".join(p.code for p in products)
            never.append(Finding(fault.slug, f"{fault.what}: nothing is proposed of {codes}", fault.todo, urgent=True))
            continue
        timings.append(when)
        asked.append(Asked(supplier, when.arrives_from, tuple(g for g, _ in given)))
        besides |= {g.product.code: still for g, still in given}
    room = room_when(here, expected.known, [one.arrives_from for one in asked])
    made = []
    for when, found in zip(timings, supplier_orders(asked, room, practice.currency), strict=True):
        planned = tuple(
            Planned(g.product, g, line, expected.known(g.product.code), besides[g.product.code])
            for g, line in zip(found.inputs, found.lines, strict=True)
        )
        free = None if room is None else room.least(when.arrives_from)
        made.append(SupplierPlan(here.name, when.supplier, when.arrival, found.order, planned, when.record, free))
    return made, never


def at_target(here: SiteNow, expected: Expected, product: Product, target: float) -> Planned:
    """The line of a product as it would be at another service target.

    Raises: Refused where its supplier has no next delivery.
    """
    products = tuple(replace(p, service_target=target) if p.code == product.code else p for p in here.practice.products)
    made, never = site_orders(replace(here, practice=replace(here.practice, products=products)), expected)
    for planned in (p for s in made for p in s.products if p.product.code == product.code):
        return planned
    fault = next(f for f in never if f'"{product.supplier}"' in f.what)
    raise Refused(fault.slug, fault.what, fault.todo)


def _given(here: SiteNow, expected: Expected, when: Timing, product: Product) -> tuple[OrderInput, Still]:
    """What the line of a product stands on, and of it what is needed besides what is booked."""
    practice, code, warm = here.practice, product.code, product.warm_after
    until = when.next_at + warm
    lead = practice.target_kind == "fill"
    until_next = expected.still(product, until)

    def still(end: int, whole: int | None = None) -> Pmf:
        return until_next.pmf if end == until and whole is None else expected.still(product, end, whole).pmf

    given = OrderInput(
        product=product, now=here.at, arrives_at=when.arrival.arrives_at, covers_until=until,
        known=tuple((start, n) for _, start, n in expected.known(code)),
        unbooked=until_next.pmf, unbooked_mean=until_next.mean, basis=until_next.words,
        # With "fill" the warm-up belongs to the time until this order can be used, as that of the next one does to until.
        unbooked_lead=still(when.arrival.arrives_at + warm, until) if lead else None,
        daily_rate=expected.per_day(product, until),
        target=practice.target_of(product),
        target_kind=practice.target_kind,
        lots=pieces(here, product, "usable"), held=pieces(here, product, "quarantined"),
        on_order=tuple((o.due, n) for o in here.orders if not o.overdue and (n := o.coming(code))),
        overdue=tuple((o.label, n) for o in here.orders if o.overdue and (n := o.coming(code))),
        ways=tuple(
            Way(chance, then + warm, still(then + warm), still(arrives + warm, then + warm) if lead else None)
            for chance, arrives, then in (when.turns if when.record else ())
        ),
        lead_words=when.record.words if when.record else "",
        use_chance=practice.use_chance_of(product),
    )  # fmt: skip
    if given.use_chance is not None and given.expiry is not None:
        given = replace(given, unbooked_life=still(given.expiry))
    return given, until_next


def _coupled(now: SiteNow, here: SiteNow, made: Sequence[SupplierPlan]) -> list[Coupled]:
    lines = {p.product.code: p.line for s in made for p in s.products}
    coming = {code: line.on_order + line.order_quantity for code, line in lines.items()}
    return coupled(now, here, coming, {code: line.no_shortage for code, line in lines.items()})
