"""How orders that were placed look on the screen: what of them came and is to come, those overdue with the next step."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from stockroom.cli.show import Screen
from stockroom.core.when import day_text, local_text
from stockroom.tasks.order_book import OrderRecord

ENDED = {"expect": "expected on", "cancel": "cancelled", "close": "closed"}


def draw_book(
    screen: Screen, found: Sequence[OrderRecord], zone: ZoneInfo, as_of: int, *, in_short: bool, whole: bool
) -> None:
    """A block for each order, or with ``in_short`` a row; with ``whole`` its deliveries and changes too."""
    if not found:
        screen.line("No order is on record." if in_short else "No order is open.")
        return
    if in_short:
        rows = [[o.label, o.supplier + _at(o), _day(o.placed_at, zone), _state(o), _in_short(o)] for o in found]
        screen.table(["order", "supplier", "placed", "state", "pieces ordered"], rows)
    for o in () if in_short else found:
        _block(screen, o, zone, as_of, whole=whole)
    late = next((o.label for o in found if o.state == "overdue"), None)
    if late is not None:
        screen.todo(f"stockroom reorder expect {late} --on DAY, or: stockroom reorder close {late} --why …")


def _block(screen: Screen, o: OrderRecord, zone: ZoneInfo, as_of: int, *, whole: bool) -> None:
    placed = local_text(o.placed_at, zone, as_of)
    due = f", due {day_text(o.due_on)}" if o.coming else ""
    screen.heading(f"{o.label}  {o.supplier}{_at(o)}, placed {placed}{due}: {_state(o)}")
    screen.table(
        ["product", "ordered", "came", "to come", ""],
        [
            [x.product, str(x.ordered), str(x.received), str(x.to_come), _remarks(x.ordered, x.proposed, x.why)]
            for x in o.lines
        ],
        right=(1, 2, 3),
    )
    for r in o.receipts if whole else ():
        screen.note(
            f"{local_text(r.at, zone, as_of)}  R-{r.entry}  {r.quantity} x {r.product} lot {r.lot} into {r.place}"
        )
    for c in o.changes if whole else ():
        # The due instant is the end of that day.
        until = f" {_day(c.due - 1, zone)}" if c.due is not None else ""
        why = f": {c.why}" if c.why else ""
        screen.note(f"{local_text(c.at, zone, as_of)}  R-{c.entry}  {ENDED[c.kind]}{until}{why}")


def _day(at: int, zone: ZoneInfo) -> str:
    return day_text(datetime.fromtimestamp(at, zone).date())


def _at(o: OrderRecord) -> str:
    return f", {o.site}" if o.site else ""


def _state(o: OrderRecord) -> str:
    return "! overdue" if o.state == "overdue" else o.state


def _in_short(o: OrderRecord) -> str:
    return o.summary + (f"; to come: {o.missing}" if o.coming and o.missing != o.summary else "")


def _remarks(ordered: int, proposed: int | None, why: str | None) -> str:
    if not ordered:
        return "came without having been ordered"
    if proposed == ordered:
        return why or ""
    said = "was not proposed" if not proposed else f"{proposed} proposed"
    return f"{said}: {why}" if why else said
