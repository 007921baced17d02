"""The excursions of a fridge as they stand at an instant: what each touched, what is held, who decided."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stockroom.core.excursions import Event, Numbered, overlapping
from stockroom.core.stock import FOREVER
from stockroom.errors import Refused
from stockroom.store import Link, fridges, ledger
from stockroom.store.fridges import Decision
from stockroom.store.open_page import FridgePage
from stockroom.tasks.coldchain import (
    History,
    Links,
    WarmPast,
    events,
    history,
    links,
    numbers,
    own_line,
    touched_pieces,
    unsupported_pieces,
    warm_past,
    within_allowance,
)
from stockroom.tasks.rules import practice_at
from stockroom.tasks.shelves import LotNow, stood


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
    elsewhere: int = 0
    """Pieces that are held for it although a later entry shows that they were elsewhere."""

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


def excursions(conn: Link, name: str, key: int, until: int = FOREVER, now: int | None = None) -> list[ExcursionNow]:
    """Every excursion of a fridge as it stood at ``until``, in order of time."""
    lots = stood(conn, name, until)
    return excursions_of(conn, history(conn, name, key, lots, until=until), lots, until if now is None else now)


def excursions_of(
    conn: Link, past: History, lots: Sequence[LotNow], now: int, pages: Mapping[int, FridgePage] | None = None
) -> list[ExcursionNow]:
    """Every excursion in what is known of a fridge; ``lots`` are those that ever stood in it.

    With ``pages``, those of all fridges, of what was over before the fridge's own nothing is looked for.
    """
    seen = events(past, lots)
    found = numbers(conn, past, seen)
    whole = found
    if fridges.anything_after(conn, past.key, past.until):
        everything = stood(conn, past.name)
        full = history(conn, past.name, past.key, everything)
        whole = numbers(conn, full, events(full, everything))
        # The reading that gave an excursion its number may lie after ``until``: the number holds all the same.
        found = [n if n.number is not None else _numbered_later(n, whole) for n in found]
    decisions = fridges.decisions(conn, past.until)
    warm = warm_past(conn, past, seen, lots, pages or {})
    shelf, among = _Shelf(past.name, lots), links(found)
    out = [
        _excursion(past, n, shelf, among, warm, decisions.get(n.number or 0, []), now)
        for n in found
        if n.number is not None
    ]
    return out + _unsupported(
        conn, past, lots, decisions, {m for n in (*found, *whole) for m in (n.number, *n.others) if m}
    )


class _Shelf:
    """The lots that ever stood in a fridge, found by when they did and by what they were ever held for."""

    def __init__(self, place: str, lots: Sequence[LotNow]) -> None:
        self.hulls = []
        self.by_cause: dict[str, list[LotNow]] = {}
        for x in lots:
            stays = [s for p in x.state.parcels for s in p.path() if s.place == place]
            ends = [FOREVER if s.end is None else s.end for s in stays]
            self.hulls.append((min(s.start for s in stays), max(ends), x))
            for cause in {c for p in x.state.parcels for c in p.ever}:
                self.by_cause.setdefault(cause, []).append(x)

    def near(self, event: Event, causes: set[str]) -> list[LotNow]:
        """The lots that an event may have touched, or that were ever held for it."""
        end = FOREVER if event.end is None else event.end
        held = {x.lot.key for x in self.bearing(causes)}
        return [x for first, last, x in self.hulls if (first <= end and last > event.start) or x.lot.key in held]

    def bearing(self, causes: set[str]) -> list[LotNow]:
        """The lots of which any piece was ever held for one of the causes."""
        return list({x.lot.key: x for c in causes for x in self.by_cause.get(c, [])}.values())


def _numbered_later(n: Numbered, whole: Sequence[Numbered]) -> Numbered:
    for w in whole:
        same = (w.event.source, w.event.direction, w.event.limit) == (n.event.source, n.event.direction, n.event.limit)
        if same and w.event.first_out <= n.event.first_out <= w.event.last_out:
            return Numbered(n.event, w.number, w.others)
    return n


def _excursion(
    past: History,
    n: Numbered,
    shelf: _Shelf,
    among: Links,
    warm: WarmPast,
    made: Sequence[Decision],
    now: int,
) -> ExcursionNow:
    event, number = n.event, n.number or 0
    causes = {f"E-{m}" for m in (number, *n.others)}
    practice = practice_at(past.spans, event.start)
    touched: list[tuple[str, str, int]] = []
    covered = True
    for x in shelf.near(event, causes):
        own = own_line(practice, x.lot.product, event)
        pieces = touched_pieces(x.state, past.name, event, causes) if own else _ever(x, causes)
        if not pieces:
            continue
        touched.append((x.lot.product, x.lot.code, pieces))
        covered = covered and within_allowance(practice, x, event, warm, now)
    bearing = shelf.bearing(causes)
    held = sum(p.quantity for x in bearing for p in x.state.inside() if causes & p.causes.keys())
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
        tuple(among.to(event)),
        n.others,
        sum(unsupported_pieces(x.state, past.name, event, causes) for x in bearing),
    )


def _ever(lot: LotNow, causes: set[str]) -> int:
    return sum(p.quantity for p in lot.state.parcels if causes & p.ever.keys())


def _unsupported(
    conn: Link, past: History, lots: Sequence[LotNow], decisions: Mapping[int, Sequence[Decision]], known: set[int]
) -> list[ExcursionNow]:
    """Excursions that no reading supports any more, but for which pieces are held or a person decided: they stay."""
    out = []
    for a in fridges.anchors(conn, past.key):
        if a.number in known or a.at > past.until or (past.lately is not None and a.at < past.lately.since):
            continue
        cause = f"E-{a.number}"
        held = sum(p.quantity for x in lots for p in x.state.inside() if cause in p.causes)
        touched = tuple((x.lot.product, x.lot.code, q) for x in lots if (q := _ever(x, {cause})))
        made = decisions.get(a.number, [])
        if held or made:
            out.append(
                ExcursionNow(
                    a.number, past.name, None, a.at, a.source, a.direction, a.limit, touched, held,
                    False, bool(made) and not held, False, made[-1] if made else None, (), (),
                )
            )  # fmt: skip
    return out


def excursion_named(conn: Link, number: int, until: int = FOREVER) -> ExcursionNow:
    """An excursion by its number, or a higher number of the same one, as it stood at ``until``. Raises: Refused."""
    name = fridges.fridge_of_excursion(conn, number)
    key = None if name is None else ledger.place_key(conn, name)
    if name is not None and key is not None:
        for e in excursions(conn, name, key, until):
            if number == e.number or number in e.others:
                return e
        raise Refused(
            "nothing-held", f"E-{number} has no reading and no held stock any more", "there is nothing to decide"
        )
    raise Refused("unknown-excursion", f"there is no excursion E-{number}", "see: stockroom fridge check")


def same_event(conn: Link, number: int) -> list[ExcursionNow]:
    """An excursion and the other records of the same event in its fridge, itself first. Raises: Refused.

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
    for together in _at_one_time([e for e in found if e.open]):
        firsts: list[tuple[ExcursionNow, list[str]]] = []
        for e in sorted(together, key=lambda e: (-len(e.lots), -e.held, e.source != "logger", e.number)):
            lots = {(p, x) for p, x, _ in e.lots}
            for first, others in firsts:
                if first.event is None or e.event is None or "gap" in (first.source, e.source):
                    continue
                if overlapping(first.event, e.event) and lots <= {(p, x) for p, x, _ in first.lots}:
                    others.append(f"E-{e.number}")
                    break
            else:
                firsts.append((e, []))
        out += firsts
    return sorted(out, key=lambda pair: pair[0].number)


def _at_one_time(found: Sequence[ExcursionNow]) -> list[list[ExcursionNow]]:
    """Excursions that share time, directly or through others, together: only among them can one event be two."""
    groups: list[list[ExcursionNow]] = []
    reached = -FOREVER
    for e in sorted(found, key=lambda e: e.anchor_at if e.event is None else e.event.start):
        start = e.anchor_at if e.event is None else e.event.start
        end = e.anchor_at if e.event is None else FOREVER if e.event.end is None else e.event.end
        if groups and start <= reached:
            groups[-1].append(e)
        else:
            groups.append([e])
        reached = max(reached, end)
    return groups


TOLD = 5
"""Events that are told in full at a time: those that last, those for which stock is held, then the newest."""


def foremost(
    pairs: Sequence[tuple[ExcursionNow, list[str]]],
) -> tuple[list[tuple[ExcursionNow, list[str]]], list[ExcursionNow]]:
    """(the events to tell of now, by number; the others that wait, newest first)."""
    ranked = sorted(
        pairs,
        key=lambda p: (not p[0].lasts, not p[0].held, -(p[0].anchor_at if p[0].event is None else p[0].event.start)),
    )
    return sorted(ranked[:TOLD], key=lambda p: p[0].number), [e for e, _ in ranked[TOLD:]]
