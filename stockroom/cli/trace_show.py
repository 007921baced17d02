"""How the story of a lot and of a booking looks on the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stockroom.cli.fridge_show import story
from stockroom.cli.show import Screen
from stockroom.core.units import degrees, length
from stockroom.core.when import day_text, local_text
from stockroom.tasks.act import CAUTIONS

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from stockroom.tasks.trace import BookingTrace, ExcursionTrace, LotTrace


def draw_lot(screen: Screen, t: LotTrace, zone: ZoneInfo, now: int) -> None:
    """Quantities, then exposure, then stays and bookings."""
    expiry = day_text(t.lot.expiry) if t.lot.expiry else "unknown"
    screen.heading(f"{t.lot.product} lot {t.lot.code}, expiry {expiry}")
    parts = [f"received {t.received}"]
    parts += [f"{name} {n}" for name, n in (("counted in", t.adjusted),) if n]
    parts += [f"used {t.used}", f"discarded {t.discarded}"] + ([f"returned {t.returned}"] if t.returned else [])
    parts += [f"on hand {t.on_hand}", f"out {t.out}"]
    screen.note(", ".join(parts))
    if t.unaccounted:
        screen.alert(f"{t.unaccounted} used that the record does not have")
        screen.todo("count the place, or write in the delivery that is missing")
    if t.difference:
        screen.alert(f"the quantities do not add up: {t.difference} pieces")
    x = t.exposure
    screen.note(
        f"exposure: measured {_time(x.seconds_warm)} too warm, {_time(x.seconds_cold)} too cold; "
        f"{_time(x.seconds_unmonitored)} unmonitored; lowest {degrees(x.min_milli)}, highest {degrees(x.max_milli)}"
    )
    if x.mkt_celsius is not None:
        screen.note(f"mean kinetic temperature {x.mkt_celsius:.2f} °C: information only, it cannot see freezing")
    if t.opening:
        screen.note("it was there on the first day: what it went through before is not known")
    if t.causes:
        screen.note(f"was held for: {', '.join(t.causes)}")
    stays = [
        [str(n), place, local_text(a, zone, now), "still there" if b is None else local_text(b, zone, now)]
        for place, a, b, n in t.stays
    ]
    if stays:
        screen.table(["pieces", "place", "from", "to"], stays, right=(0,))
    rows = [
        [f"B-{r.booking}", r.patient, local_text(r.at, zone, now), str(r.quantity), "was held" if r.held else ""]
        for r in t.reached
    ]
    if rows:
        screen.table(["booking", "patient", "used", "pieces", ""], rows, right=(3,))


def _time(seconds: float) -> str:
    return length(seconds) if seconds else "0 min"


def draw_excursion(screen: Screen, t: ExcursionTrace, zone: ZoneInfo, now: int) -> None:
    """What happened, the decision, then every piece: where it is, or which booking used it."""
    e = t.excursion
    screen.heading(
        f"E-{e.number} in {e.fridge}: {'open' if e.open else 'decided' if e.decided else 'within its allowance'}"
    )
    screen.note(story(e, zone, now))
    if e.decision is not None:
        answer = f"; answer: {e.decision.answer}" if e.decision.answer else ""
        when = local_text(e.decision.at, zone, now)
        screen.note(f"{e.decision.verdict} by {e.decision.by}, {when}: {e.decision.why}{answer}")
    rows = []
    for p in t.pieces:
        used = "" if p.booking is None else f"B-{p.booking}" + (f" ({p.external_id})" if p.external_id else "")
        when = "" if p.at is None else local_text(p.at, zone, now)
        rows.append([p.product, p.lot, str(p.quantity), p.place + (", held" if p.held else ""), used, when])
    if rows:
        screen.table(["product", "lot", "pieces", "now", "booking", "used"], rows, right=(2,))
    else:
        screen.note("no stock was touched")
    if e.open:
        screen.todo("stockroom fridge check says what to do, in order")
    for text in CAUTIONS if rows else ():
        screen.caution(text)


def draw_booking(screen: Screen, t: BookingTrace, zone: ZoneInfo, now: int) -> None:
    """The booking, then what it used."""
    b = t.booking
    screen.heading(f"B-{b.number}  {b.procedure} for {b.patient}, {local_text(b.start, zone, now)}: {b.state}")
    rows = [
        [product, lot, place, str(n), local_text(at, zone, now), "! was held: " + ", ".join(causes) if causes else ""]
        for product, lot, place, n, at, causes in t.used
    ]
    if rows:
        screen.table(["product", "lot", "from", "pieces", "used", ""], rows, right=(3,))
    else:
        screen.note("nothing is on record as used")
    for what in t.breaches:
        screen.alert(what)
