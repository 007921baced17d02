"""How stock looks on the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stockroom.cli.show import Screen
from stockroom.core.units import count, quoted
from stockroom.core.when import local_text

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from stockroom.tasks.expiring import ExpiringReport
    from stockroom.tasks.list_stock import StockReport, StockRow

STATES = {"usable": "usable", "quarantined": "! DO NOT USE", "expired": "! EXPIRED"}


def draw_stock(screen: Screen, report: StockReport, zone: ZoneInfo) -> None:
    """A table of what is on hand, a row for each lot, place and state."""
    if not report.rows:
        screen.line("Nothing is on hand.")
        screen.todo("stockroom stock receive PRODUCT --lot L --expiry DAY --quantity N --into PLACE")
    else:
        rows = [
            [
                r.product,
                r.lot,
                r.expiry.isoformat() if r.expiry else "unknown",
                _left(r),
                str(r.quantity),
                _where(r),
                _state(r, zone, report.as_of),
            ]
            for r in report.rows
        ]
        screen.table(["product", "lot", "expiry", "days", "pieces", "place", "state"], rows, right=(3, 4))
    for product, lot, place, n in report.owed:
        screen.alert(f"{product} lot {lot}: {count(n, 'piece')} used that the record does not have, at {place}")
        screen.todo(f"stockroom stock count {quoted(place)}")


def _left(r: StockRow) -> str:
    return "" if r.days_left is None else str(r.days_left)


def _where(r: StockRow) -> str:
    return r.place if r.pull is None else f"out, P-{r.pull}"


def _state(r: StockRow, zone: ZoneInfo, now: int) -> str:
    text = STATES[r.state]
    if r.causes:
        text += " (" + ", ".join(r.causes) + ")"
    if r.pull is not None and r.state == "usable":
        ready = (
            "warm" if r.ready_at is not None and r.ready_at <= now else f"warm {local_text(r.ready_at or 0, zone, now)}"
        )
        until = "how long: ask the maker" if r.use_by is None else f"until {local_text(r.use_by, zone, now)}"
        text = f"{ready}, {until}" + (f", B-{r.booking}" if r.booking else "")
    return text


def draw_expiring(screen: Screen, report: ExpiringReport) -> None:
    """A table of lots by expiry; what is expected to be left over stands out."""
    if not report.rows:
        screen.line(f"Nothing that may be used expires within {count(report.within, 'day')}.")
        return
    rows = [
        [
            r.product, r.lot, r.expiry.isoformat(), str(r.days_left), str(r.quantity),
            "! EXPIRED" if r.days_left < 0 else f"! {r.unused} left over" if r.unused else "used in time",
        ]
        for r in report.rows
    ]  # fmt: skip
    screen.table(["product", "lot", "expiry", "days", "pieces", "expected"], rows, right=(3, 4))
