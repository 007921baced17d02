"""What follows from a new record: excursions get their numbers, and what they touched is held.

The one owner of consequences. Numbers and holds only accumulate: nothing here ever frees a piece.
"""

from collections.abc import Sequence

from stockroom.core.excursions import Event, Numbered
from stockroom.core.stock import FOREVER, Parcel, touched
from stockroom.core.units import count, degrees, few
from stockroom.store import fridges, ledger
from stockroom.store.fridges import Decision
from stockroom.tasks.act import Recording, cautions
from stockroom.tasks.coldchain import (
    History,
    WarmPast,
    events,
    history,
    numbers,
    own_line,
    warm_past,
    within_allowance,
)
from stockroom.tasks.derive import ensured, lasts
from stockroom.tasks.rules import practice_at, spans
from stockroom.tasks.shelves import LotNow, lots_now, stood


def settle(rec: Recording) -> None:
    """Draws the consequences of an entry for every fridge it touched, from the instant that it changed."""
    waiting = dict(rec.fridges)
    while waiting:
        name = min(waiting)
        since = waiting.pop(name)
        key = ledger.place_key(rec.conn, name)
        if key is None:
            continue
        # Where an allowance was touched, what the same pieces met elsewhere since then may no longer be covered.
        others, since = _settle_fridge(rec, name, key, since)
        for other in others:
            if since < rec.settled.get(other, FOREVER) and since < rec.fridges.get(other, FOREVER):
                waiting[other] = rec.settled[other] = since


def lasting(rec: Recording) -> None:
    """Draws what time alone has done: an allowance is used up while a warm spell lasts, though nobody records it."""
    keeps = [p.keep.high for p in rec.rules.practice.products if p.allowance and p.keep]
    roof = min((high for high in keeps if high is not None), default=FOREVER)
    for fridge in rec.rules.practice.fridges:
        key = ledger.place_key(rec.conn, fridge.name)
        if key is not None and lasts(rec.conn, key, roof):
            rec.touches(fridge.name, rec.act.now)
    if rec.fridges:
        settle(rec)
        rec.fridges.clear()
        rec.settled.clear()


def _settle_fridge(rec: Recording, name: str, key: int, since: int) -> tuple[set[str], int]:
    """Settles one fridge; returns the others in which lots with an allowance stood that it touched, and since when."""
    lots = stood(rec.conn, name)
    ensured(rec.conn, key, name, spans(rec.conn), lots)
    past = history(rec.conn, name, key, lots, since=since)
    seen = events(past, lots)
    warm = WarmPast((), past.spans)
    others: set[str] = set()
    changed = [e for e in seen if e.end is None or e.end >= since]
    allowed = [x for x in lots if any(_may_be_allowed(rec, x, e) for e in changed)]
    if allowed:
        # What used it up begins with the first of them: all that followed may not be covered any more.
        since = min(since, *(e.start for e in changed))
        # An allowance is used up over a kit's whole life: then all that ever happened has to be looked at.
        others = {s.place for x in allowed for p in x.state.parcels for s in p.path()} - {name}
        others &= {f.name for f in rec.rules.practice.fridges}
        past = history(rec.conn, name, key, lots)
        seen = events(past, lots)
        warm = warm_past(rec.conn, past, seen, lots, {})
    found = numbers(rec.conn, past, seen)
    decisions = fridges.decisions(rec.conn)
    held: list[tuple[int, Event]] = []
    for i, n in enumerate(found):
        if n.event.end is not None and n.event.end < since:
            continue
        number = n.number
        if number is None:
            number = fridges.anchored(
                rec.book, key, n.event.source, n.event.direction, n.event.limit, n.event.first_out
            )
            found[i] = Numbered(n.event, number, n.others)
        if _hold(rec, past, found[i], lots, warm, decisions.get(number, [])):
            held.append((number, n.event))
        rec.excursions.append((number, n.event))
    if held:
        _tell(rec, name, held, lots)
    return others, since


def _may_be_allowed(rec: Recording, lot: LotNow, event: Event) -> bool:
    practice = rec.rules.practice
    product = practice.product(lot.lot.product)
    allowance = None if product is None else product.allowance
    return allowance is not None and event.direction == "warm" and own_line(practice, lot.lot.product, event)


def _hold(
    rec: Recording,
    past: History,
    numbered: Numbered,
    lots: Sequence[LotNow],
    warm: WarmPast,
    decisions: Sequence[Decision],
) -> int:
    """Holds what an excursion touched and nobody holds for it yet; returns how many pieces."""
    event, cause = numbered.event, f"E-{numbered.number}"
    causes = {cause, *(f"E-{n}" for n in numbered.others)}
    practice = practice_at(past.spans, event.start)
    pieces = 0
    for lot in lots:
        if not own_line(practice, lot.lot.product, event):
            continue
        if within_allowance(practice, lot, event, warm, rec.act.now):
            continue
        for found in touched(lot.state, past.name, event.start, event.end, frozenset(causes)):
            ledger.held(rec.book, lot.lot.key, past.key, found.quantity, found.at, cause)
            pieces += found.quantity
        if decisions and decisions[-1].figures != event.figures():
            pieces += _held_again(rec, lot, causes, cause)
    return pieces


def _held_again(rec: Recording, lot: LotNow, causes: set[str], cause: str) -> int:
    """Late data changed what a decision was taken on: what it released is held again until somebody decides anew."""
    pieces = 0
    parcels: list[Parcel] = [p for p in lot.state.inside() if causes & p.ever.keys() and not causes & set(p.causes)]
    for parcel in parcels:
        place = ledger.placed(rec.book, parcel.place, "box")
        why = "late data changed the figures that the decision was taken on"
        # From now on: what changed the figures may be said to have happened before the release, or elsewhere.
        ledger.held(rec.book, lot.lot.key, place, parcel.quantity, max(rec.act.now, parcel.since), cause, why)
        pieces += parcel.quantity
    return pieces


TOLD = 3
"""More excursions than this are told of in one line: it is one piece of news for whoever imports a season."""


def _tell(rec: Recording, name: str, held: Sequence[tuple[int, Event]], lots: Sequence[LotNow]) -> None:
    touched_now = list(lots_now(rec.conn, only={x.lot.key for x in lots}).values())
    causes = {f"E-{number}" for number, _ in held}
    cautions(rec, {x.lot.product for x in touched_now if any(causes & p.ever.keys() for p in x.state.parcels)})
    if len(held) > TOLD:
        worst = [degrees(e.extreme) for _, e in sorted(held, key=lambda h: _beyond(h[1])) if e.extreme is not None]
        what = f"{count(len(held), 'excursion')} of {name}, {few([f'E-{n}' for n, _ in held])}"
        what += (f", worst {worst[-1]}" if worst else "") + f"; {_pieces(touched_now, causes)} in quarantine"
        rec.note("quarantined", what, "stockroom fridge check says what to do about each", urgent=True)
        return
    for number, event in held:
        if event.source == "gap":
            what = f"nobody knows how cold {name} was in a silence of its logger"
        else:
            side = "above" if event.direction == "warm" else "below"
            what = f"{name} went {side} {degrees(event.limit)} (worst {degrees(event.extreme)})"
        rec.note(
            "quarantined",
            f"E-{number}: {what}; {_pieces(touched_now, {f'E-{number}'})} in quarantine",
            "stockroom fridge check says what to do, in order",
            urgent=True,
        )


def _beyond(event: Event) -> int:
    return -1 if event.extreme is None or event.limit is None else abs(event.extreme - event.limit)


def _pieces(lots: Sequence[LotNow], causes: set[str]) -> str:
    pieces = sum(p.quantity for x in lots for p in x.state.inside() if causes & p.causes.keys())
    return "1 piece is" if pieces == 1 else f"{pieces} pieces are"
