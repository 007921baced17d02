"""Reports about orders -> the JSON documents of their commands, and the order list as CSV."""

import csv
import io
from decimal import Decimal
from typing import Any

from stockroom.pages.values import instant
from stockroom.tasks.expected_demand import Part
from stockroom.tasks.order_basis import OrderNow
from stockroom.tasks.reorder import OrderPlan, Planned, SupplierPlan


def list_answer(plan: OrderPlan) -> dict[str, Any]:
    """``reorder list``."""
    return {
        "as_of": instant(plan.as_of),
        "attention": plan.attention,
        "suppliers": [
            {**supplier_answer(s, plan.currency), "lines": [line_answer(p) for p in s.needed]}
            for s in plan.suppliers
            if s.needed
        ],
        "nothing_needed": list(plan.nothing_needed),
        "joint": [{"site": site or None, "procedure": p, "chance": round(c, 6)} for site, p, c in plan.joint],
        "overdue": [order_answer(o) for o in plan.orders if o.overdue],
        "warnings": [f.what for f in plan.findings if f.urgent] + [said for _, said in loud(plan)],
        "notes": [f.what for f in plan.findings if not f.urgent],
    }


def loud(plan: OrderPlan) -> list[tuple[str, str]]:
    """(product, what) of every line on which bookings cannot be served."""
    return [
        (p.product.code, f"{p.product.code}: {said}") for s in plan.suppliers for p in s.products for said in p.loud
    ]


def supplier_answer(s: SupplierPlan, currency: str) -> dict[str, Any]:
    """One supplier of ``reorder list``, without its lines."""
    return {
        "supplier": s.supplier.name,
        "site": s.site or None,
        "order_by": instant(s.arrival.order_by),
        "arrives": s.arrival.arrives_on.isoformat(),
        "total": _money(s.order.total),
        "currency": currency,
    }


def line_answer(p: Planned) -> dict[str, Any]:
    """One line: what to order of a product, and every number of the sum."""
    line = p.line
    return {
        "product": line.product,
        "name": p.product.name,
        "order_quantity": line.order_quantity,
        "packs": line.packs,
        "covers_until": instant(line.covers_until),
        "known_demand": line.known_demand,
        "unbooked_mean": line.unbooked_mean,
        "unbooked_quantile": line.unbooked_quantile,
        "usable": line.usable,
        "on_order": line.on_order,
        "expiring_unused": line.expiring_unused,
        "held": p.held,
        "need": line.need,
        "target": line.target,
        "target_kind": line.target_kind,
        "achieved": round(line.achieved, 6),
        "no_shortage": round(line.no_shortage, 6),
        "limited_by": list(line.limited_by),
        "expected_waste": line.expected_waste,
        "cost": _money(line.cost),
        "why": list(line.why),
    }


def explain_answer(plan: OrderPlan, found: list[tuple[SupplierPlan, Planned]]) -> dict[str, Any]:
    """``reorder explain``: a line for each site, with what each number of its sum is made of."""
    return {
        "as_of": instant(plan.as_of),
        "product": found[0][1].product.code,
        "name": found[0][1].product.name,
        "attention": sum(p.attention for _, p in found),
        "lines": [
            {
                **supplier_answer(s, plan.currency),
                **line_answer(p),
                "bookings": [{"booking": f"B-{n}", "start": instant(at), "quantity": q} for n, at, q in p.booked],
                "expected": [part_answer(part) for part in p.still.parts],
                "outside_bookings": round(p.still.outside, 6),
                "beyond_plan": round(p.still.cycles, 6),
                "stock": [{"until": instant(until), "quantity": q} for until, q in p.given.lots],
                "held_stock": [{"until": instant(until), "quantity": q} for until, q in p.given.held],
                "orders": [order_answer(o) for o in plan.orders if o.site == s.site and o.coming(p.product.code)],
                "free_space": p.given.free_space,
            }
            for s, p in found
        ],
    }


def part_answer(part: Part) -> dict[str, Any]:
    """What one procedure adds to what is still to be booked, and by which forecast."""
    still = part.still
    return {
        "procedure": part.procedure,
        "mean": round(still.mean, 6),
        "quantity_each": part.pieces,
        "quantity_mean": round(part.pieces_mean, 6),
        "forecast": still.forecast,
        "weeks": still.weeks,
        "replayed_weeks": still.replayed,
    }


def order_answer(o: OrderNow) -> dict[str, Any]:
    """One order of which something is still to come."""
    return {
        "order": o.label,
        "supplier": o.supplier,
        "site": o.site or None,
        "placed_at": instant(o.placed_at),
        "due": o.due_on.isoformat(),
        "state": "overdue" if o.overdue else "open",
        "lines": [
            {"product": code, "quantity": ordered, "received": received, "to_come": left}
            for code, ordered, received, left in o.lines
        ],
    }


def orders_answer(as_of: int, found: list[OrderNow]) -> dict[str, Any]:
    """``reorder orders``."""
    return {
        "as_of": instant(as_of),
        "attention": sum(o.overdue for o in found),
        "orders": [order_answer(o) for o in found],
    }


def order_csv(plan: OrderPlan) -> str:
    """What is proposed, a row for each product, for a spreadsheet: money with two decimals, no formulas.

    In a group of sites each row names its site.
    """
    group = len(plan.room) > 1
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(
        ["supplier", "product", "name", "packs", "pieces", "pack_price", "total", *(["site"] if group else [])]
    )
    for s in plan.suppliers:
        for p in s.needed:
            if p.line.order_quantity:
                price = p.product.pack_price
                words = [_cell(s.supplier.name), _cell(p.product.code), _cell(p.product.name)]
                money = ["" if x is None else f"{x:.2f}" for x in (price, p.line.cost)]
                site = [_cell(s.site)] if group else []
                out.writerow([*words, p.line.packs, p.line.order_quantity, *money, *site])
    return text.getvalue()


def _cell(text: str) -> str:
    """Text that a spreadsheet would run as a formula gets an apostrophe in front."""
    return "'" + text if text.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) else text


def _money(amount: Decimal | None) -> float | None:
    return None if amount is None else round(float(amount), 2)
