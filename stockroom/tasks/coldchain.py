"""The excursions of a fridge as the records tell them: events, numbers, the lots touched, and who decided."""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf

from stockroom.core.excursions import (
    Event,
    Found,
    Numbered,
    gap_events,
    hand_events,
    logger_event,
    numbered,
    overlapping,
)
from stockroom.core.handchecks import uncovered
from stockroom.core.opening import merged
from stockroom.core.practice import Fridge, Practice
from stockroom.core.records import HandCheck
from stockroom.core.spells import Gap, Line
from stockroom.core.stock import FOREVER, LotState
from stockroom.store import Link, fridge_notes, fridges
from stockroom.store.derived import Scan
from stockroom.store.fridge_notes import Switch, on_at
from stockroom.store.ledger import place_key
from stockroom.store.open_page import FridgePage
from stockroom.tasks.derive import kept
from stockroom.tasks.rules import practice_at, spans
from stockroom.tasks.shelves import LotNow
from stockroom.tasks.watch import GAP, Span, watched


@dataclass(frozen=True, slots=True)
class History:
    """What is known of one fridge at ``until``: spells and silences by line, checks by hand, the rules of each span.

    ``lately``: what was over before its ``since`` is left out.
    """

    name: str
    key: int
    lines: Sequence[tuple[Scan, list[Found]]]
    checks: Sequence[HandCheck]
    switches: Sequence[Switch]
    spans: Sequence[Span]
    until: int
    lately: FridgePage | None = None

    def rules_at(self, at: int) -> Fridge | None:
        """The fridge as the practice file described it at an instant."""
        return practice_at(self.spans, at).fridge(self.name)

    def off_at(self, at: int) -> bool:
        """True where it was switched off."""
        return not on_at(self.switches, at)

    def first_stock(self, inside: "Presence") -> int:
        """When the first piece came into it."""
        return inside.first if self.lately is None else min(inside.first, self.lately.first_stock)

    @property
    def silences(self) -> list[Gap]:
        """The logger's silences that a reading has ended, in order."""
        found = [Gap(f.spell.start, f.spell.end) for scan, rows in self.lines if scan.direction == GAP for f in rows]
        return sorted(found, key=lambda g: g.start)


def history(
    conn: Link,
    name: str,
    key: int,
    lots: Sequence[LotNow],
    *,
    since: int = -FOREVER,
    until: int = FOREVER,
    lately: FridgePage | None = None,
) -> History:
    """What is known of a fridge at ``until``, without the spells and silences that were over before ``since``.

    With ``lately`` also without the checks by hand that nothing since then can rest on.
    """
    rule_spans = spans(conn)
    begin = -FOREVER if lately is None else lately.since
    lines = kept(conn, key, watched(name, rule_spans, lots), since=max(since, begin), until=until)
    checks = fridges.hand_checks(conn, key, name, until, begin)
    return History(name, key, lines, checks, fridge_notes.switches(conn, key, until), rule_spans, until, lately)


@dataclass(frozen=True, slots=True)
class Presence:
    """When any piece of each product stood in a place: product -> spans [start, end), in order, none touching."""

    by_product: dict[str, list[tuple[int, int]]] = field(default_factory=dict)

    @property
    def first(self) -> int:
        """When the first piece came."""
        return min((found[0][0] for found in self.by_product.values() if found), default=FOREVER)

    def any(self, product: str, start: int, end: int) -> bool:
        """True where any piece of a product stood there at any time in [start, end)."""
        found = self.by_product.get(product, [])
        i = bisect_left(found, (end,)) - 1
        return i >= 0 and found[i][1] > start


def presence(lots: Iterable[LotNow], place: str) -> Presence:
    """When what stood in a place."""
    spans_of: dict[str, list[tuple[int, int]]] = {}
    for now in lots:
        for parcel in now.state.parcels:
            for stay in parcel.path():
                if stay.place == place:
                    end = FOREVER if stay.end is None else stay.end
                    spans_of.setdefault(now.lot.product, []).append((stay.start, end))
    return Presence({code: list(merged(found)) for code, found in spans_of.items()})


def events(past: History, lots: Sequence[LotNow]) -> list[Event]:
    """Every event of a fridge: by logger, by hand, and silences that are held, in order of time."""
    inside = presence(lots, past.name)
    found: list[Event] = []
    active: dict[Line, list[tuple[int, int]]] = {}
    for scan, rows in past.lines:
        if scan.direction == GAP:
            continue
        line = Line("warm" if scan.direction == "warm" else "cold", scan.limit)
        active.setdefault(line, []).append((scan.start, scan.end))
        over = scan.end if scan.end <= past.until and scan.end < FOREVER else None
        found += [logger_event(f, line, over) for f in rows]
    for line, ruled in active.items():
        told = hand_events(past.checks, line, past.first_stock(inside))
        found += [e for e in told if any(a <= e.first_out < b for a, b in ruled)]
    found = [e for e in found if _matters(e, past, inside)]
    found += _silent(past, inside)
    if past.lately is not None:
        # The check with which those that are read begin may itself tell of what was over by then.
        begin = past.lately.since
        found = [e for e in found if e.end is None or e.end >= begin]
    return sorted(found, key=lambda e: (e.start, e.source, e.direction or "", e.limit or 0))


def _silent(past: History, inside: Presence) -> list[Event]:
    found: list[Event] = []
    silences, idle = past.silences, _idle(past, inside)
    for start, end, practice in past.spans:
        fridge = practice.fridge(past.name)
        held = [g for g in silences if start <= g.start < end]
        # A silence is a gap in any series, but only where a logger is expected does it wait for a decision.
        if fridge is None or fridge.logger_minutes is None:
            continue
        for gap in held:
            # By what stood there meanwhile: what comes later must not change what an old silence was.
            there = {code for code in inside.by_product if inside.any(code, gap.start, gap.end or FOREVER)}
            low, high = strictest(fridge, practice, there)
            found += gap_events([gap], past.checks, low, high, fridge.gap_hold_hours, idle)
    return found


def _idle(past: History, inside: Presence) -> list[tuple[int, int]]:
    """When a fridge was switched off and empty: nobody has to know how cold it was then."""
    ends = [s.at for s in past.switches[1:]] + [FOREVER]
    off = [(s.at, end) for s, end in zip(past.switches, ends, strict=False) if not s.on]
    stays = [span for found in inside.by_product.values() for span in found]
    return [part for start, end in off for part in uncovered(start, end, stays)]


def _matters(event: Event, past: History, inside: Presence) -> bool:
    """True on the fridge's own limit, and on a product's where that product stood there meanwhile.

    What an empty fridge reads that was switched off when it began (defrosting, repair) is nobody's concern.
    """
    fridge = past.rules_at(event.first_out)
    end = FOREVER if event.end is None else event.end + 1
    if past.off_at(event.first_out) and not any(inside.any(p, event.start, end) for p in inside.by_product):
        return False
    if fridge is not None and event.limit == (fridge.high if event.direction == "warm" else fridge.low):
        return True
    practice = practice_at(past.spans, event.start)
    return any(own_line(practice, code, event) and inside.any(code, event.start, end) for code in inside.by_product)


def own_line(practice: Practice, product: str, event: Event) -> bool:
    """True where an event broke the product's own keep range; a silence concerns whatever is kept cold."""
    found = practice.product(product)
    if found is None or found.keep is None:
        return False
    if event.source == "gap":
        return True
    return event.limit == (found.keep.high if event.direction == "warm" else found.keep.low)


def strictest(fridge: Fridge, practice: Practice, inside: Iterable[str]) -> tuple[int, int]:
    """(low, high): the narrowest of the fridge's limits and the keep ranges of the products inside."""
    low, high = fridge.low, fridge.high
    for code in inside:
        product = practice.product(code)
        if product is not None and product.keep is not None:
            low = low if product.keep.low is None else max(low, product.keep.low)
            high = high if product.keep.high is None else min(high, product.keep.high)
    return low, high


def touched_pieces(state: LotState, place: str, event: Event, causes: set[str]) -> int:
    """Pieces of a lot that were in the fridge during the event, or are held for it all the same."""
    total = 0
    for parcel in state.parcels:
        if parcel.stood_in(place, event.start, event.end) or causes & parcel.causes.keys():
            total += parcel.quantity
    return total


def numbers(conn: Link, past: History, found: Sequence[Event]) -> list[Numbered]:
    """Ties the events of a fridge to the excursions on record."""
    rows = [(a.number, a.source, a.direction, a.limit, a.at) for a in fridges.anchors(conn, past.key)]
    return numbered(found, rows)


def within_allowance(practice: Practice, lot: LotNow, event: Event, warm: "WarmPast", now: int) -> bool:
    """True where the product's own allowance covers a warm event, counted with all the lot has had before.

    It never covers the cold side or a silence, nor what began nobody knows when; what lasts counts up to now.
    """
    product = practice.product(lot.lot.product)
    allowance = product.allowance if product else None
    if allowance is None or event.direction != "warm" or event.extreme is None or event.extreme > allowance.up_to:
        return False
    return _spent([*warm.before(lot, event), event], now) <= allowance.minutes


def _spent(warm: Sequence[Event], now: int) -> float:
    """Minutes that warm events of one lot take from its allowance; infinite where nobody knows how long one was.

    What a logger and a check by hand both tell of counts once, as the longer of the two.
    """
    logged = [(e, _at_most(e, now)) for e in warm if e.source == "logger"]
    spent = sum(minutes for _, minutes in logged)
    for e in warm:
        if e.source == "hand":
            spent += max(0.0, _at_most(e, now) - sum(m for other, m in logged if overlapping(e, other)))
    return spent


def _at_most(event: Event, now: int) -> float:
    if event.minutes_at_most is not None:
        return event.minutes_at_most
    known = event.source == "logger" or event.since_check
    return max(0.0, (now - event.start) / 60) if known and event.end is None else inf


@dataclass(frozen=True, slots=True)
class Links:
    """Events with numbers by what they may be linked to: the limit and the source."""

    by_kind: dict[tuple[int | None, str], list[Numbered]]

    def to(self, event: Event) -> list[int]:
        """Numbers of the other records of the same thing: the logger's for a check by hand and the other way round."""
        other = {"logger": "hand", "hand": "logger"}.get(event.source, "")
        found = self.by_kind.get((event.limit, other), [])
        return sorted(n.number for n in found if n.number is not None and overlapping(event, n.event))


def links(among: Sequence[Numbered]) -> Links:
    """What the events of a fridge may be linked to."""
    by_kind: dict[tuple[int | None, str], list[Numbered]] = {}
    for n in among:
        by_kind.setdefault((n.event.limit, n.event.source), []).append(n)
    return Links(by_kind)


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


def warm_past(
    conn: Link, past: History, own: Sequence[Event], lots: Sequence[LotNow], pages: Mapping[int, FridgePage]
) -> WarmPast:
    """The events of this fridge, and of every other in which a lot with an allowance stood (of those in ``pages`` without
    what was left behind).
    """
    rows = [(past.name, tuple(own))]
    allowed = [x for x in lots if any((p := s[2].product(x.lot.product)) and p.allowance for s in past.spans)]
    others = {s.place for x in allowed for p in x.state.parcels for s in p.path()} - {past.name}
    fridges_known = {f.name for s in past.spans for f in s[2].fridges}
    for name in sorted(others & fridges_known):
        key = place_key(conn, name)
        if key is not None:
            there = history(conn, name, key, lots, until=past.until, lately=pages.get(key))
            rows.append((name, tuple(events(there, lots))))
    return WarmPast(tuple(rows), past.spans)
