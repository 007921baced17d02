"""A fridge as it stands at an instant: last reading, missed checks, gaps, excursions, drift, calibration."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from stockroom.core.checks import StaffedDay, missed_checks
from stockroom.core.drift import Drift, drift
from stockroom.core.excursions import Event, Ints, Numbered, overlapping, silences
from stockroom.core.opening import Opening
from stockroom.core.practice import Fridge
from stockroom.core.records import HandCheck
from stockroom.core.spells import Gap, silence
from stockroom.core.stock import FOREVER
from stockroom.errors import Refused
from stockroom.store import Link, fridges, ledger
from stockroom.store.fridges import Decision
from stockroom.tasks.coldchain import (
    History,
    events,
    history,
    linked,
    numbers,
    own_line,
    practice_at,
    strictest,
    touched_pieces,
    within_allowance,
)
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import LotNow, lots_now

DRIFT_DAYS = 60


@dataclass(frozen=True, slots=True)
class ExcursionNow:
    """An excursion with what it touched and what was decided. ``event`` None: no reading supports it any more."""

    number: int
    fridge: str
    event: Event | None
    anchor_at: int
    source: str
    direction: str | None
    limit: int | None
    lots: tuple[tuple[str, str, int], ...]
    held: int
    """Pieces in the practice that are still held for it."""
    within: bool
    decided: bool
    reopened: bool
    decision: Decision | None
    linked: tuple[int, ...]
    others: tuple[int, ...]

    @property
    def open(self) -> bool:
        """True while it waits for a person."""
        return not self.decided and not self.within

    @property
    def figures(self) -> str:
        """The figures that a decision is taken on, as text that compares."""
        return "" if self.event is None else self.event.figures()

    @property
    def lasts(self) -> bool:
        """True while the readings are still out of range."""
        return self.event is not None and self.event.end is None


@dataclass(frozen=True, slots=True)
class FridgeNow:
    """One fridge at an instant. ``attention`` counts what nobody has answered yet."""

    fridge: Fridge
    last: tuple[int, int] | None
    missed: tuple[tuple[date, str], ...]
    gaps: tuple[Gap, ...]
    excursions: tuple[ExcursionNow, ...]
    drift: Drift | None
    calibration_overdue: bool
    silent: Gap | None
    """The silence that lasts and that no check by hand has answered today."""
    pieces: int
    off: bool
    checks_today: tuple[int, ...] = ()

    @property
    def attention(self) -> int:
        """How many things about it wait for a person."""
        return (
            sum(e.open for e in self.excursions)
            + len(self.missed)
            + (self.silent is not None)
            + self.calibration_overdue
        )


def excursions(conn: Link, name: str, key: int, until: int = FOREVER, now: int | None = None) -> list[ExcursionNow]:
    """Every excursion of a fridge as it stood at ``until``, in order of time."""
    lots = list(lots_now(conn, until).values())
    stood = _stood(lots, name)
    past = history(conn, name, key, stood, until=until)
    found = numbers(conn, past, events(past, stood))
    decisions = fridges.decisions(conn, until)
    out = [
        _excursion(past, n, stood, found, decisions.get(n.number or 0, []), until if now is None else now)
        for n in found
        if n.number is not None
    ]
    return out + _unsupported(conn, past, stood, {m for n in found for m in (n.number, *n.others) if m})


def _stood(lots: Sequence[LotNow], name: str) -> list[LotNow]:
    return [x for x in lots if any(s.place == name for p in x.state.parcels for s in p.path())]


def _excursion(
    past: History, n: Numbered, lots: Sequence[LotNow], among: Sequence[Numbered], made: Sequence[Decision], now: int
) -> ExcursionNow:
    event, number = n.event, n.number or 0
    causes = {f"E-{m}" for m in (number, *n.others)}
    practice = practice_at(past.spans, event.start)
    touched: list[tuple[str, str, int]] = []
    covered = True
    for x in lots:
        own = own_line(practice, x.lot.product, event)
        pieces = touched_pieces(x.state, past.name, event, causes) if own else _ever(x, causes)
        if not pieces:
            continue
        touched.append((x.lot.product, x.lot.code, pieces))
        covered = covered and within_allowance(practice, x, event, _earlier(x, event, among, past), now)
    held = sum(p.quantity for x in lots for p in x.state.inside() if causes & set(p.causes))
    last = made[-1] if made else None
    same = last is not None and last.figures == event.figures()
    return ExcursionNow(
        number,
        past.name,
        event,
        event.first_out,
        event.source,
        event.direction,
        event.limit,
        tuple(touched),
        held,
        bool(touched) and covered and not held,
        same and not held,
        last is not None and not same,
        last,
        tuple(linked(event, among)),
        n.others,
    )


def _ever(lot: LotNow, causes: set[str]) -> int:
    return sum(p.quantity for p in lot.state.parcels if causes & p.ever)


def _earlier(lot: LotNow, event: Event, among: Sequence[Numbered], past: History) -> list[Event]:
    rule = practice_at(past.spans, event.start)
    return [
        n.event
        for n in among
        if n.event is not event
        and n.event.direction == "warm"
        and n.event.start <= event.start
        and own_line(rule, lot.lot.product, n.event)
        and touched_pieces(lot.state, past.name, n.event, set())
    ]


def _unsupported(conn: Link, past: History, lots: Sequence[LotNow], known: set[int]) -> list[ExcursionNow]:
    """Excursions that no reading supports any more, but for which pieces are still held: they never clear themselves."""
    out = []
    for a in fridges.anchors(conn, past.key):
        if a.number in known or a.at > past.until:
            continue
        cause = f"E-{a.number}"
        held = sum(p.quantity for x in lots for p in x.state.inside() if cause in p.causes)
        touched = tuple((x.lot.product, x.lot.code, q) for x in lots if (q := _ever(x, {cause})))
        if held:
            out.append(
                ExcursionNow(
                    a.number, past.name, None, a.at, a.source, a.direction, a.limit, touched, held,
                    False, False, False, None, (), (),
                )
            )  # fmt: skip
    return out


def excursion_named(conn: Link, number: int) -> ExcursionNow:
    """An excursion by its number, or a higher number of the same one. Raises: Refused."""
    name = fridges.fridge_of_excursion(conn, number)
    key = None if name is None else ledger.place_key(conn, name)
    if name is not None and key is not None:
        for e in excursions(conn, name, key):
            if number == e.number or number in e.others:
                return e
        raise Refused(
            "nothing-held", f"E-{number} has no reading and no held stock any more", "there is nothing to decide"
        )
    raise Refused("unknown-excursion", f"there is no excursion E-{number}", "see: stockroom fridge check")


def same_event(conn: Link, number: int) -> list[ExcursionNow]:
    """An excursion and the other records of the same event in its fridge, itself first.

    The same event: on the same side, at an overlapping time, on another line or by the other source, with no stock
    touched that the named one did not touch. A decision on one is a decision on all of them.
    """
    named = excursion_named(conn, number)
    key = ledger.place_key(conn, named.fridge)
    if key is None or named.event is None or named.source == "gap":
        return [named]
    mine = {(p, x) for p, x, _ in named.lots}
    others = [
        e
        for e in excursions(conn, named.fridge, key)
        if e.number != named.number
        and e.event is not None
        and e.source != "gap"
        and overlapping(e.event, named.event)
        and {(p, x) for p, x, _ in e.lots} <= mine
    ]
    return [named, *others]


def events_to_decide(found: Sequence[ExcursionNow]) -> list[tuple[ExcursionNow, list[str]]]:
    """Open excursions, those that are one event together: (the one that touched most, the numbers of the others)."""
    out: list[tuple[ExcursionNow, list[str]]] = []
    for e in sorted(
        (e for e in found if e.open), key=lambda e: (-len(e.lots), -e.held, e.source != "logger", e.number)
    ):
        lots = {(p, x) for p, x, _ in e.lots}
        for first, others in out:
            if first.event is None or e.event is None or "gap" in (first.source, e.source):
                continue
            if overlapping(first.event, e.event) and lots <= {(p, x) for p, x, _ in first.lots}:
                others.append(f"E-{e.number}")
                break
        else:
            out.append((e, []))
    return sorted(out, key=lambda pair: pair[0].number)


def fridge_now(conn: Link, rule: Rules, name: str, until: int, since: int | None) -> FridgeNow:
    """One fridge as it stood at ``until``; only what reached past ``since``, where that is given."""
    fridge = rule.practice.fridge(name)
    if fridge is None:
        raise Refused("unknown-fridge", f'there is no fridge "{name}"', "see: stockroom practice show")
    key = ledger.place_key(conn, name)
    opening = rule.opening(fridge.site)
    today = opening.day(until)
    overdue = fridge.calibration_due is not None and today > fridge.calibration_due
    if key is None:
        return FridgeNow(fridge, None, (), (), (), None, overdue, None, 0, False)
    lots = list(lots_now(conn, until).values())
    checks = fridges.hand_checks(conn, key, name, until)
    at, milli = fridges.series(conn, key, end=until)
    off = _off(conn, key, until)
    found = excursions(conn, name, key, until)
    holes, silent = _silences(fridge, at, [c.at for c in checks], opening, until, off)
    missed = _missed(conn, fridge, key, [c.at for c in checks], opening, until, _first_use(lots, checks, name))
    seen = [(int(at[-1]), int(milli[-1]))] if len(at) else []
    seen += [(c.at, c.milli) for c in checks[-1:]]
    floor = -FOREVER if since is None else since
    return FridgeNow(
        fridge,
        max(seen, default=None),
        tuple(m for m in missed if opening.midnight(m[0]) >= floor),
        tuple(g for g in holes if g.end is None or g.end >= floor),
        tuple(e for e in found if e.open or e.event is None or e.event.end is None or e.event.end >= floor),
        _drift(at, milli, opening, today),
        overdue,
        silent,
        sum(x.state.quantity(name) for x in lots),
        off,
        tuple(c.at for c in checks if opening.day(c.at) == today),
    )


def _off(conn: Link, key: int, until: int) -> bool:
    switches = fridges.duty(conn, key, until)
    return bool(switches) and not switches[-1][1]


def in_use(conn: Link, name: str, at: int) -> bool:
    """True where a fridge is not switched off."""
    key = ledger.place_key(conn, name)
    return key is None or not _off(conn, key, at)


def _first_use(lots: Sequence[LotNow], checks: Sequence[HandCheck], name: str) -> int:
    """Since when a fridge is in use: its first check by hand or the first stock in it."""
    stays = [s.start for x in lots for p in x.state.parcels for s in p.path() if s.place == name]
    made = [c.at for c in checks]
    return min([*stays, *made], default=FOREVER)


def _silences(
    fridge: Fridge, at: Ints, checks: Sequence[int], opening: Opening, until: int,
    off: bool,
) -> tuple[list[Gap], Gap | None]:  # fmt: skip
    """(every silence, the one that lasts and asks for a check by hand)."""
    holes = silences(at, fridge)
    if fridge.logger_minutes is None or not len(at):
        return holes, None
    lasting = silence(int(at[-1]), until, fridge.max_gap_minutes * 60)
    if lasting is None:
        return holes, None
    answered = any(c > lasting.start and c >= opening.midnight(opening.day(until)) for c in checks)
    return [*holes, lasting], None if answered or off else lasting


def _missed(
    conn: Link, fridge: Fridge, key: int, checks: Sequence[int], opening: Opening, until: int, first: int
) -> list[tuple[date, str]]:
    if first > until or fridge.checks == "logger":
        return []
    explained = {date.fromisoformat(d) for d in fridges.explanations(conn, key, until)}
    switches = fridges.duty(conn, key, until)
    day, last = opening.day(first), opening.day(until)
    days = []
    while day <= last:
        spans = opening.day_spans(day)
        if spans and day not in explained and _on(switches, spans[0][0], spans[-1][1]):
            nxt = opening.midnight(day + timedelta(days=1))
            days.append(StaffedDay(day, opening.midnight(day), spans[0][0], spans[-1][1], nxt))
        day += timedelta(days=1)
    kind = fridge.checks
    return list(missed_checks(kind, days, checks, until, frozenset(), opening.midnight(opening.day(first))))  # type: ignore[arg-type]


def _on(switches: Sequence[tuple[int, bool]], start: int, end: int) -> bool:
    """True where the fridge was in use all the time between two instants."""
    before = [on for when, on in switches if when <= start]
    return (not before or before[-1]) and all(on for when, on in switches if start < when <= end)


def _drift(
    at: Ints, milli: Ints, opening: Opening,
    today: date,
) -> Drift | None:  # fmt: skip
    means = []
    for back in range(DRIFT_DAYS, 0, -1):
        day = today - timedelta(days=back)
        a, b = np.searchsorted(at, [opening.midnight(day), opening.midnight(day + timedelta(days=1))])
        if b > a:
            means.append((day, float(milli[a:b].mean()) / 1000))
    return drift(means, today)


@dataclass(frozen=True, slots=True)
class FridgeReport:
    """What ``fridge check`` answers."""

    as_of: int
    fridges: tuple[FridgeNow, ...]

    @property
    def attention(self) -> int:
        """How many things wait for a person."""
        return sum(f.attention for f in self.fridges)


def check(
    conn: Link, as_of: int, *, fridge: str | None = None, since: int | None = None, site: str | None = None
) -> FridgeReport:
    """Every fridge of the practice (or site), or the one named, as of an instant."""
    rule = rules(conn, as_of)
    sites = rule.sites(site)
    names = [f.name for f in rule.practice.fridges if f.site in sites and fridge in (None, f.name)]
    return FridgeReport(as_of, tuple(fridge_now(conn, rule, n, as_of, since) for n in names))


def limits_inside(conn: Link, rule: Rules, fridge: Fridge, at: int) -> tuple[int, int]:
    """(low, high): the strictest limits of a fridge and of what stands in it at an instant."""
    inside = [x for x in lots_now(conn, at).values() if x.state.quantity(fridge.name)]
    return strictest(fridge, rule.practice, inside)
