"""The excursions of a fridge as the records tell them: events, numbers, the lots touched, and who decided."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.excursions import (
    Event,
    Ints,
    Numbered,
    clipped,
    gap_events,
    hand_events,
    lines_of,
    logger_events,
    numbered,
    overlapping,
    silences,
)
from stockroom.core.practice import Fridge, Practice
from stockroom.core.records import HandCheck
from stockroom.core.spells import Line
from stockroom.core.stock import FOREVER, LotState
from stockroom.store import Link, fridges
from stockroom.store.ledger import place_key
from stockroom.tasks.rules import spans
from stockroom.tasks.shelves import LotNow

DAY = 86_400
Span = tuple[int, int, Practice]


@dataclass(frozen=True, slots=True)
class History:
    """What is on record about one fridge: its readings from ``cut`` on, all its checks by hand, and its rules."""

    name: str
    key: int
    at: Ints
    milli: Ints
    cut: int
    checks: Sequence[HandCheck]
    spans: Sequence[Span]
    until: int

    def rules_at(self, at: int) -> Fridge | None:
        """The fridge as the practice file described it at an instant."""
        return practice_at(self.spans, at).fridge(self.name)


def practice_at(rule_spans: Sequence[Span], at: int) -> Practice:
    """The practice that ruled at an instant."""
    return next((p for a, b, p in rule_spans if a <= at < b), rule_spans[-1][2])


def history(
    conn: Link, name: str, key: int, lots: Sequence[LotNow], *, since: int = -FOREVER, until: int = FOREVER
) -> History:
    """The records of a fridge, reaching back from ``since`` to a moment at which nothing was going on.

    Nothing is going on where the readings are within every line that could matter for longer than two excursions
    may lie apart; what happened before that moment cannot change what happened after it.
    """
    rule_spans = spans(conn)
    checks = fridges.hand_checks(conn, key, name, until)
    limits = [line for line, _ in _lines(name, rule_spans, lots).values()]
    calm = max((f.settle_minutes for _, _, p in rule_spans if (f := p.fridge(name))), default=60) * 60
    # Where the logger has been silent before ``since``, the look back begins at its last reading.
    before = fridges.last_reading(conn, key, since) if since > -FOREVER else None
    seen = since if before is None else min(since, before[0])
    back = 2 * DAY
    while True:
        start = max(seen - back, -FOREVER)
        at, milli = fridges.series(conn, key, start, until)
        cut = _calm_before(at, milli, limits, since, calm)
        if cut is not None or start < 0 or _is_all(conn, key, start):
            return History(name, key, at, milli, -FOREVER if cut is None else cut, checks, rule_spans, until)
        back *= 4


def _is_all(conn: Link, key: int, start: int) -> bool:
    return fridges.last_reading(conn, key, start - 1) is None


def _calm_before(at: Ints, milli: Ints, limits: Sequence[Line], since: int, calm: int) -> int | None:
    """The latest reading before ``since`` from which on all lines stayed in range for longer than ``calm``."""
    if since <= -FOREVER:
        return None
    low = max((x.limit for x in limits if x.direction == "cold"), default=-FOREVER)
    high = min((x.limit for x in limits if x.direction == "warm"), default=FOREVER)
    good = (milli >= low) & (milli <= high) & (at < since)
    # A run of good readings that lasts: its first instant is where the recomputation may begin.
    edges = np.flatnonzero(np.diff(np.concatenate(([0], good.astype(np.int8), [0]))))
    for first, last in reversed(list(zip(edges[::2], edges[1::2] - 1, strict=True))):
        if at[last] - at[first] > calm:
            return int(at[first])
    return None


def _lines(
    name: str, rule_spans: Sequence[Span], lots: Sequence[LotNow]
) -> dict[tuple[str, int], tuple[Line, list[Span]]]:
    """Each line that could matter, with the spans of rules in which it does."""
    products = {x.lot.product for x in stood(lots, name)}
    found: dict[tuple[str, int], tuple[Line, list[Span]]] = {}
    for span in rule_spans:
        practice = span[2]
        fridge = practice.fridge(name)
        if fridge is None:
            continue
        keeps = [
            (p.keep.low, p.keep.high)
            for code in sorted(products)
            if (p := practice.product(code)) and p.keep is not None
        ]
        for line in lines_of(fridge, keeps):
            found.setdefault((line.direction, line.limit), (line, []))[1].append(span)
    return found


def _joined(name: str, active: Sequence[Span]) -> list[tuple[int, int, Fridge]]:
    """Spans in which a line and the fridge's own settings stayed the same: (from, until, the fridge then)."""
    out: list[tuple[int, int, Fridge]] = []
    for start, end, practice in active:
        fridge = practice.fridge(name)
        if fridge is None:
            continue
        alike = out and (out[-1][2].max_gap_minutes, out[-1][2].settle_minutes) == (
            fridge.max_gap_minutes,
            fridge.settle_minutes,
        )
        if alike and out[-1][1] == start:
            out[-1] = (out[-1][0], end, fridge)
        else:
            out.append((start, end, fridge))
    return out


def events(past: History, lots: Sequence[LotNow]) -> list[Event]:
    """Every event of a fridge from its cut on: by logger, by hand, and silences that are held, in order of time."""
    found: list[Event] = []
    for line, active in _lines(past.name, past.spans, lots).values():
        on_line: list[Event] = []
        for start, end, fridge in _joined(past.name, active):
            for at, milli in clipped(past.at, past.milli, [(start, end)]):
                on_line += logger_events(at, milli, line, fridge)
        on_line += [e for e in hand_events(past.checks, line) if any(a <= e.first_out < b for a, b, _ in active)]
        found += [e for e in on_line if _matters(e, line, past, lots)]
    found += _silent(past, lots)
    return sorted(
        (e for e in found if e.start >= past.cut or e.source != "logger"),
        key=lambda e: (e.start, e.source, e.direction or "", e.limit or 0),
    )


def _silent(past: History, lots: Sequence[LotNow]) -> list[Event]:
    found: list[Event] = []
    for start, end, practice in past.spans:
        fridge = practice.fridge(past.name)
        if fridge is None:
            continue
        held = [g for g in silences(past.at, fridge) if start <= g.start < end and g.start >= past.cut]
        low, high = strictest(fridge, practice, [x for x in lots if _inside(x.state, past.name, start, end)])
        found += gap_events(held, past.checks, low, high, fridge.gap_hold_hours)
    return found


def _inside(state: LotState, place: str, start: int, end: int) -> bool:
    return any(
        s.place == place and s.start < end and (s.end is None or s.end > start) for p in state.parcels for s in p.path()
    )


def _matters(event: Event, line: Line, past: History, lots: Sequence[LotNow]) -> bool:
    """True on the fridge's own limit, and on a product's where that product stood there meanwhile."""
    fridge = past.rules_at(event.first_out)
    if fridge is not None and line.limit == (fridge.high if line.direction == "warm" else fridge.low):
        return True
    end = FOREVER if event.end is None else event.end
    practice = practice_at(past.spans, event.start)
    return any(
        own_line(practice, x.lot.product, event) and _inside(x.state, past.name, event.start, end + 1) for x in lots
    )


def stood(lots: Iterable[LotNow], place: str) -> list[LotNow]:
    """The lots of which any piece ever stood in a place."""
    return [x for x in lots if any(p.stood_in(place) for p in x.state.parcels)]


def own_line(practice: Practice, product: str, event: Event) -> bool:
    """True where an event broke the product's own keep range; a silence concerns whatever is kept cold."""
    found = practice.product(product)
    if found is None or found.keep is None:
        return False
    if event.source == "gap":
        return True
    return event.limit == (found.keep.high if event.direction == "warm" else found.keep.low)


def strictest(fridge: Fridge, practice: Practice, inside: Sequence[LotNow]) -> tuple[int, int]:
    """(low, high): the narrowest of the fridge's limits and the keep ranges of what is inside."""
    low, high = fridge.low, fridge.high
    for code in {x.lot.product for x in inside}:
        product = practice.product(code)
        if product is not None and product.keep is not None:
            low = low if product.keep.low is None else max(low, product.keep.low)
            high = high if product.keep.high is None else min(high, product.keep.high)
    return low, high


def touched_pieces(state: LotState, place: str, event: Event, causes: set[str]) -> int:
    """Pieces of a lot that were in the fridge during the event, or are held for it all the same."""
    total = 0
    for parcel in state.parcels:
        if parcel.stood_in(place, event.start, event.end) or causes & parcel.ever.keys():
            total += parcel.quantity
    return total


def numbers(conn: Link, past: History, found: Sequence[Event]) -> list[Numbered]:
    """Ties the events of a fridge to the excursions on record."""
    rows = [(a.number, a.source, a.direction, a.limit, a.at) for a in fridges.anchors(conn, past.key)]
    return numbered(found, rows)


def within_allowance(practice: Practice, lot: LotNow, event: Event, earlier: Sequence[Event], now: int) -> bool:
    """True where the product's own allowance covers a warm event, counted with all the lot has had before.

    ``earlier`` are the lot's other warm events on its own line that began before this one. It never covers the cold
    side or a silence, and what lasts counts up to now.
    """
    product = practice.product(lot.lot.product)
    allowance = product.allowance if product else None
    if allowance is None or event.direction != "warm" or event.extreme is None or event.extreme > allowance.up_to:
        return False
    spent = 0.0
    for e in (*earlier, event):
        spent += e.minutes_at_most if e.minutes_at_most is not None else max(0.0, (now - e.start) / 60)
    return spent <= allowance.minutes


def linked(event: Event, among: Sequence[Numbered]) -> list[int]:
    """Numbers of the other records of the same thing: the logger's for a check by hand and the other way round."""
    if event.source == "gap":
        return []
    return sorted(
        n.number
        for n in among
        if n.number is not None
        and n.event.source not in (event.source, "gap")
        and n.event.limit == event.limit
        and overlapping(event, n.event)
    )


def unsupported_pieces(state: LotState, place: str, event: Event, causes: set[str]) -> int:
    """Held pieces of which a later entry shows that they were elsewhere: only a person frees them."""
    total = 0
    for parcel in state.inside():
        if causes & parcel.causes.keys() and not parcel.stood_in(place, event.start, event.end):
            total += parcel.quantity
    return total


@dataclass(frozen=True, slots=True)
class WarmPast:
    """Warm events by fridge, from which a lot's allowance is used up, wherever it stood."""

    by_fridge: tuple[tuple[str, tuple[Event, ...]], ...]
    spans: Sequence[Span]

    def before(self, lot: LotNow, event: Event) -> list[Event]:
        """The lot's other warm events on its own line that began no later than ``event``."""
        return [
            e
            for name, found in self.by_fridge
            for e in found
            if e is not event
            and e.direction == "warm"
            and e.start <= event.start
            and own_line(practice_at(self.spans, e.start), lot.lot.product, e)
            and touched_pieces(lot.state, name, e, set())
        ]


def warm_past(conn: Link, past: History, own: Sequence[Event], lots: Sequence[LotNow]) -> WarmPast:
    """The events of this fridge, and of every other in which a lot with an allowance stood."""
    rows = [(past.name, tuple(own))]
    allowed = [x for x in lots if any((p := s[2].product(x.lot.product)) and p.allowance for s in past.spans)]
    others = {s.place for x in allowed for p in x.state.parcels for s in p.path()} - {past.name}
    fridges_known = {f.name for s in past.spans for f in s[2].fridges}
    for name in sorted(others & fridges_known):
        key = place_key(conn, name)
        if key is not None:
            there = history(conn, name, key, lots, until=past.until)
            rows.append((name, tuple(events(there, lots))))
    return WarmPast(tuple(rows), past.spans)
