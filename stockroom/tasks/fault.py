"""What is at fault in a fridge: each event that waits for a decision, what it touched, and whether it is over."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stockroom.core.stock import Parcel
from stockroom.store import Link
from stockroom.tasks.excursions_now import ExcursionNow, events_to_decide
from stockroom.tasks.fridge_now import FridgeNow
from stockroom.tasks.shelves import LotNow, lots_open

Lots = Mapping[tuple[str, str], int]
"""(product, lot) -> pieces."""


@dataclass(frozen=True, slots=True)
class Touched:
    """What became of the pieces that one event touched: held, by (product, lot, place), and used, by lot.

    ``elsewhere`` are those of the held ones of which a later entry shows that they were not there.
    """

    held: Mapping[tuple[str, str, str], int]
    used: Lots
    elsewhere: Mapping[tuple[str, str, str], int]


@dataclass(frozen=True, slots=True)
class Fault:
    """One event that waits for a decision: the records of it, the leading one first, and what it touched."""

    records: tuple[ExcursionNow, ...]
    touched: Touched

    @property
    def first(self) -> ExcursionNow:
        """The record that is decided about."""
        return self.records[0]

    @property
    def quiet(self) -> bool:
        """True where it is over and touched nothing: it is only to be noted."""
        e = self.first
        touched = e.lots or self.touched.held or self.touched.used
        return e.event is not None and not touched and not any(x.lasts for x in self.records)

    @property
    def answered(self) -> bool:
        """True where a person has decided, be it about a part, and nothing has changed since."""
        return self.first.decision is not None and not self.first.reopened


def faults_of(conn: Link, f: FridgeNow, as_of: int) -> list[Fault]:
    """The events of a fridge that wait for a decision, by number."""
    pairs = events_to_decide(f.excursions)
    bearing = _bearing(conn, as_of) if pairs else {}
    by_number = {f"E-{x.number}": x for x in f.excursions}
    faults = []
    for e, others in pairs:
        records = (e, *(by_number[number] for number in others))
        causes = {f"E-{n}" for x in records for n in (x.number, *x.others)}
        faults.append(Fault(records, _touched(bearing, e, causes)))
    return faults


def _bearing(conn: Link, as_of: int) -> Mapping[str, Sequence[tuple[LotNow, Parcel]]]:
    """Cause -> the pieces that were ever held for it, with their lots."""
    found: dict[str, list[tuple[LotNow, Parcel]]] = {}
    for x in lots_open(conn, as_of).values():
        for p in x.state.parcels:
            for cause in p.ever:
                found.setdefault(cause, []).append((x, p))
    return found


def _touched(bearing: Mapping[str, Sequence[tuple[LotNow, Parcel]]], e: ExcursionNow, causes: set[str]) -> Touched:
    held: dict[tuple[str, str, str], int] = {}
    elsewhere: dict[tuple[str, str, str], int] = {}
    own = {f"E-{n}" for n in (e.number, *e.others)}
    used: dict[tuple[str, str], int] = {}
    for x, p in {id(p): (x, p) for cause in causes for x, p in bearing.get(cause, ())}.values():
        if p.place == "used":
            key = (x.lot.product, x.lot.code)
            used[key] = used.get(key, 0) + p.quantity
        elif not p.outside and causes & p.causes.keys():
            where = (x.lot.product, x.lot.code, p.place)
            held[where] = held.get(where, 0) + p.quantity
            v = e.event
            if v is not None and own & p.causes.keys() and not p.stood_in(e.fridge, v.start, v.end):
                elsewhere[where] = elsewhere.get(where, 0) + p.quantity
    return Touched(held, used, elsewhere)


def out_now(f: FridgeNow) -> bool:
    """True while a fridge is still out of range, whether an allowance covers that or not.

    One that is switched off and empty is let be.
    """
    return (not f.off or f.pieces > 0) and any(e.lasts and not over(f, e) for e in f.excursions)


def over(f: FridgeNow, e: ExcursionNow) -> bool:
    """True where a record that lasts has been answered by the other kind of reading.

    A check by hand has the last word, but the logger saw the same event and has seen its end; or the logger has not
    been read out since, and a later check by hand is in range.
    """
    seen = e.event
    if seen is None:
        return True
    if e.source == "logger":
        later = f.last is not None and f.last[0] > seen.last_out
        return later and f.last is not None and e.limit is not None and not _beyond(e, f.last[1])
    ends = [x.event for x in f.excursions if x.source == "logger" and x.direction == e.direction]
    return any(v is not None and v.end is not None and v.start <= seen.last_out <= v.end for v in ends)


def _beyond(e: ExcursionNow, milli: int) -> bool:
    limit = e.limit or 0
    return milli > limit if e.direction == "warm" else milli < limit
