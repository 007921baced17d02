"""How a recall looks on the screen: what is free first, then lot by lot, then what to type next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stockroom.cli.show import Screen
from stockroom.core.units import count, quoted_lot
from stockroom.core.when import day_text, local_text
from stockroom.tasks.act import CAUTIONS

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from stockroom.tasks.recall import Recall, Recalled


def draw_recall(screen: Screen, found: Recall, zone: ZoneInfo, file: str | None) -> None:
    """All lots of a notice."""
    code = found.notice.product
    screen.heading(f"{code}  {found.name}".rstrip() + f": {count(len(found.lots), 'lot')} of the notice on record")
    if found.notice.text:
        screen.note(f"notice: {found.notice.text}")
    for lot, alike in found.absent:
        if alike:
            screen.alert(f"lot {lot} was never here, but {', '.join(alike)} was: compare it with the notice")
        else:
            screen.note(f"lot {lot} was never here")
    for one in found.lots:
        _lot(screen, one, zone, found.as_of)
    if found.lots:
        _sum(screen, found)
    if file is not None:
        screen.line(f"written to {file}")
    for text in (*CAUTIONS, *(f"{code}: {own}" for own in found.cautions)) if found.lots else ():
        screen.caution(text)


def _lot(screen: Screen, one: Recalled, zone: ZoneInfo, now: int) -> None:
    t = one.trace
    screen.line()
    screen.heading(f"lot {t.lot.code}, expiry {day_text(t.lot.expiry) if t.lot.expiry else 'unknown'}")
    rows = [[place, str(n), "in quarantine" if held == n else "! NOT HELD" if not held else f"! {n - held} NOT HELD"]
            for place, n, held in one.here]  # fmt: skip
    if rows:
        screen.table(["here", "pieces", ""], rows, right=(1,))
    else:
        screen.note("none of it is in the practice any more")
    rows = [[f"B-{r.booking}", r.patient, local_text(r.at, zone, now), str(r.quantity)] for r in t.reached]
    if rows:
        screen.table(["used on", "patient", "when", "pieces"], rows, right=(3,))
    beside = t.used - sum(r.quantity for r in t.reached)
    parts = [f"{n} {what}" for n, what in ((beside, "used outside bookings"), (t.discarded, "discarded"),
                                           (t.returned, "returned")) if n]  # fmt: skip
    if parts:
        screen.note(", ".join(parts))
    if t.difference or t.unaccounted:
        screen.alert(
            f"the record lacks {t.unaccounted + abs(t.difference)}: count the place, or write in what is missing"
        )


def _sum(screen: Screen, found: Recall) -> None:
    total = found.totals
    came = total["received"] + total["adjusted"]
    screen.line()
    parts = [f"{total[k]} {k.replace('_', ' ')}" for k in ("on_hand", "out", "used", "discarded", "returned")]
    screen.line(
        f"{came} received = {' + '.join(parts)}"
        + (f", less {total['unaccounted']} that the record lacks" if total["unaccounted"] else "")
    )
    if total["difference"]:
        screen.alert(f"the quantities do not add up: {total['difference']} pieces")
    code, names = found.notice.product, " ".join(quoted_lot(x.trace.lot.code) for x in found.lots)
    if found.loose:
        screen.alert(f"{count(found.loose, 'piece')} of it can still be used")
        screen.todo(f"stockroom recall {code} {names} --hold")
    elif one := next((x for x in found.lots if x.trace.on_hand), None):
        lot, n = quoted_lot(one.trace.lot.code), one.trace.on_hand
        screen.todo(f"when the maker has answered: stockroom stock return {code} {lot} --quantity {n} --why …")
    reached = len({r.booking for x in found.lots for r in x.trace.reached})
    if reached:
        screen.alert(f"it was used on {count(reached, 'booking')}: the responsible clinician decides what follows")
