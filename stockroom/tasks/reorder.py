"""What to order now: what is booked and expected against what is there and coming, by site, supplier and product.

Everything is computed from what had happened by the instant that is asked for; nothing is recorded here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stockroom.core.counts import Pmf
from stockroom.core.deliveries import Arrival
from stockroom.core.demand import unbooked_mean_procedures, unbooked_pieces
from stockroom.core.lead_times import LeadRecord, Timing, timing
from stockroom.core.order_list import Asked, supplier_orders
from stockroom.core.orders import OrderInput, OrderLine, SupplierOrder
from stockroom.core.practice import Procedure, Product, Supplier
from stockroom.core.protection import Way
from stockroom.core.records import Finding
from stockroom.core.usage import used_by
from stockroom.errors import Refused
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.tasks.coupling import Coupled, coupled
from stockroom.tasks.order_basis import OrderNow, SiteNow, findings_of, free_space, pieces, room_when, sites_now
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
    first = {here.name: _suppliers(here) for here in every}
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
        made, never = _suppliers(here) if here.name in ends else first[here.name]
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


def _suppliers(here: SiteNow) -> tuple[list[SupplierPlan], list[Finding]]:
    """The plan of every supplier that delivers something, and those that never do. They share the fridges."""
    demand, practice = _Demand(here), here.practice
    asked, timings, never = [], [], []
    for supplier in practice.suppliers:
        products = [p for p in practice.products if p.supplier == supplier.name]
        if not products:
            continue
        try:
            when = timing(supplier, here.opening, here.at, practice.review_days, here.leads.get(supplier.name))
            given = tuple(_given(here, demand, when, p) for p in products)
        except Refused as fault:
            if fault.slug != "no-delivery":
                raise
            codes = ", ".join(p.code for p in products)
            never.append(Finding(fault.slug, f"{fault.what}: nothing is proposed of {codes}", fault.todo, urgent=True))
            continue
        timings.append(when)
        asked.append(Asked(supplier, when.arrives_from, given))
    room = room_when(here, demand.booked, [one.arrives_from for one in asked])
    made = []
    for when, found in zip(timings, supplier_orders(asked, room, practice.currency), strict=True):
        planned = tuple(
            Planned(g.product, g, line, demand.booked(g.product.code), demand.expected(g.product, g.covers_until))
            for g, line in zip(found.inputs, found.lines, strict=True)
        )
        free = None if room is None else room.least(when.arrives_from)
        made.append(SupplierPlan(here.name, when.supplier, when.arrival, found.order, planned, when.record, free))
    return made, never


def _given(here: SiteNow, demand: "_Demand", when: Timing, product: Product) -> OrderInput:
    practice, code, warm = here.practice, product.code, product.warm_after
    until = when.next_at + warm
    lead = practice.target_kind == "fill"

    def still(end: int, whole: int | None = None) -> Pmf:
        return demand.still(product, end, whole)

    given = OrderInput(
        product=product, now=here.at, arrives_at=when.arrival.arrives_at, covers_until=until,
        known=tuple((start, n) for _, start, n in demand.booked(code)),
        unbooked=still(until), unbooked_lead=still(when.arrival.arrives_at + warm, until) if lead else None,
        daily_rate=demand.per_day(code),
        target=practice.service_target if product.service_target is None else product.service_target,
        target_kind=practice.target_kind,
        lots=pieces(here, product, "usable"), held=pieces(here, product, "quarantined"),
        on_order=tuple((o.due, n) for o in here.orders if not o.overdue and (n := o.coming(code))),
        overdue=tuple((o.label, n) for o in here.orders if o.overdue and (n := o.coming(code))),
        ways=tuple(
            Way(chance, then + warm, still(then + warm), still(arrives + warm, then + warm) if lead else None)
            for chance, arrives, then in (when.turns if when.record else ())
        ),
        lead_words=when.record.words if when.record else "",
        use_chance=practice.use_chance if product.use_chance is None else product.use_chance,
    )  # fmt: skip
    if given.use_chance is None or given.expiry is None:
        return given
    return replace(given, unbooked_life=still(given.expiry))


class _Demand:
    """What a site's bookings take, and what is still to be booked; what was computed once is kept."""

    def __init__(self, here: SiteNow) -> None:
        self._here = here
        self._known: dict[str, list[tuple[int, int, int]]] = {}
        self._users: dict[str, list[tuple[Procedure, int]]] = {}
        self._starts: dict[str, list[int]] = {}
        self._means: dict[tuple[str, int], float] = {}
        self._pmfs: dict[tuple[str, int, int | None], Pmf] = {}
        products = here.products
        for p in here.practice.procedures:
            for code, n in used_by(p, None, products).loose.items():
                self._users.setdefault(code, []).append((p, n))
        procedures = here.procedures
        for b in here.bookings:
            self._starts.setdefault(b.procedure, []).append(b.start)
            for code, n in used_by(procedures[b.procedure], b.cycles, products).loose.items():
                self._known.setdefault(code, []).append((b.number, b.start, n))

    def booked(self, product: str) -> tuple[tuple[int, int, int], ...]:
        """(B-number, start, pieces) of every booking not yet done that takes any, by start."""
        return tuple(self._known.get(product, ()))

    def expected(self, product: Product, end: int) -> tuple[tuple[str, float, int], ...]:
        """(procedure, mean number still to be booked before ``end``, pieces for each)."""
        return tuple((p.code, self._mean(p, end), n) for p, n in self._users.get(product.code, ()))

    def still(self, product: Product, end: int, whole: int | None = None) -> Pmf:
        """Pieces still to be booked for [now, end); as a part of the time until ``whole``, where that is given: bookings
        late in a week may leave less for the week than for its beginning, and never more is expected for a part.
        """
        key = (product.code, end, whole)
        if key not in self._pmfs:
            users = [p for p, _ in self._users.get(product.code, ())]
            means = {p.code: self._mean(p, end) for p in users}
            if whole is not None:
                means = {p.code: min(means[p.code], self._mean(p, whole)) for p in users}
            self._pmfs[key] = unbooked_pieces(product.code, users, means, self._here.products)
        return self._pmfs[key]

    def per_day(self, product: str) -> float:
        """Expected pieces a calendar day in the long run."""
        return sum(p.expected_per_week * n / 7 for p, n in self._users.get(product, ()))

    def _mean(self, procedure: Procedure, end: int) -> float:
        key = (procedure.code, end)
        if key not in self._means:
            here, starts = self._here, self._starts.get(procedure.code, [])
            self._means[key] = unbooked_mean_procedures(procedure, here.opening, here.at, end, starts)
        return self._means[key]


def _coupled(now: SiteNow, here: SiteNow, made: Sequence[SupplierPlan]) -> list[Coupled]:
    lines = {p.product.code: p.line for s in made for p in s.products}
    coming = {code: line.on_order + line.order_quantity for code, line in lines.items()}
    return coupled(now, here, coming, {code: line.no_shortage for code, line in lines.items()})
