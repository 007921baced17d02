"""Brings what is still open forward to a new page (store/open_page.py), so that years that are over cost no look.

A page is made from the one before it and from what was touched since; from everything, where there is none, or where an
entry since has turned back to what was left behind. ``page_due`` says when.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from stockroom.core.stock import FOREVER
from stockroom.store import Link, bookings, fridge_notes, fridges, ledger, orders
from stockroom.store.open_page import (
    FridgePage,
    Page,
    altered,
    fridge_pages,
    grown,
    keep_page,
    latest_moment,
    page_of,
    turned_back,
)
from stockroom.tasks.coldchain import presence
from stockroom.tasks.excursions_now import ExcursionNow
from stockroom.tasks.fridge_now import FridgeNow, first_use_of, fridge_open, missed_checks_of, past_of
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import LotNow, lots_there, stood, stood_lately


def page_anew(conn: Link, *, whole: bool = False) -> None:
    """Makes a new page in a transaction that writes; from everything with ``whole``."""
    before = None if whole else page_of(conn)
    if before is not None and turned_back(conn, before):
        before = None
    now = grown(conn, before)
    if not now.entries:
        return
    near = max(now.recorded_at, latest_moment(conn, before), 0 if before is None else before.near)
    conn.info["page"] = before
    page = _page(conn, now.entries, near)
    if page is None:
        # What waits reaches further back than the page before does.
        conn.info["page"] = None
        page = _page(conn, now.entries, near)
    assert page is not None  # without a page before there is nothing that it could fall short of
    keep_page(conn, page)


@dataclass(frozen=True, slots=True)
class _Seen:
    """One fridge: its key, how it stands, the lots that stood in it, and what was open about it before."""

    key: int
    now: FridgeNow
    lots: Sequence[LotNow]
    before: FridgePage | None


def _page(conn: Link, number: int, near: int) -> Page | None:
    rule = rules(conn, near)
    pages = fridge_pages(conn, near)
    keys = {f.name: key for f in rule.practice.fridges if (key := ledger.place_key(conn, f.name)) is not None}
    seen = []
    for name, key in keys.items():
        before = pages.get(key)
        lots = stood(conn, name, near) if before is None else stood_lately(conn, name, near, before.lots)
        seen.append(_Seen(key, fridge_open(conn, rule, name, near), lots, before))
    living = {*lots_there(conn, near), *_touched(seen)}
    made = Page(
        number, near, frozenset(living), frozenset(), ledger.last_lot(conn),
        frozenset(bookings.bookings(conn, near, standing=True)),
        frozenset(o.number for o in orders.open_orders(conn, near)), {},
    )  # fmt: skip
    fridge: dict[int, FridgePage] = {}
    cut: set[int] = set()
    for one in seen:
        since = _since(one, made)
        if one.before is not None and since < one.before.since:
            return None
        fridge[one.key] = _fridge_page(conn, rule, one, since, made)
        cut |= {x.lot.key for x in one.lots if _first(x) < since}
    stayed = living.union(*(f.lots for f in fridge.values()))
    return replace(made, whole=frozenset(living | (stayed - cut)), fridges=fridge)


def _first(x: LotNow) -> int:
    return min((m.at for m in x.records.movements), default=FOREVER)


def _touched(seen: Sequence[_Seen]) -> set[int]:
    """Keys of the lots that an excursion which waits has touched."""
    named = {(p, code) for one in seen for e in one.now.excursions if _waits(e) for p, code, _ in e.lots}
    return {x.lot.key for one in seen for x in one.lots if (x.lot.product, x.lot.code) in named}


def _waits(e: ExcursionNow) -> bool:
    return e.open or e.lasts or e.held > 0 or e.elsewhere > 0


def _since(one: _Seen, page: Page) -> int:
    """The instant before which nothing about a fridge waits: no excursion, nothing in the life of a lot that lives, and in
    the middle of nothing.
    """
    begun = [_first(x) for x in one.lots if x.lot.key in page.living]
    for e in one.now.excursions:
        if _waits(e):
            begun += [e.anchor_at, *([] if e.event is None else [e.event.start, e.event.first_out])]
    since = min([page.far, *begun])
    spans = [(e.event.start, e.event.end) for e in one.now.excursions if e.event is not None]
    for start, end in sorted(spans, key=lambda span: -span[0]):
        if start < since <= (FOREVER if end is None else end):
            since = start
    return since


def _fridge_page(conn: Link, rule: Rules, one: _Seen, since: int, page: Page) -> FridgePage:
    fridge, before = one.now.fridge, one.before
    begin = -FOREVER if before is None else before.since
    checks = fridges.hand_checks(conn, one.key, fridge.name, page.near, begin)
    use, stock = first_use_of(one.lots, checks, fridge.name), presence(one.lots, fridge.name).first
    if before is not None:
        use, stock = min(use, before.first_use), min(stock, before.first_stock)
    opening = rule.opening(fridge.site)
    day = opening.day(page.far) + timedelta(days=1)
    past = replace(past_of(conn, fridge.name, one.key, page.near), explained=frozenset[date]())
    switches = fridge_notes.switches(conn, one.key, page.near)
    missed = missed_checks_of(past, switches, [c.at for c in checks], page.near, use, before)
    kept = tuple((d.isoformat(), check) for d, check in missed if d < day)
    stayed = {x.lot.key for x in one.lots if _stood_since(x, fridge.name, since)} - page.living
    return FridgePage(since, frozenset(stayed), use, stock, day.isoformat(), kept)


def _stood_since(x: LotNow, place: str, since: int) -> bool:
    stays = (s for p in x.state.parcels for s in p.path() if s.place == place)
    return any(s.end is None or s.end >= since for s in stays)


def disagreements(conn: Link) -> list[str]:
    """Where the page does not answer as everything that was ever recorded would, in words."""
    if altered(conn):
        return ["what is open is not kept as it was brought forward"]
    page = page_of(conn)
    if page is None:
        return []
    at = max(page.near, grown(conn, page).recorded_at)
    kept = _open_things(conn, at)
    conn.info.clear()
    conn.info["page"] = None  # as if there were none
    everything = _open_things(conn, at)
    conn.info.clear()
    return [
        f"{what}: what is kept as open is not what is open" for what, found in everything.items() if found != kept[what]
    ]


def _open_things(conn: Link, at: int) -> dict[str, object]:
    """What is open, by what it is called."""
    rule = rules(conn, at)
    found: dict[str, object] = {
        "lots": set(lots_there(conn, at)),
        "bookings": set(bookings.bookings(conn, at, standing=True)),
        "orders": {o.number for o in orders.open_orders(conn, at)},
    }
    for fridge in rule.practice.fridges:
        now = fridge_open(conn, rule, fridge.name, at)
        waiting = [e for e in now.excursions if _waits(e)]
        found[fridge.name] = (waiting, now.missed, now.last, now.silent, now.pieces, now.off)
    return found
