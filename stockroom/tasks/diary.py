"""The bookings as they stand at an instant, found by their number or by their outside id."""

import re
from collections.abc import Iterable, Iterator, Sequence

from stockroom.core.kit_mark import names_a_kit
from stockroom.core.practice import Practice
from stockroom.core.records import Booking
from stockroom.core.stock import FOREVER
from stockroom.errors import Refused, nearest
from stockroom.store import Link, bookings, ledger
from stockroom.store.bookings import BookingRow
from stockroom.tasks.places import number_of, pull_number
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import lots_now


def booking_of(row: BookingRow, practice: Practice) -> Booking:
    """A stored booking with its end, which follows from the procedure (its start where that is unknown now)."""
    return next(bookings_of((row,), practice))


def bookings_of(rows: Iterable[BookingRow], practice: Practice) -> Iterator[Booking]:
    """``booking_of`` each."""
    procedures = {p.code: p for p in practice.procedures}
    sites = [s.name for s in practice.sites]
    for row in rows:
        procedure = procedures.get(row.procedure)
        cycles = row.cycles if row.cycles_done is None else row.cycles_done
        if cycles is None and procedure is not None:
            cycles = procedure.cycles
        end = row.start + (procedure.seconds(cycles) if procedure else 0)
        # A site that the practice file does not name any more must not make its bookings vanish.
        site = row.site if row.site in sites else sites[0]
        yield Booking(
            row.number, row.external_id, site, row.procedure, row.start, end, row.patient, cycles, row.state,
            row.made_at, row.changed_at, row.entry,
        )  # fmt: skip


def diary(
    conn: Link, rule: Rules, until: int = FOREVER, sites: Sequence[str] | None = None, *, standing: bool = False
) -> dict[int, Booking]:
    """B-number -> booking as it stood at ``until``: all, or those that are still to take place."""
    found = bookings_of(bookings.bookings(conn, until, standing=standing).values(), rule.practice)
    return {b.number: b for b in found if sites is None or b.site in sites}


def coming(conn: Link, rule: Rules, at: int, sites: Sequence[str]) -> dict[int, Booking]:
    """Those of the diary that stand and begin after ``at``; the past is not even looked at."""
    rows = (row for row in bookings.bookings(conn, at, standing=True).values() if row.start > at)
    return {b.number: b for b in bookings_of(rows, rule.practice) if b.site in sites}


def under_way(conn: Link, rule: Rules, at: int, number: int) -> Booking | None:
    """A booking that has begun by ``at`` and of which nobody has said what became of it; None for any other."""
    row = bookings.bookings(conn, at, number).get(number)
    begun = row is not None and row.state == "booked" and row.start <= at
    return booking_of(row, rule.practice) if begun and row is not None else None


def booking_named(conn: Link, rule: Rules, text: str, until: int = FOREVER) -> Booking:
    """A booking by B-7, 7 or its outside id, or by the label of the kit that is for it or was used on it.

    Raises: Refused.
    """
    outside = bookings.number_by_external(conn, text.strip())
    own = re.fullmatch(r"[Bb]-\d{1,9}", text.strip())
    number = number_of(text, "B") if own else outside or number_of(text, "B")
    if number is None and names_a_kit(text):
        number = _of_kit(conn, text, until)
    row = bookings.bookings(conn, until, number).get(number or 0) if number else None
    if row is None:
        known = [*bookings.numbers_by_external(conn), *(f"B-{n}" for n in bookings.bookings(conn, until))]
        raise Refused(
            "unknown-booking", f'there is no booking "{text}"{nearest(text, known)}', "see: stockroom booking list"
        )
    return booking_of(row, rule.practice)


def _of_kit(conn: Link, text: str, until: int) -> int:
    """The booking that used a kit, else the one it is promised to. Raises: Refused where it is for none."""
    pull = ledger.pull_of(conn, pull_number(conn, text))
    if pull is None:
        raise Refused("unknown-pull", f'there is no kit "{text}"', "see: stockroom stock list")
    now = lots_now(conn, until, [pull.lot]).get(pull.lot)
    used = [p.booking for p in (now.state.at("used") if now else ()) if p.stays and p.stays[-1].place == pull.place]
    number = next((n for n in used if n is not None), None) or pull.booking
    if number is None:
        raise Refused(
            "kit-for-nobody", f"{pull.place} is for no booking",
            f"name the booking, and the kit beside it: stockroom booking done B-7 --pull {pull.place}",
        )  # fmt: skip
    return number
