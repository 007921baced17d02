"""What follows from a new record: excursions get their numbers, and what they touched is held.

The one owner of consequences. Numbers and holds only accumulate: nothing here ever frees a piece.
"""

from collections.abc import Sequence

from stockroom.core.excursions import Event, Numbered
from stockroom.core.stock import Parcel, touched
from stockroom.core.units import degrees
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
    practice_at,
    stood,
    warm_past,
    within_allowance,
)
from stockroom.tasks.shelves import LotNow, lots_now


def settle(rec: Recording) -> None:
    """Draws the consequences of an entry for every fridge it touched, from the instant that it changed."""
    for name, since in sorted(rec.fridges.items()):
        key = ledger.place_key(rec.conn, name)
        if key is not None:
            _settle_fridge(rec, name, key, since)


def _settle_fridge(rec: Recording, name: str, key: int, since: int) -> None:
    lots = stood(lots_now(rec.conn).values(), name)
    past = history(rec.conn, name, key, lots, since=since)
    seen = events(past, lots)
    warm = WarmPast((), past.spans)
    if any(_may_be_allowed(rec, x, e) for x in lots for e in seen if e.end is None or e.end >= since):
        # An allowance is used up over a kit's whole life: then all that ever happened has to be looked at.
        past = history(rec.conn, name, key, lots)
        seen = events(past, lots)
        warm = warm_past(rec.conn, past, seen, lots)
    found = numbers(rec.conn, past, seen)
    decisions = fridges.decisions(rec.conn)
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
            _tell(rec, name, number, n.event, lots)
        rec.excursions.append((number, n.event))


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
        if within_allowance(practice, lot, event, warm.before(lot, event), rec.act.now):
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
        ledger.held(rec.book, lot.lot.key, place, parcel.quantity, rec.book.at, cause, why)
        pieces += parcel.quantity
    return pieces


def _tell(rec: Recording, name: str, number: int, event: Event, lots: Sequence[LotNow]) -> None:
    cause = f"E-{number}"
    touched_now = list(lots_now(rec.conn, only={x.lot.key for x in lots}).values())
    pieces = sum(p.quantity for x in touched_now for p in x.state.inside() if cause in p.causes)
    products = {x.lot.product for x in touched_now if any(cause in p.ever for p in x.state.parcels)}
    cautions(rec, products)
    if event.source == "gap":
        what = f"nobody knows how cold {name} was in a silence of its logger"
    else:
        limit = degrees(event.limit)
        what = (
            f"{name} went {'above' if event.direction == 'warm' else 'below'} {limit} (worst {degrees(event.extreme)})"
        )
    noun = "piece is" if pieces == 1 else "pieces are"
    rec.note(
        "quarantined",
        f"E-{number}: {what}; {pieces} {noun} in quarantine",
        f"stockroom fridge decide E-{number} --release|--discard --why …",
        urgent=True,
    )
