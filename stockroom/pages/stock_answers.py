"""Reports about stock -> the JSON documents of their commands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stockroom.pages.values import instant

if TYPE_CHECKING:
    from stockroom.tasks.expiring import ExpiringReport
    from stockroom.tasks.list_stock import StockReport, StockRow


def stock_row(r: StockRow) -> dict[str, Any]:
    """One row of ``stock list``."""
    row: dict[str, Any] = {
        "product": r.product,
        "lot": r.lot,
        "expiry": None if r.expiry is None else r.expiry.isoformat(),
        "place": r.place,
        "quantity": r.quantity,
        "state": r.state,
        "days_left": r.days_left,
        "causes": list(r.causes),
    }
    if r.pull is not None:
        row |= {
            "pull": f"P-{r.pull}",
            "ready_at": instant(r.ready_at),
            "use_by": instant(r.use_by),
            "booking": None if r.booking is None else f"B-{r.booking}",
        }
    return row


def stock_answer(report: StockReport) -> dict[str, Any]:
    """``stock list``."""
    return {
        "as_of": instant(report.as_of),
        "lots": [stock_row(r) for r in report.rows],
        "unaccounted": [{"product": p, "lot": x, "place": place, "quantity": n} for p, x, place, n in report.owed],
    }


def expiring_answer(report: ExpiringReport) -> dict[str, Any]:
    """``stock expiring``."""
    return {
        "as_of": instant(report.as_of),
        "within_days": report.within,
        "lots": [
            {
                "product": r.product,
                "lot": r.lot,
                "expiry": r.expiry.isoformat(),
                "days_left": r.days_left,
                "quantity": r.quantity,
                "unused": r.unused,
            }
            for r in report.rows
        ],
    }
