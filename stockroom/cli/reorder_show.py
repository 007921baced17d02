"""How orders look on the screen: what needs a person first, a table for each supplier, the whole sum of a product."""

import math
from collections.abc import Callable, Sequence
from zoneinfo import ZoneInfo

from stockroom.cli.show import Screen
from stockroom.core.units import count, few
from stockroom.core.when import day_text, local_text
from stockroom.tasks.reorder import OrderPlan, Planned, SupplierPlan
from stockroom.tasks.transfers import Proposed


def draw_list(screen: Screen, plan: OrderPlan, zone: ZoneInfo, file: str | None) -> None:
    """The list of a day, then what is not needed, the joint chances, and what else to know."""
    for found in plan.findings:
        if found.urgent:
            screen.finding(found)
    draw_transfers(screen, plan.transfers)
    for s in plan.suppliers:
        if s.needed:
            _supplier(screen, s, plan, zone)
        for p in s.products:
            if p.line.need <= 0:
                for said in p.loud:
                    screen.alert(f"{p.product.code}: {said}")
    if not any(s.needed for s in plan.suppliers):
        screen.line("Nothing has to be ordered.")
    elif plan.nothing_needed:
        screen.line(f"Not needed: {', '.join(plan.nothing_needed)}")
    if plan.coupled:
        _coupled(screen, plan)
    for found in plan.findings:
        if not found.urgent:
            screen.finding(found)
    if file is not None:
        screen.line(f"written to {file}")


def draw_transfers(screen: Screen, made: Sequence[Proposed]) -> None:
    """What goes from site to site before anything is ordered, each with its command, and what to heed on the way."""
    if not made:
        return
    screen.heading("First, between the sites; the lines below are those after it")
    for t in made:
        screen.note(t.told)
        screen.todo(t.command)
    for said in dict.fromkeys(t.on_the_way for t in made if t.on_the_way):
        screen.note(said)
    for t in made:
        for words in t.product.caution:
            screen.caution(f"{t.product.code}: {words}")
    screen.line()


def _coupled(screen: Screen, plan: OrderPlan) -> None:
    """How many of each procedure the stock covers, each as if it were the only one."""
    rows = [
        [
            f"{_at(c.site)}{c.procedure}",
            f"{c.now.procedures}",
            few(c.now.bottleneck, 3),
            f"{c.with_order.procedures}",
            few(c.with_order.bottleneck, 3),
            "" if c.chance is None else _percent(c.chance),
        ]
        for c in plan.coupled
    ]
    screen.line("What the stock covers now and with this order, each procedure alone:")
    screen.table(["procedure", "now", "for want of", "then", "for want of", "none short"], rows, right=(1, 3, 5))


def _supplier(screen: Screen, s: SupplierPlan, plan: OrderPlan, zone: ZoneInfo) -> None:
    name = s.supplier.name
    screen.heading(f"{_at(s.site)}{name}: {s.order.total:.2f} {plan.currency}")
    screen.note(f"order by {local_text(s.arrival.order_by, zone, plan.as_of)}, {_here(s)}")
    rows = [
        [
            p.product.code,
            str(p.line.order_quantity) if p.line.order_quantity else "!0",
            str(p.line.packs),
            str(p.line.need),
            str(p.have),
            _short(p),
        ]
        for p in s.needed
    ]
    screen.table(["product", "order", "packs", "need", "have", "because"], rows, right=(1, 2, 3, 4))
    for p in s.needed:
        # The first two reasons are the table's own; overdue orders stand at the top of the list.
        for said in p.line.why[2:] if not p.line.order_quantity else p.line.why[3:]:
            if not said.startswith("O-"):
                (screen.alert if said in p.loud else screen.note)(f"{p.product.code}: {said}")
    if any(p.line.order_quantity for p in s.needed):
        screen.todo(f'stockroom reorder place "{name}"' + (f' --site "{s.site}"' if s.site else ""))
    screen.line()


def _here(s: SupplierPlan) -> str:
    """When it arrives, and whose word that is where it is not the practice file's."""
    took = f" ({s.record.words}, {count(s.supplier.lead_days, 'day')} stated)" if s.record else ""
    return f"here {day_text(s.arrival.arrives_on)}{took}"


def _at(site: str) -> str:
    return f"{site}, " if site else ""


def _short(p: Planned) -> str:
    cuts = {
        "pack": f"packs of {p.product.pack_size}",
        "minimum": f"at least {count(p.product.minimum_packs, 'pack')}",
        "space": "no more room",
        "shelf_life": "more would expire",
        "supplier": "below the supplier's minimum",
    }
    sums = f"{p.line.known_demand} booked + {p.line.unbooked_quantile} more to come"
    return "; ".join([sums, *(cuts[c] for c in p.line.limited_by)])


def _percent(chance: float) -> str:
    # Cut, not rounded: what is not certain must not read as 100 %.
    return f"{math.floor(1000 * chance + 1e-6) / 10:g} %"


def draw_explained(
    screen: Screen, plan: OrderPlan, found: Sequence[tuple[SupplierPlan, Planned]], zone: ZoneInfo,
    chart: Callable[[SupplierPlan, Planned, int], str] | None,
) -> None:  # fmt: skip
    """The sum of one product, a line a number, for each site one; under it how its stock will go, where ``chart`` draws
    it (for a line, and the lines that were printed before it).
    """
    draw_transfers(screen, [t for t in plan.transfers if t.product == found[0][1].product])
    for i, (s, p) in enumerate(found):
        if i:
            screen.line()
        before = screen.lines
        screen.heading(f"{_at(s.site)}{p.product.code}  {p.product.name}, from {s.supplier.name}")
        until = local_text(p.line.covers_until, zone, plan.as_of)
        arrives = f"order by {local_text(s.arrival.order_by, zone, plan.as_of)}, {_here(s)}"
        warm = f" and warm ({p.product.warmup_seconds / 3600:g} h)" if p.product.warm_after else ""
        screen.note(f"{arrives}; it must last until the order after it is here{warm}: {until}")
        screen.table(["", "", ""], _sum(p, plan, s, zone), right=(1,))
        for said in p.line.why[2:]:
            (screen.alert if said in p.loud else screen.note)(said)
        waste = f"{p.line.expected_waste:g} expected to expire unused, this order included"
        screen.note(f"chance of no shortage {_percent(p.line.no_shortage)}; {waste}")
        if chart is not None:
            screen.raw(chart(s, p, screen.lines - before))


def _sum(p: Planned, plan: OrderPlan, s: SupplierPlan, zone: ZoneInfo) -> list[list[str]]:
    line, code = p.line, p.product.code
    known = [f"B-{n}" + (f" x{q}" if q > 1 else "") for n, at, q in p.booked if at < line.covers_until]
    likely = [f"{x.still.mean:.3g} {x.procedure}" + (f" x{x.pieces}" if x.pieces > 1 else "") for x in p.still.parts]
    likely += [
        f"{n:+.2g} {what}" for n, what in ((p.still.outside, "outside bookings"), (p.still.cycles, "by cycles")) if n
    ]
    aim = "no shortage" if line.target_kind == "cycle" else "of demand from the shelf"
    coming = [
        f"{o.label} ({o.coming(code)}, {day_text(o.due_on)})"
        for o in plan.orders
        if o.site == s.site and o.coming(code) and not o.overdue and o.due < line.covers_until
    ]
    lots = [f"{n} to " + ("?" if end is None else local_text(end - 1, zone, plan.as_of)) for end, n in p.given.lots]
    cost = "" if line.cost is None else f", {line.cost:.2f} {plan.currency}"
    return [
        ["booked until then", str(line.known_demand), few(known, 6)],
        [
            "+ still to be booked",
            str(line.unbooked_quantile),
            f"for {_percent(line.target)} {aim}; expected: {few(likely, 6) or '0'}; {p.still.words or 'nothing uses it'}",
        ],
        ["- usable now", str(line.usable), few(lots, 3)],
        ["+ of these, expiring unused", str(line.expiring_unused), ""],
        ["- on order", str(line.on_order), few(coming, 3)],
        ["= need", str(line.need), ""],
        [
            "to order",
            str(line.order_quantity),
            f"{count(line.packs, 'pack')} of {p.product.pack_size}{cost}" if line.packs else "",
        ],
    ]
