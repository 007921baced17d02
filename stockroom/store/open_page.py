"""What is still open, brought forward to a new page as in any ledger: nobody has to turn back through what is over.

The page names the lots, bookings, orders and fridge matters that were not over when it was written, at entry ``entries``.
Whoever looks takes these, and whatever an entry since has touched. It is no record: it may be dropped and made anew
(``tasks.bring_forward``), and without it, or where it cannot be used, everything is read.
"""

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from stockroom.core.stock import FOREVER
from stockroom.store import tables as t
from stockroom.store.derived_tables import open_page, reading_span
from stockroom.store.once import once

DAY = 86_400
BACK_DAYS = 35
"""So long before the page was written nothing about a fridge is given up: loggers are read out weekly, a late one monthly."""
GRACE = 2 * DAY
"""What an entry since says of a time before ``far`` and this much after it turns back to what is over: read everything."""
MOST_NAMED = 30_000
"""Keys that one statement names; SQLite takes some 32,000."""


@dataclass(frozen=True, slots=True)
class FridgePage:
    """What was open about one fridge. ``since``: nothing that ended before it waits for anybody; ``lots`` are over but stood
    in it since; ``first_use`` and ``first_stock``: when it was first checked or filled, and first filled; ``missed``: (ISO
    day, check) of every check that was missed before ``day``, explained or not.
    """

    since: int
    lots: frozenset[int]
    first_use: int
    first_stock: int
    day: str
    missed: tuple[tuple[str, str], ...]

    def began(self, at: int) -> bool:
        """True where it was first used at an instant or later."""
        return any(at <= first < FOREVER for first in (self.first_use, self.first_stock))


@dataclass(frozen=True, slots=True)
class Page:
    """What was open at entry ``entries``, for every instant from ``near`` on.

    ``living`` are the lots that have pieces in the practice, are owed any, or were touched by an excursion that waits;
    ``whole`` those of which nothing was left behind: all of their life in any fridge is after its ``since``. ``last_lot`` is
    the highest key that there was.
    """

    entries: int
    near: int
    living: frozenset[int]
    whole: frozenset[int]
    last_lot: int
    bookings: frozenset[int]
    orders: frozenset[int]
    fridges: Mapping[int, FridgePage]

    @property
    def far(self) -> int:
        """The instant before which what is over about fridges was left behind."""
        return self.near - BACK_DAYS * DAY

    @property
    def late(self) -> int:
        """What is said since of a time before this turns back to what was left behind."""
        return self.far + GRACE


def page_of(conn: sa.Connection) -> Page | None:
    """The page, read once per connection; None where there is none, or where another program has altered it."""
    if "page" not in conn.info:
        conn.info["page"] = _read(conn)
    page: Page | None = conn.info["page"]
    return page


def page_from(conn: sa.Connection, until: int) -> Page | None:
    """The page where it answers for an instant."""
    page = page_of(conn)
    return page if page is not None and until >= page.near else None


def fridge_pages(conn: sa.Connection, until: int) -> Mapping[int, FridgePage]:
    """Key of a fridge -> what was open about it; of none where an entry since has turned back to what was left behind, or
    where there is no page for that instant.
    """
    page = page_from(conn, until)
    if page is None or once(conn, "turned back", lambda: turned_back(conn, page)):
        return {}
    return page.fridges


def _read(conn: sa.Connection) -> Page | None:
    row = conn.execute(sa.select(open_page.c.body, open_page.c.hash)).first()
    if row is None or _hash(str(row[0])) != row[1]:
        return None
    found = json.loads(row[0])
    fridges = {
        int(key): FridgePage(since, frozenset(lots), use, stock, day, tuple((d, c) for d, c in missed))
        for key, (since, lots, use, stock, day, missed) in found["fridges"].items()
    }
    sets = {name: frozenset(found[name]) for name in _SETS}
    return Page(found["entries"], found["near"], last_lot=found["last_lot"], fridges=fridges, **sets)


_SETS = ("living", "whole", "bookings", "orders")


def altered(conn: sa.Connection) -> bool:
    """True where the page is not as the program wrote it."""
    rows = conn.execute(sa.select(open_page.c.id, open_page.c.body, open_page.c.hash)).fetchall()
    return any(key != 1 or _hash(str(body)) != hash_ for key, body, hash_ in rows) or len(rows) > 1


def _hash(body: str) -> str:
    return hashlib.sha256(body.encode("utf-8")).hexdigest()


def keep_page(conn: sa.Connection, page: Page) -> None:
    """Keeps a page instead of the one before."""
    fridges = {
        str(key): [f.since, sorted(f.lots), f.first_use, f.first_stock, f.day, f.missed]
        for key, f in sorted(page.fridges.items())
    }
    rest = {name: sorted(getattr(page, name)) for name in _SETS}
    whole = {"entries": page.entries, "near": page.near, "last_lot": page.last_lot, **rest, "fridges": fridges}
    body = json.dumps(whole, separators=(",", ":"))
    conn.execute(sa.delete(open_page))
    conn.execute(open_page.insert(), [{"id": 1, "body": body, "hash": _hash(body)}])
    conn.info.pop("page", None)


def since(page: Page, column: Any) -> Any:
    """True for rows of entries that are newer than the page, and of those that these have reversed."""
    gone = sa.select(t.reversal.c.reverses).where(t.reversal.c.entry > page.entries)
    return sa.or_(column > page.entries, column.in_(gone))


def lots_since(conn: sa.Connection, page: Page) -> set[int]:
    """Keys of the lots that entries since the page have moved, held, released or freed."""
    rows = (
        sa.select(table.c.lot).where(since(page, table.c.entry)) for table in (t.movement, t.hold, t.release, t.pull)
    )
    return {int(k) for k in conn.scalars(sa.union(*rows))}


def bookings_open(conn: sa.Connection, page: Page) -> Collection[int] | None:
    """Numbers of the bookings that may still stand; None where there are more than a statement can name."""
    rows = sa.select(t.booking_change.c.booking).where(since(page, t.booking_change.c.entry))
    found = page.bookings | {int(n) for n in conn.scalars(rows)}
    return found if len(found) <= MOST_NAMED else None


def orders_open(conn: sa.Connection, page: Page) -> Collection[int] | None:
    """Numbers of the orders that may still be open; None where there are more than a statement can name."""
    m = t.movement.c
    rows = sa.union(
        sa.select(t.supply_order.c.n).where(since(page, t.supply_order.c.entry)),
        sa.select(t.order_change.c.supply_order).where(since(page, t.order_change.c.entry)),
        sa.select(t.order_line.c.supply_order).where(since(page, t.order_line.c.entry)),
        sa.select(m.supply_order).where(since(page, m.entry), m.supply_order.is_not(None)),
    )
    found = page.orders | {int(n) for n in conn.scalars(rows)}
    return found if len(found) <= MOST_NAMED else None


def turned_back(conn: sa.Connection, page: Page) -> bool:
    """True where an entry since the page may have changed what was left behind about fridges: late data, other rules, a
    lot that was over.
    """
    limit, day = page.late, _day_after(page.late)
    timed = (t.movement, t.hold, t.release, t.hand_check, t.fridge_duty)
    asked = [sa.select(x.c.entry).where(since(page, x.c.entry), x.c.at < limit).limit(1) for x in timed]
    spans, decided = reading_span.c, t.decision.c
    undone = sa.select(t.reversal.c.reverses).where(t.reversal.c.entry > page.entries)
    asked += [
        sa.select(spans.entry).where(since(page, spans.entry), spans.first_at < limit).limit(1),
        sa.select(t.practice_version.c.entry).where(since(page, t.practice_version.c.entry)).limit(1),
        sa.select(t.day_exception.c.entry)
        .where(since(page, t.day_exception.c.entry), t.day_exception.c.day <= day)
        .limit(1),
        sa.select(decided.entry).where(decided.entry <= page.entries, decided.entry.in_(undone)).limit(1),
    ]
    if any(f.began(limit) for f in page.fridges.values()):
        # What first filled or checked a fridge may be undone: then another did.
        asked.append(undone.where(t.reversal.c.reverses <= page.entries).limit(1))
    if any(conn.scalar(query) is not None for query in asked):
        return True
    return any(key <= page.last_lot and key not in page.whole for key in lots_since(conn, page))


def said_later(conn: sa.Connection, until: int) -> bool:
    """False where nothing is on record about any fridge for a time after ``until``, True where that is not known.

    What the page knows of lies before ``near``, and that before ``until``.
    """
    page = page_from(conn, until)
    if page is None:
        return True
    checks, spans = t.hand_check.c, reading_span.c
    later = (
        sa.select(checks.entry).where(since(page, checks.entry), checks.at > until),
        sa.select(spans.entry).where(since(page, spans.entry), spans.last_at > until),
    )
    return any(conn.scalar(query.limit(1)) is not None for query in later)


def _day_after(at: int) -> str:
    """The ISO day that is over by an instant's next day in every time zone."""
    from datetime import UTC, datetime, timedelta

    return (datetime.fromtimestamp(at, UTC).date() + timedelta(days=1)).isoformat()


@dataclass(frozen=True, slots=True)
class Grown:
    """The newest entry: its number and when it was recorded; and how many readings came since the page."""

    entries: int
    recorded_at: int
    readings: int


def grown(conn: sa.Connection, page: Page | None) -> Grown:
    """How far the record has gone since a page."""
    e = t.entry.c
    n, recorded = conn.execute(sa.select(e.n, e.recorded_at).order_by(e.n.desc()).limit(1)).first() or (0, 0)
    after = 0 if page is None else page.entries
    came = conn.scalar(sa.select(sa.func.sum(reading_span.c.readings)).where(reading_span.c.entry > after))
    return Grown(int(n), int(recorded), int(came or 0))


def latest_moment(conn: sa.Connection, page: Page | None) -> int:
    """The latest instant of which an entry since a page says anything: a person's clock may be five minutes ahead."""
    found = []
    timed = (
        t.movement, t.hold, t.release, t.pull, t.promise, t.booking_change, t.supply_order, t.order_change, t.hand_check,
        t.decision, t.fridge_duty, t.explained,
    )  # fmt: skip
    for table in timed:
        query = sa.select(sa.func.max(table.c.at))
        found.append(conn.scalar(query if page is None else query.where(since(page, table.c.entry))))
    spans = sa.select(sa.func.max(reading_span.c.last_at))
    found.append(conn.scalar(spans if page is None else spans.where(since(page, reading_span.c.entry))))
    return max((int(at) for at in found if at is not None), default=0)
