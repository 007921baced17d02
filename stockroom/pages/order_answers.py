"""Reports about orders -> the JSON documents of their commands, and the order list as CSV."""

import csv
import io
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from stockroom.pages.values import instant
from stockroom.tasks.expected_demand import Part
from stockroom.tasks.order_basis import OrderNow
from stockroom.tasks.order_book import OrderRecord
from stockroom.tasks.outlook import Outlook
from stockroom.tasks.reorder import OrderPlan, Planned, SupplierPlan
from stockroom.tasks.transfers import Proposed


def list_answer(plan: OrderPlan) -> dict[str, Any]:
    """``reorder list``."""
    return {
        "as_of": instant(plan.as_of),
        "attention": plan.attention,
        "transfers": [transfer_answer(t) for t in plan.transfers],
        "suppliers": [
            {**supplier_answer(s, plan.currency), "lines": [line_answer(p, plan, s.site) for p in s.needed]}
            for s in plan.suppliers
            if s.needed
        ],
        "nothing_needed": list(plan.nothing_needed),
        "joint": [
            {"site": c.site or None, "procedure": c.procedure, "chance": round(c.chance, 6)}
            for c in plan.coupled
            if c.chance is not None
        ],
        "coverage": [
            {
                "site": c.site or None,
                "procedure": c.procedure,
                "now": c.now.procedures,
                "bottleneck": list(c.now.bottleneck),
                "with_order": c.with_order.procedures,
                "bottleneck_with_order": list(c.with_order.bottleneck),
            }
            for c in plan.coupled
        ],
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
        "lead": {
            "stated_days": s.supplier.lead_days,
            "orders": s.record.orders if s.record else None,
            "shortest_days": s.record.shortest if s.record else None,
            "longest_days": s.record.longest if s.record else None,
        },
        "total": _money(s.order.total),
        "currency": currency,
    }


def line_answer(p: Planned, plan: OrderPlan, site: str) -> dict[str, Any]:
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
        "transfer_in": sum(t.pieces for t in plan.transfers if (t.target_site, t.product.code) == (site, line.product)),
        "transfer_out": sum(t.pieces for t in plan.transfers if (t.site, t.product.code) == (site, line.product)),
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


def explain_answer(
    plan: OrderPlan, found: Sequence[tuple[SupplierPlan, Planned]], outlooks: Sequence[Outlook]
) -> dict[str, Any]:
    """``reorder explain``: a line for each site, with what each number of its sum is made of, and how its stock goes."""
    return {
        "as_of": instant(plan.as_of),
        "product": found[0][1].product.code,
        "name": found[0][1].product.name,
        "attention": sum(p.attention for _, p in found),
        "transfers": [transfer_answer(t) for t in plan.transfers if t.product.code == found[0][1].product.code],
        "lines": [
            {
                **supplier_answer(s, plan.currency),
                **line_answer(p, plan, s.site),
                "bookings": [{"booking": f"B-{n}", "start": instant(at), "quantity": q} for n, at, q in p.booked],
                "expected": [part_answer(part) for part in p.still.parts],
                "outside_bookings": round(p.still.outside, 6),
                "beyond_plan": round(p.still.cycles, 6),
                "stock": [{"until": instant(until), "quantity": q} for until, q in p.given.lots],
                "held_stock": [{"until": instant(until), "quantity": q} for until, q in p.given.held],
                "orders": [order_answer(o) for o in plan.orders if o.site == s.site and o.coming(p.product.code)],
                "free_space": p.given.free_space,
                "outlook": _outlook(o),
            }
            for (s, p), o in zip(found, outlooks, strict=True)
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


def _outlook(o: Outlook) -> dict[str, Any]:
    """How the stock will go, as it is drawn."""
    path = o.path
    return {
        "points": [
            {"at": instant(at), "expected": round(expected, 3), "bad_case": round(bad, 3)}
            for at, expected, bad in zip(path.at, path.expected, path.bad, strict=True)
        ],
        "arrivals": [{"at": instant(a.at), "quantity": a.pieces, "order": a.label} for a in path.arrivals],
        "expiries": [{"at": instant(at), "quantity": round(n, 3)} for at, n in path.expiries],
    }


def transfer_answer(t: Proposed) -> dict[str, Any]:
    """Pieces that should go from one site to another."""
    return {
        "product": t.product.code,
        "lot": t.lot,
        "expiry": None if t.expiry is None else t.expiry.isoformat(),
        "quantity": t.pieces,
        "from_site": t.site,
        "from": t.place,
        "to_site": t.target_site,
        "to": t.target_place,
        "reason": "expiring" if t.expiring else "surplus",
        "cold": t.product.cold,
        "command": t.command,
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


def orders_answer(as_of: int, found: list[OrderRecord]) -> dict[str, Any]:
    """``reorder orders``."""
    return {
        "as_of": instant(as_of),
        "attention": sum(o.state == "overdue" for o in found),
        "orders": [_record(o) for o in found],
    }


def _record(o: OrderRecord) -> dict[str, Any]:
    """An order with all that is on record about it."""
    return {
        "order": o.label,
        "entry": f"R-{o.entry}",
        "supplier": o.supplier,
        "site": o.site or None,
        "placed_at": instant(o.placed_at),
        "due": o.due_on.isoformat(),
        "state": o.state,
        "lines": [
            {
                "product": x.product,
                "quantity": x.ordered,
                "received": x.received,
                "to_come": x.to_come,
                "proposed": x.proposed,
                "pack_price": None if x.pack_price is None else x.pack_price / 100,
                "why": x.why,
            }
            for x in o.lines
        ],
        "receipts": [
            {
                "entry": f"R-{r.entry}",
                "at": instant(r.at),
                "product": r.product,
                "lot": r.lot,
                "quantity": r.quantity,
                "place": r.place,
            }
            for r in o.receipts
        ],
        "changes": [
            {"entry": f"R-{c.entry}", "at": instant(c.at), "kind": c.kind, "due": instant(c.due), "why": c.why}
            for c in o.changes
        ],
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
                price = p.product.price(p.line.packs)
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
