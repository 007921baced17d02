"""An order for a supplier as one HTML file that prints on A4: lines, total, and blanks for what is confirmed by hand.

Nobody's name stands on it, and nothing of a patient: only what is bought.
"""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from stockroom.core.when import day_text, local_text
from stockroom.pages.paper import rendered
from stockroom.pages.values import instant, shown
from stockroom.tasks.order_sheet import OrderSheet, SheetLine

BLANKS = (
    ("ordered on, initials", "by telephone, letter, web"),
    ("confirmation number", "delivery promised for"),
    ("came on, initials", "what was missing"),
)
"""What is written in by hand, two to a line."""


def order_html(sheets: Sequence[OrderSheet], zone: ZoneInfo, as_of: int) -> str:
    """The file's text: a page for each sheet."""
    return rendered(
        "order.html",
        title=shown(f"{_title(sheets[0])}: {sheets[0].supplier}"),
        sheets=[_view(s, zone) for s in sheets],
        blanks=BLANKS,
        as_of=local_text(as_of, zone),
    )


def _title(s: OrderSheet) -> str:
    return "Order, proposed" if s.order is None else f"Order {s.order}"


def _view(s: OrderSheet, zone: ZoneInfo) -> dict[str, Any]:
    facts = [("To", shown(s.supplier)), ("Needed by", day_text(s.needed_by))]
    if s.placed_at is not None:
        facts.append(("Placed", local_text(s.placed_at, zone)))
    if s.order_by is not None:
        facts.append(("Order before", local_text(s.order_by, zone)))
    return {
        "title": _title(s),
        "where": shown(", ".join(t for t in (s.practice, s.site) if t)),
        "facts": facts,
        "ended": s.state.upper() if s.ended else "",
        "currency": s.currency,
        "lines": [_line(x) for x in s.lines],
        "total": money(s.total),
        "unpriced": shown(", ".join(s.unpriced)),
        "proposed": s.order is None,
    }


def _line(x: SheetLine) -> dict[str, Any]:
    return {
        "product": shown(x.product),
        "name": shown(x.name),
        "heed": "; ".join(x.heed),
        "packs": "" if x.packs is None else f"{x.packs:g}",
        "of": "" if x.pack_size is None else str(x.pack_size),
        "pieces": str(x.pieces),
        "price": money(x.pack_price),
        "cost": money(x.cost),
    }


def money(amount: Decimal | None) -> str:
    """``1234.50``; empty where there is no price."""
    return "" if amount is None else f"{amount:.2f}"


def order_sheet_answer(sheets: Sequence[OrderSheet], as_of: int, file: str | None) -> dict[str, Any]:
    """``reorder sheet``."""
    return {
        "as_of": instant(as_of),
        "file": file,
        "sheets": [
            {
                "order": s.order,
                "supplier": s.supplier,
                "site": s.site or None,
                "state": s.state,
                "placed_at": instant(s.placed_at),
                "order_by": instant(s.order_by),
                "needed_by": s.needed_by.isoformat(),
                "total": round(float(s.total), 2),
                "currency": s.currency,
                "lines": [
                    {
                        "product": x.product,
                        "name": x.name,
                        "quantity": x.pieces,
                        "packs": x.packs,
                        "pack_price": None if x.pack_price is None else float(x.pack_price),
                        "cost": None if x.cost is None else float(x.cost),
                    }
                    for x in s.lines
                ],
            }
            for s in sheets
        ],
    }
