"""The entries themselves: who recorded what and when, and what was reversed."""

from dataclasses import dataclass

import sqlalchemy as sa

from stockroom.core.stock import FOREVER
from stockroom.store import tables as t
from stockroom.store.derived_tables import reading_span
from stockroom.store.writing import Book, live


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry of the record."""

    n: int
    kind: str
    at: int
    recorded_at: int
    by: str
    site: str
    what: str
    reversed_by: int | None


def entries(
    conn: sa.Connection, *, by: str | None = None, since: int = -FOREVER, until: int = FOREVER, only: int | None = None
) -> list[EntryRow]:
    """Entries in order, of one hand or all; ``since`` bounds when they were recorded,
    ``until`` when it happened."""
    query = (
        sa.select(t.entry, t.reversal.c.entry.label("reversed_by"))
        .outerjoin(t.reversal, t.reversal.c.reverses == t.entry.c.n)
        .where(t.entry.c.recorded_at >= since, t.entry.c.at <= until)
        .order_by(t.entry.c.n)
    )
    if by is not None:
        query = query.where(t.entry.c.by == by)
    if only is not None:
        query = query.where(t.entry.c.n == only)
    return [
        EntryRow(r.n, r.kind, r.at, r.recorded_at, r.by, r.site, r.what, r.reversed_by) for r in conn.execute(query)
    ]


_PLANNED_BY = (
    t.booking_change, t.booking, t.movement, t.hold, t.release, t.lot, t.lot_expiry, t.pull, t.promise,
    t.day_exception, t.practice_version, t.reversal,
)  # fmt: skip
"""All that the warm-up plan is made from: what is in none of these cannot change it."""


def plan_version(conn: sa.Connection, until: int) -> tuple[int, int]:
    """How many entries the warm-up plan of ``until`` may rest on, undone ones and what undid them included, and when
    the last of them was recorded. The count never falls: records are only added.
    """
    touched = sa.union(*(sa.select(table.c.entry) for table in _PLANNED_BY)).subquery()
    row = conn.execute(
        sa.select(sa.func.count(), sa.func.max(t.entry.c.recorded_at)).where(
            t.entry.c.at <= until, t.entry.c.n.in_(sa.select(touched.c.entry))
        )
    ).one()
    return int(row[0]), int(row[1] or 0)


def entry_count(conn: sa.Connection) -> int:
    """How many entries there are."""
    return int(conn.scalar(sa.select(sa.func.count()).select_from(t.entry)) or 0)


def first_hash(conn: sa.Connection) -> str:
    """The hash of the first entry: the same for a practice for ever, and in every copy of its records."""
    return str(conn.scalar(sa.select(t.entry.c.hash).order_by(t.entry.c.n).limit(1)) or "")


def reverse(book: Book, entry: int, why: str) -> None:
    """Appends that an entry counts as if it had never been. (At most once; the table is unique on it.)"""
    book.add(t.reversal, reverses=entry, why=why)


def breaches(conn: sa.Connection, entry: int | None = None) -> dict[int, list[tuple[str, str]]]:
    """Entry -> (slug, what) of every rule that what it records had broken."""
    query = sa.select(t.breach).where(live(t.breach)).order_by(t.breach.c.id)
    if entry is not None:
        query = query.where(t.breach.c.entry == entry)
    found: dict[int, list[tuple[str, str]]] = {}
    for r in conn.execute(query):
        found.setdefault(r.entry, []).append((r.slug, r.what))
    return found


def touched_lots(conn: sa.Connection, entry: int) -> set[int]:
    """Keys of the lots that an entry moved, held or released."""
    found: set[int] = set()
    for table in (t.movement, t.hold, t.release, t.pull):
        found |= {int(k) for k in conn.scalars(sa.select(table.c.lot).where(table.c.entry == entry))}
    return found


def fridges_read(conn: sa.Connection, entry: int) -> set[int]:
    """Keys of the fridges of which an entry brought readings."""
    c = reading_span.c
    return {int(f) for f in conn.scalars(sa.select(c.fridge).where(c.entry == entry))}


def touched_fridges(conn: sa.Connection, entry: int) -> set[int]:
    """Keys of the fridges whose readings, checks or stock an entry touched."""
    found = fridges_read(conn, entry)
    for table in (t.hand_check, t.fridge_duty, t.explained):
        found |= {int(k) for k in conn.scalars(sa.select(table.c.fridge).distinct().where(table.c.entry == entry))}
    for column in (t.movement.c.source, t.movement.c.target):
        query = sa.select(column).distinct().where(t.movement.c.entry == entry)
        found |= {int(k) for k in conn.scalars(query)}
    return found


def later_on_numbers(conn: sa.Connection, entry: int) -> str:
    """What a later, standing entry recorded about a kit, booking or order that this entry numbered; "" for nothing."""
    checks = (
        (t.pull, "P", t.movement, t.movement.c.source),
        (t.booking, "B", t.booking_change, t.booking_change.c.booking),
        (t.booking, "B", t.promise, t.promise.c.booking),
        (t.booking, "B", t.movement, t.movement.c.booking),
        (t.supply_order, "O", t.order_change, t.order_change.c.supply_order),
        (t.supply_order, "O", t.movement, t.movement.c.supply_order),
    )
    for table, letter, later, column in checks:
        for number in conn.scalars(sa.select(table.c.n).where(table.c.entry == entry)):
            wanted: int | None = int(number)
            if letter == "P":
                wanted = conn.scalar(sa.select(t.place.c.id).where(t.place.c.name == f"P-{number}"))
            found = conn.scalar(
                sa.select(sa.func.min(later.c.entry)).where(column == wanted, later.c.entry != entry, live(later))
            )
            if found is not None:
                return f"R-{found} is about {letter}-{number}"
    return ""
