"""What to order now: what is booked and expected against what is there and coming, by site, supplier and product.

Everything is computed from what had happened by the instant that is asked for; nothing is recorded here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stockroom.core.deliveries import Arrival, covers_until, next_arrival
from stockroom.core.orders import OrderInput, OrderLine, SupplierOrder, by_supplier, joint_chance, order_line
from stockroom.core.practice import Product, Supplier
from stockroom.core.records import Finding
from stockroom.core.usage import used_by
from stockroom.errors import Refused
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.tasks.expected_demand import Expected, Still, expected_demand
from stockroom.tasks.order_basis import OrderNow, SiteNow, findings_of, free_space, pieces, sites_now
from stockroom.tasks.places import product_named
from stockroom.tasks.rules import Rules, rules

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

    @property
    def needed(self) -> tuple[Planned, ...]:
        """The products of which something is needed, also where nothing can be ordered."""
        return tuple(p for p in self.products if p.line.need > 0)


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """All suppliers of some sites at an instant. ``orders`` are those of which something is still to come, ``joint``
    (site, procedure, chance that nothing for it is short), ``room`` the free space of each site's fridges.
    """

    as_of: int
    currency: str
    suppliers: tuple[SupplierPlan, ...]
    orders: tuple[OrderNow, ...]
    findings: tuple[Finding, ...]
    joint: tuple[tuple[str, str, float], ...]
    room: Mapping[str, int | None]

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
    """What to order at an instant, one site after another: each orders for itself.

    Raises: Refused for an unknown site.
    """
    suppliers: list[SupplierPlan] = []
    findings: list[Finding] = []
    joint: list[tuple[str, str, float]] = []
    sites = sites_now(conn, rule, at, rule.sites(site))
    room = {here.name: free_space(here) for here in sites}
    for here, expected in zip(sites, expected_demand(conn, at, sites), strict=True):
        made, never = _suppliers(here, expected, room[here.name])
        suppliers += made
        findings += [*findings_of(here), *never]
        joint += _joint(here, made)
    return OrderPlan(
        at, rule.practice.currency, tuple(suppliers), tuple(o for here in sites for o in here.orders), tuple(findings),
        tuple(joint), room,
    )  # fmt: skip


def _suppliers(here: SiteNow, expected: Expected, room: int | None) -> tuple[list[SupplierPlan], list[Finding]]:
    """The plan of every supplier that delivers something, and those that never do.

    The fridges are shared: what one order fills is not there for the next, in the practice file's order.
    """
    made, never = [], []
    for supplier in here.practice.suppliers:
        products = [p for p in here.practice.products if p.supplier == supplier.name]
        if not products:
            continue
        try:
            plan = _supplier(here, expected, supplier, products, room)
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


def _supplier(
    here: SiteNow, expected: Expected, supplier: Supplier, products: Sequence[Product], room: int | None
) -> SupplierPlan:
    arrival = next_arrival(supplier, here.opening, here.at)
    planned = []
    for product in products:
        one = _planned(here, expected, supplier, arrival, product, room if product.cold else None)
        planned.append(one)
        if room is not None and product.cold:
            room -= one.line.order_quantity * product.space
    order = by_supplier([p.given for p in planned], supplier, here.practice.currency)
    # The supplier's minimum may have taken a line back to nothing.
    lines = {line.product: line for line in (*order.lines, *order.nothing_needed)}
    return SupplierPlan(
        here.name, supplier, arrival, order, tuple(replace(p, line=lines[p.product.code]) for p in planned)
    )


def _planned(
    here: SiteNow, expected: Expected, supplier: Supplier, arrival: Arrival, product: Product, room: int | None
) -> Planned:
    practice, code = here.practice, product.code
    until = covers_until(supplier, here.opening, here.at, practice.review_days, product.warmup_seconds)
    # With "fill" the warm-up belongs to the time until this order can be used, as that of the next one does to until.
    usable = arrival.arrives_at + product.warmup_seconds
    booked, still = expected.known(code), expected.still(product, until)
    given = OrderInput(
        product=product, now=here.at, arrives_at=arrival.arrives_at, covers_until=until,
        known=tuple((start, n) for _, start, n in booked),
        unbooked=still.pmf, unbooked_mean=still.mean, basis=still.words,
        unbooked_lead=expected.still(product, usable, until).pmf if practice.target_kind == "fill" else None,
        daily_rate=expected.per_day(product, until),
        target=practice.service_target if product.service_target is None else product.service_target,
        target_kind=practice.target_kind,
        lots=pieces(here, product, "usable"), held=pieces(here, product, "quarantined"),
        on_order=tuple((o.due, n) for o in here.orders if not o.overdue and (n := o.coming(code))),
        overdue=tuple((o.label, n) for o in here.orders if o.overdue and (n := o.coming(code))),
        free_space=room,
    )  # fmt: skip
    return Planned(product, given, order_line(given), booked, still)


def _joint(here: SiteNow, made: Sequence[SupplierPlan]) -> list[tuple[str, str, float]]:
    """For each procedure the chance that nothing it uses runs short, this order included, if independent."""
    chances = {p.product.code: p.line.no_shortage for s in made for p in s.products}
    found = []
    for procedure in here.practice.procedures:
        needed = set(used_by(procedure, None, here.products).loose)
        if needed and needed <= chances.keys():
            found.append((here.name, procedure.code, joint_chance(chances, needed)))
    return found
