"""New bookings of a file that may be on record already: the same patient's code on the same day, typed in by hand."""

from dataclasses import dataclass

from stockroom.formats.bookings_csv import BookingRow
from stockroom.store import Link, bookings
from stockroom.store.bookings import BookingRow as Stored
from stockroom.tasks.known_bookings import series_uid, site_of_row
from stockroom.tasks.read_bookings import Read
from stockroom.tasks.rules import Rules


@dataclass(frozen=True, slots=True)
class Double:
    """A booking that only the file has, and one on record that the file does not name."""

    row: BookingRow
    known: Stored


def doubles(conn: Link, rule: Rules, read: Read, site: str | None) -> list[Double]:
    """New bookings of a file beside a standing one for the same patient on the same local day at the same site."""
    numbers = bookings.numbers_by_external(conn)
    new = [r for r in read.file.rows if r.state == "booked" and r.id not in numbers]
    stored = bookings.bookings(conn, standing=True) if new else {}
    ids = {r.id for r in read.file.rows} | read.file.ids
    named = {n for external, n in numbers.items() if external in ids or series_uid(external) in ids}
    there: dict[tuple[str, str, object], list[Stored]] = {}
    for b in stored.values():
        if b.number not in named:
            there.setdefault((b.site, b.patient, rule.opening(b.site).day(b.start)), []).append(b)
    found = []
    for row in new if there else ():
        where = site_of_row(rule.practice, row, site)
        alike = where is not None and there.get((where, row.patient, rule.opening(where).day(row.start)))
        if alike:
            found.append(Double(row, alike.pop(0)))
    return found
