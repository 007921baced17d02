"""The bookings as they stand at an instant, found by their number or by their outside id."""

import re
from collections.abc import Sequence

from stockroom.core.practice import Practice
from stockroom.core.records import Booking
from stockroom.core.stock import FOREVER
from stockroom.errors import Refused, nearest
from stockroom.store import Link, bookings
from stockroom.store.bookings import BookingRow
from stockroom.tasks.places import number_of
from stockroom.tasks.rules import Rules


def booking_of(row: BookingRow, practice: Practice) -> Booking:
    """A stored booking with its end, which follows from the procedure (its start where that is unknown now)."""
    procedure = practice.procedure(row.procedure)
    cycles = row.cycles if row.cycles_done is None else row.cycles_done
    if cycles is None and procedure is not None:
        cycles = procedure.cycles
    end = row.start + (procedure.seconds(cycles) if procedure else 0)
    sites = [s.name for s in practice.sites]
    # A site that the practice file does not name any more must not make its bookings vanish.
    site = row.site if row.site in sites else sites[0]
    return Booking(
        row.number, row.external_id, site, row.procedure, row.start, end, row.patient, cycles, row.state,
        row.made_at, row.changed_at, row.entry,
    )  # fmt: skip


def diary(conn: Link, rule: Rules, until: int = FOREVER, sites: Sequence[str] | None = None) -> dict[int, Booking]:
    """B-number -> booking as it stood at ``until``."""
    found = {n: booking_of(row, rule.practice) for n, row in bookings.bookings(conn, until).items()}
    return {n: b for n, b in found.items() if sites is None or b.site in sites}


def booking_named(conn: Link, rule: Rules, text: str, until: int = FOREVER) -> Booking:
    """A booking by B-7, 7 or its outside id. Raises: Refused."""
    outside = bookings.numbers_by_external(conn)
    own = re.fullmatch(r"[Bb]-\d{1,9}", text.strip())
    number = number_of(text, "B") if own else outside.get(text.strip()) or number_of(text, "B")
    row = bookings.bookings(conn, until, number).get(number or 0) if number else None
    if row is None:
        known = [*outside, *(f"B-{n}" for n in bookings.bookings(conn, until))]
        raise Refused(
            "unknown-booking", f'there is no booking "{text}"{nearest(text, known)}', "see: stockroom booking list"
        )
    return booking_of(row, rule.practice)
