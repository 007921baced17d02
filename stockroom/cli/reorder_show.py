"""How orders look on the screen: what needs a person first, a table for each supplier, the whole sum of a product."""

import math
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from stockroom.cli.show import Screen
from stockroom.core.units import count
from stockroom.core.when import day_text, local_text
from stockroom.tasks.order_basis import OrderNow, few
from stockroom.tasks.reorder import OrderPlan, Planned, SupplierPlan


def draw_list(screen: Screen, plan: OrderPlan, zone: ZoneInfo, file: str | None) -> None:
    """The list of a day, then what is not needed, the joint chances, and what else to know."""
    for found in plan.findings:
        if found.urgent:
            screen.finding(found)
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
    if plan.joint:
        screen.line("Chance that nothing a procedure uses is short, with this order:")
        screen.note(", ".join(f"{_at(site)}{procedure} {_percent(chance)}" for site, procedure, chance in plan.joint))
    for found in plan.findings:
        if not found.urgent:
            screen.finding(found)
    if file is not None:
        screen.line(f"written to {file}")


def _supplier(screen: Screen, s: SupplierPlan, plan: OrderPlan, zone: ZoneInfo) -> None:
    name = s.supplier.name
    screen.heading(f"{_at(s.site)}{name}: {s.order.total:.2f} {plan.currency}")
    screen.note(f"order by {local_text(s.arrival.order_by, zone, plan.as_of)}, here {day_text(s.arrival.arrives_on)}")
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
    screen: Screen, plan: OrderPlan, found: Sequence[tuple[SupplierPlan, Planned]], zone: ZoneInfo
) -> None:
    """The sum of one product, a line a number; for each site one."""
    for s, p in found:
        screen.heading(f"{_at(s.site)}{p.product.code}  {p.product.name}, from {s.supplier.name}")
        until = local_text(p.line.covers_until, zone, plan.as_of)
        arrives = f"order by {local_text(s.arrival.order_by, zone, plan.as_of)}, here {day_text(s.arrival.arrives_on)}"
        screen.note(arrives)
        warm = f" and is warm ({p.product.warmup_seconds / 3600:g} h)" if p.product.warmup_seconds else ""
        screen.note(f"it must last until the order after it is here{warm}: {until}")
        screen.table(["", "pieces", ""], _sum(p, plan, s, zone), right=(1,))
        for said in p.line.why[2:]:
            (screen.alert if said in p.loud else screen.note)(said)
        waste = f"{p.line.expected_waste:g} expected to expire unused, this order included"
        screen.note(f"chance of no shortage {_percent(p.line.no_shortage)}; {waste}")
        screen.line()


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
        ["booked until then", str(line.known_demand), few(known)],
        [
            "+ still to be booked",
            str(line.unbooked_quantile),
            f"for {_percent(line.target)} {aim}; expected: {few(likely) or '0'}; {p.still.words or 'nothing uses it'}",
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


def draw_orders(screen: Screen, found: Sequence[OrderNow]) -> None:
    """A row for each order, what is overdue with its next step."""
    if not found:
        screen.line("No order is open.")
        return
    rows = [
        [o.label, f"{_at(o.site)}{o.supplier}", day_text(o.due_on), "! overdue" if o.overdue else "open", o.missing]
        for o in found
    ]
    screen.table(["order", "supplier", "due", "state", "to come"], rows)
    late = next((o.label for o in found if o.overdue), None)
    if late is not None:
        screen.todo(f"stockroom reorder expect {late} --on DAY, or: stockroom reorder close {late} --why …")
