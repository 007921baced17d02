"""Bookings: each is the latest of its changes; their outside ids; what became of them."""

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from stockroom.core.stock import FOREVER
from stockroom.store import tables as t
from stockroom.store.once import once
from stockroom.store.open_page import MOST_NAMED, bookings_open, page_from
from stockroom.store.writing import Book, live


@dataclass(frozen=True, slots=True)
class BookingRow:
    """A booking's latest change as stored; its end follows from the procedure's rules."""

    number: int
    external_id: str | None
    site: str
    procedure: str
    start: int
    patient: str
    cycles: int | None
    cycles_done: int | None
    outcome: str | None
    state: str
    made_at: int
    changed_at: int
    entry: int


def bookings(
    conn: sa.Connection, until: int = FOREVER, only: int | None = None, *, standing: bool = False
) -> dict[int, BookingRow]:
    """B-number -> booking as it stood at ``until``, by number; of all, of ``only`` one, or of those still to take place."""
    if standing:
        return once(conn, ("standing", until), lambda: _still_standing(conn, until))
    return _bookings(conn, until, None if only is None else [only])


def _still_standing(conn: sa.Connection, until: int) -> dict[int, BookingRow]:
    page = page_from(conn, until)
    candidates = None if page is None else bookings_open(conn, page)
    found = _bookings(conn, until, _standing(until) if candidates is None else candidates)
    return {n: row for n, row in found.items() if row.state == "booked"}


def _standing(until: int) -> Any:
    """The numbers of those whose latest standing change by ``until`` leaves them booked: the database looks through the
    others, so that nothing is built from bookings that were done years ago.
    """
    here, later = t.booking_change, t.booking_change.alias("later")
    after = sa.or_(later.c.at > here.c.at, sa.and_(later.c.at == here.c.at, later.c.id > here.c.id))
    gone = sa.select(later.c.id).where(later.c.booking == here.c.booking, later.c.at <= until, after)
    gone = gone.where(later.c.entry.not_in(sa.select(t.reversal.c.reverses)))
    return sa.select(here.c.booking).where(
        here.c.state == "booked", here.c.at <= until, live(here), ~gone.correlate(here).exists()
    )


def _bookings(conn: sa.Connection, until: int, which: Any) -> dict[int, BookingRow]:
    """Those whose number is in ``which`` (numbers, or a SELECT of them), or all."""
    change = t.booking_change.c
    query = (
        sa.select(
            change.booking, change.at, t.booking.c.site, change.procedure, change.start, change.patient, change.cycles,
            change.cycles_done, change.outcome, change.state, change.entry,
        )
        .join(t.booking, t.booking.c.n == change.booking)
        .where(live(t.booking_change), live(t.booking), change.at <= until)
        .order_by(change.booking, change.at, change.id)
    )  # fmt: skip
    if which is not None:
        query = query.where(change.booking.in_(which))
    made: dict[int, int] = {}
    found: dict[int, BookingRow] = {}
    rows = conn.execute(query).fetchall()
    # The SELECT is not asked twice: those that it found are named.
    numbers = None if which is None else {int(row[0]) for row in rows}
    named = numbers if numbers is not None and len(numbers) <= MOST_NAMED else None
    links = {number: external for external, number in numbers_by_external(conn, named).items()}
    for place, (number, at, site, procedure, start, patient, cycles, done, outcome, state, entry) in enumerate(rows, 1):
        made.setdefault(number, at)
        if place == len(rows) or rows[place][0] != number:
            found[number] = BookingRow(
                number, links.get(number), site, procedure, start, patient, cycles, done, outcome, state, made[number], at,
                entry,
            )  # fmt: skip
    return found


def history(conn: sa.Connection, until: int) -> list[tuple[Any, ...]]:
    """Every standing change of every booking up to an instant, by booking and then in the order in which they hold:
    (booking, at, when its entry happened, state, outcome, procedure, start, cycles, cycles_done, site).
    """
    change = t.booking_change.c
    query = (
        sa.select(
            change.booking, change.at, t.entry.c.at, change.state, change.outcome, change.procedure, change.start,
            change.cycles, change.cycles_done, t.booking.c.site,
        )
        .join(t.booking, t.booking.c.n == change.booking)
        .join(t.entry, t.entry.c.n == change.entry)
        .where(live(t.booking_change), live(t.booking), change.at <= until)
        .order_by(change.booking, change.at, change.id)
    )  # fmt: skip
    return [tuple(row) for row in conn.execute(query).fetchall()]


def changes(conn: sa.Connection) -> list[tuple[int, int]]:
    """(when it holds from, entry) of every standing change of a booking."""
    query = sa.select(t.booking_change.c.at, t.booking_change.c.entry).where(live(t.booking_change))
    return [(int(at), int(entry)) for at, entry in conn.execute(query)]


def numbers_by_external(conn: sa.Connection, which: Any = None) -> dict[str, int]:
    """Outside id -> B-number, the one that it was last said of; of all, or those that any in ``which`` ever had."""
    query = (
        sa.select(t.booking_link.c.external_id, t.booking_link.c.booking)
        .join(t.booking, t.booking.c.n == t.booking_link.c.booking)
        .where(live(t.booking_link), live(t.booking))
        .order_by(t.booking_link.c.id)
    )
    if which is not None:
        theirs = sa.select(t.booking_link.c.external_id).where(t.booking_link.c.booking.in_(which))
        query = query.where(t.booking_link.c.external_id.in_(theirs))
    rows = conn.execute(query)
    return {str(e): int(n) for e, n in rows}


def number_by_external(conn: sa.Connection, external: str) -> int | None:
    """The B-number of an outside id, None where it has none."""
    named = sa.select(t.booking_link.c.booking).where(t.booking_link.c.external_id == external)
    return numbers_by_external(conn, named).get(external)


def booked(book: Book, site: str, external_id: str | None = None) -> int:
    """Appends a new booking's number; its first change follows."""
    number = book.number("bookings")
    book.add(t.booking, n=number, site=site)
    if external_id is not None:
        linked(book, number, external_id)
    return number


def linked(book: Book, number: int, external_id: str) -> None:
    """Appends that a booking is known outside by an id."""
    book.add(t.booking_link, booking=number, external_id=external_id)


def changed(
    book: Book,
    number: int,
    *,
    state: str,
    procedure: str,
    start: int,
    patient: str,
    cycles: int | None,
    at: int | None = None,
    cycles_done: int | None = None,
    outcome: str | None = None,
    why: str | None = None,
    sequence: int | None = None,
) -> None:
    """Appends what a booking is from an instant on."""
    book.add(
        t.booking_change,
        at=book.at if at is None else at,
        booking=number,
        state=state,
        procedure=procedure,
        start=start,
        patient=patient,
        cycles=cycles,
        cycles_done=cycles_done,
        outcome=outcome,
        why=why,
        sequence=sequence,
    )


@dataclass(frozen=True, slots=True)
class Mention:
    """What a booking ever was, undone records included: its procedures, and its latest start and site."""

    procedures: frozenset[str]
    start: int
    site: str


def mentions(conn: sa.Connection, until: int) -> dict[int, Mention]:
    """B-number -> what was ever recorded about it by ``until``, whether or not it was undone since."""
    query = (
        sa.select(t.booking_change.c.booking, t.booking_change.c.procedure, t.booking_change.c.start, t.booking.c.site)
        .join(t.booking, t.booking.c.n == t.booking_change.c.booking)
        .where(t.booking_change.c.at <= until)
        .order_by(t.booking_change.c.booking, t.booking_change.c.id)
    )
    found: dict[int, Mention] = {}
    for number, procedure, start, site in conn.execute(query):
        before = found.get(number)
        named = {procedure} if before is None else before.procedures | {procedure}
        found[number] = Mention(frozenset(named), start, site)
    return found
