"""Movements, holds and releases of one lot -> which pieces stand where, held for what, and where they have been.

Nothing is stored as a balance: everything here is replayed from the records in the order in which things happened.
A parcel is a number of pieces of one lot that have shared their whole path. Where a movement takes more than a
place is known to hold, the rest is owed there (``short``) until a count or a late delivery makes it good; nothing
on hand is ever below zero.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from stockroom.core.parcels import FOREVER, LotState, Parcel, Stay
from stockroom.core.records import OUTSIDE, Hold, Movement, Release

__all__ = [
    "FOREVER",
    "LotState",
    "Parcel",
    "Standing",
    "Stay",
    "Touched",
    "replay",
    "standing",
    "taken_first",
    "touched",
]


def replay(
    lot: int, movements: Iterable[Movement], holds: Iterable[Hold], releases: Iterable[Release], until: int = FOREVER
) -> LotState:
    """The state of one lot at ``until`` (inclusive), from its records in any order.

    At one instant movements come first, then holds and releases by entry: a piece that left at the very second an
    excursion began is spared, one that arrived at it is held.
    """
    events: list[tuple[int, int, int, int, Movement | Hold | Release]] = []
    for m in movements:
        events.append((m.at, 0, m.entry, m.key, m))
    for h in holds:
        events.append((h.at, 1, h.entry, 2 * h.key, h))
    for r in releases:
        events.append((r.at, 1, r.entry, 2 * r.key + 1, r))
    events.sort(key=lambda e: e[:4])
    state = LotState(lot)
    for at, _, _, _, event in events:
        if at > until:
            break
        if isinstance(event, Movement):
            _move(state, event)
        elif isinstance(event, Hold):
            _hold(state, event)
        else:
            _release(state, event)
    return state.settled()


def _taken(state: LotState, place: str, quantity: int, prefer: str, known: int) -> tuple[list[Parcel], int]:
    """(parcels taken out of a place, pieces that it did not have).

    ``prefer`` is "free", "held", or the P-number of a kit that was put back. Only holds known when the movement was
    recorded steer the choice: nobody could have avoided a piece for a reason that was found later.
    """

    def order(p: Parcel) -> tuple[bool, bool, bool, int, int]:
        held = any(entry < known for entry in p.causes.values())
        wrong = held if prefer != "held" else not held
        return (p.kit != prefer, wrong, p.kit is not None, p.since, p.entered)

    taken = []
    here = state.at(place)
    for parcel in here if len(here) == 1 else sorted(here, key=order):
        if quantity <= 0:
            break
        if parcel.quantity <= quantity:
            state.take(parcel)
            part = parcel
        else:
            part = parcel.part(quantity)
        quantity -= part.quantity
        taken.append(part)
    return taken, quantity


def _move(state: LotState, m: Movement) -> None:
    moved: list[Parcel] = []
    fresh = m.quantity
    if m.source in OUTSIDE:
        state.totals[m.source] = state.totals.get(m.source, 0) + m.quantity
    else:
        moved, fresh = _taken(state, m.source, m.quantity, m.prefer, m.entry)
        for parcel in moved:
            parcel.stays = (*parcel.stays, Stay(parcel.place, parcel.since, m.at))
        if fresh:
            state.short[m.source] = state.short.get(m.source, 0) + fresh
    if fresh:
        moved.append(Parcel(fresh, m.source, m.at))
    if m.target in OUTSIDE:
        state.totals[m.target] = state.totals.get(m.target, 0) - m.quantity
    for parcel in moved:
        # Pieces that were used before they were written in make good what is owed, and stand nowhere.
        settled = min(state.short.get(m.target, 0), parcel.quantity)
        if settled:
            state.short[m.target] -= settled
            parcel.quantity -= settled
        if parcel.place.startswith("P-"):
            parcel.kit = None if m.target in OUTSIDE else parcel.place
        elif m.target.startswith("P-"):
            parcel.kit = None
        parcel.place, parcel.since, parcel.entered = m.target, m.at, m.entry
        if m.target == "used":
            parcel.booking, parcel.used_at = m.booking, m.at
        if parcel.quantity:
            state.put(parcel)


def _hold(state: LotState, h: Hold) -> None:
    inside = state.settled().inside()
    here = [p for p in inside if h.place in (p.place, p.kit) or _just_left(p, h.place, h.at, h.entry)]
    left = h.quantity
    # A hold that is renewed means those that it was released from, not others of the lot in the same place.
    for parcel in sorted(here, key=lambda p: (p.kit != h.place, h.cause not in p.ever, p.since, p.entered)):
        if left > 0 and h.cause not in parcel.causes:
            left -= _bear(state, parcel, h, left)
    # Pieces that bear the cause already (a hold whose beginning late data moved) are what is meant. For the rest a
    # later entry shows that they were elsewhere: the hold stays, on pieces of the lot wherever they are.
    left -= sum(p.quantity for p in here if p.causes.get(h.cause, h.entry) != h.entry)
    known = {p.order for p in here}
    for parcel in [p for p in state.settled().inside() if p.order not in known] if left > 0 else ():
        if left > 0 and h.cause not in parcel.causes:
            left -= _bear(state, parcel, h, left)


def _just_left(parcel: Parcel, place: str, at: int, entry: int) -> bool:
    """True where pieces were moved away from a place at that very instant, by a later entry."""
    return parcel.since == at and parcel.entered > entry and bool(parcel.stays) and parcel.stays[-1].place == place


def _bear(state: LotState, parcel: Parcel, h: Hold, most: int) -> int:
    """Makes up to ``most`` pieces of a parcel bear a hold's cause; returns how many."""
    part = parcel if parcel.quantity <= most else parcel.part(most)
    if part is not parcel:
        state.put(part)
    part.causes[h.cause] = h.entry
    part.ever.setdefault(h.cause, h.at)
    return part.quantity


def _release(state: LotState, r: Release) -> None:
    left = r.quantity
    here = state.at(r.place)
    if sum(p.quantity for p in here if not p.causes.keys().isdisjoint(r.causes)) < left:
        here += [p for p in state.settled().inside() if _just_left(p, r.place, r.at, r.entry)]
    for parcel in sorted(here, key=lambda p: (p.since, p.entered)):
        if left <= 0:
            return
        if not any(c in parcel.causes for c in r.causes):
            continue
        part = parcel if parcel.quantity <= left else parcel.part(left)
        if part is not parcel:
            state.put(part)
        for cause in r.causes:
            part.causes.pop(cause, None)
        left -= part.quantity


@dataclass(frozen=True, slots=True)
class Standing:
    """A row of what is on hand: pieces of a lot in one place, all usable, all held or all expired."""

    lot: int
    place: str
    quantity: int
    state: str
    causes: tuple[str, ...]


def standing(state: LotState, expiry: date | None, today: date) -> list[Standing]:
    """What is on hand of one lot, a row for each place and state; quarantined outranks expired."""
    rows: dict[tuple[str, str], tuple[int, set[str]]] = {}
    for parcel in state.inside():
        kind = "quarantined" if parcel.held else "expired" if expiry is not None and expiry < today else "usable"
        quantity, causes = rows.get((parcel.place, kind), (0, set()))
        rows[parcel.place, kind] = (quantity + parcel.quantity, causes | set(parcel.causes))
    return [
        Standing(state.lot, place, quantity, kind, tuple(sorted(causes)))
        for (place, kind), (quantity, causes) in sorted(rows.items())
    ]


@dataclass(frozen=True, slots=True)
class Touched:
    """``quantity`` pieces that stood in a fridge during an excursion, from ``at`` on, not yet held for it."""

    lot: int
    place: str
    at: int
    quantity: int


def touched(state: LotState, place: str, start: int, end: int | None, causes: frozenset[str]) -> list[Touched]:
    """Pieces of one lot that were in ``place`` at any time in [start, end] and are not held for it from then on.

    ``causes`` are the numbers of the one excursion. A piece that left at ``start`` or came after ``end`` is spared, to
    the second. Used and discarded pieces count too: they are named on their booking.
    """
    found: dict[int, int] = {}
    for parcel in state.parcels:
        held_from = min((at for cause, at in parcel.ever.items() if cause in causes), default=FOREVER)
        for stay in parcel.path():
            if stay.place != place or (stay.end is not None and stay.end <= start):
                continue
            if end is not None and stay.start > end:
                continue
            at = max(start, stay.start)
            if held_from > at:
                found[at] = found.get(at, 0) + parcel.quantity
            break
    return [Touched(state.lot, place, at, quantity) for at, quantity in sorted(found.items())]


def taken_first(rows: Sequence[tuple[date | None, str, int]], wanted: int) -> list[tuple[int, int]]:
    """First expired, first out: (index into ``rows``, pieces) until ``wanted`` are found or nothing is left.

    ``rows`` are (expiry, tie-break such as lot code and place, pieces); no known expiry comes last.
    """
    order = sorted(range(len(rows)), key=lambda i: (rows[i][0] or date.max, rows[i][1]))
    out = []
    for i in order:
        if wanted <= 0:
            break
        n = min(wanted, rows[i][2])
        if n > 0:
            out.append((i, n))
            wanted -= n
    return out
