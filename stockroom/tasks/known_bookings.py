"""What is on record under outside ids while a file is taken in; and what a file does not have any more."""

import json
import re

from stockroom.core.practice import Practice
from stockroom.formats.bookings_csv import BookingRow, Series
from stockroom.store import Link, bookings, practices
from stockroom.store.bookings import BookingRow as Stored
from stockroom.tasks.act import Recording
from stockroom.tasks.places import folded
from stockroom.tasks.read_bookings import Read
from stockroom.tasks.rules import Rules

SUBJECT = "calendar:B-"
"""Under this, by B-number, the version of the event that was last taken in: [SEQUENCE, DTSTAMP]."""
_INSTANCE = re.compile(r"(.+)/[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")


def series_uid(external: str) -> str:
    """The UID of the event that an outside id belongs to; a UID may have strokes of its own."""
    match = _INSTANCE.fullmatch(external)
    return match[1] if match else external


def older(sequence: int, stamped: int | None, known: tuple[int, int | None] | None) -> bool:
    """True where a version of an event is older than the one on record: by SEQUENCE, then by DTSTAMP.

    Published: RFC 5546, 2.1.5.
    """
    if known is None:
        return False
    if sequence != known[0]:
        return sequence < known[0]
    return stamped is not None and known[1] is not None and stamped < known[1]


class Known:
    """The bookings on record when the import began, by outside id, and the versions of their events."""

    def __init__(self, rec: Recording, calendar: bool) -> None:
        self.rec = rec
        self.numbers = bookings.numbers_by_external(rec.conn)
        self.stored = bookings.bookings(rec.conn)
        self.versions = versions(rec.conn) if calendar else {}
        self.by_uid: dict[str, list[str]] = {}
        for external in self.numbers if calendar else ():
            self.by_uid.setdefault(series_uid(external), []).append(external)
        self.stale: list[str] = []
        self.new: dict[str, int] = {}
        """Outside id -> B-number of what this file adds."""

    def row(self, external: str) -> Stored | None:
        """The booking of an outside id."""
        return self.stored.get(self.numbers.get(external, 0))

    def same_event(self, row: BookingRow) -> Stored | None:
        """The booking of an event that became a series, or of a series that became one event, at the same start.

        It is the same appointment, so it keeps its number and its kit.
        """
        uid = series_uid(row.id)
        ids = [e for e in self.by_uid.get(uid, ()) if row.event and e != row.id and uid in (e, row.id)]
        found = (self.row(e) for e in ids)
        return next((b for b in found if b and b.state == "booked" and b.start == row.start), None)

    def joined(self, number: int, external: str) -> None:
        """Appends that a booking is known by one more outside id."""
        bookings.linked(self.rec.book, number, external)
        self.numbers[external] = number

    def older(self, sequence: int, stamped: int | None, number: int) -> bool:
        """True where an event is older than what was taken in for a booking."""
        return older(sequence, stamped, self.versions.get(number))

    def version(self, row: BookingRow, number: int) -> None:
        """Remembers which version of its event a booking has, where that is new."""
        if row.event:
            self.said(number, row.sequence, row.stamped)

    def said(self, number: int, sequence: int, stamped: int | None) -> None:
        """Remembers the version of an event or series that a booking was last changed by."""
        if self.versions.get(number) != (sequence, stamped):
            self.versions[number] = (sequence, stamped)
            practices.remember(self.rec.book, f"{SUBJECT}{number}", json.dumps([sequence, stamped]))


def site_of_row(practice: Practice, row: BookingRow, wanted: str | None) -> str | None:
    """The site that a line or event is about: its own word, else the one that was asked for, else the only one."""
    names = [s.name for s in practice.sites]
    if row.site:
        return folded(row.site, names)
    if wanted is not None:
        return wanted if wanted in names else None
    return names[0] if len(names) == 1 else None


def versions(conn: Link) -> dict[int, tuple[int, int | None]]:
    """B-number -> the version of its event, for bookings that came from a calendar."""
    found = {}
    for number, text in practices.remembered_under(conn, SUBJECT).items():
        sequence, stamped = json.loads(text)
        found[int(number)] = (int(sequence), None if stamped is None else int(stamped))
    return found


def missing(conn: Link, rule: Rules, read: Read, site: str | None) -> list[Stored]:
    """The standing bookings that start within the file's own span and that it does not name.

    Only of the sites that the file is about; for a calendar only those that came from one, and for a table only
    those that did not: two sources do not cancel one another's bookings.
    """
    rows = [r for r in read.file.rows if r.start]
    if not rows:
        return []
    first, last = min(r.start for r in rows), max(r.start for r in rows)
    ids = {r.id for r in rows} | read.file.ids
    numbers, stored = bookings.numbers_by_external(conn), bookings.bookings(conn)
    from_calendar = set(versions(conn))
    sites = {site} if site is not None else {b.site for r in rows if (b := stored.get(numbers.get(r.id, 0)))}
    sites |= {r.site for r in rows if r.site}
    if len(rule.practice.sites) == 1:
        sites.add(rule.practice.sites[0].name)
    found = {
        number: b
        for external, number in numbers.items()
        if external not in ids
        and series_uid(external) not in ids
        and (b := stored.get(number))
        and b.state == "booked"
        and first <= b.start <= last
        and b.site in sites
        and (number in from_calendar) == read.calendar
    }
    named = {numbers[i] for i in ids if i in numbers}  # known under two ids, one of which the file has
    return sorted((b for n, b in found.items() if n not in named), key=lambda b: (b.start, b.number))


def cancelled_as_missing(rec: Recording, agreed: list[int], diary: Known) -> list[int]:
    """Cancels the bookings that a person agreed to, as far as they still stand."""
    done = []
    for number in agreed:
        b = diary.stored.get(number)
        if b is not None and b.state == "booked":
            _cancel(rec, b, "not in the file any more")
            done.append(number)
    return done


def dropped(rec: Recording, diary: Known, uid: str, series: Series) -> list[int]:
    """Cancels what is to come of a series and is not one of its instances any more: by its rule, its exceptions, or all.

    The file speaks of this very event, so this is no missing one. What is older than the record changes nothing.
    """
    done = []
    kept = {diary.numbers[i] for i in series.ids if i in diary.numbers}
    for external in diary.by_uid.get(uid, ()):
        number = diary.numbers[external]
        b = diary.stored.get(number)
        if b is None or b.state != "booked" or b.start <= rec.act.at or number in kept:
            continue
        if not series.cancelled and not series.first <= b.start <= series.last:
            continue
        if diary.older(series.sequence, series.stamped, number):
            diary.stale.append(f"B-{number}")
            continue
        diary.said(number, series.sequence, series.stamped)
        _cancel(rec, b, "the series was cancelled" if series.cancelled else "the series does not have it any more")
        done.append(number)
    return done


def _cancel(rec: Recording, b: Stored, why: str) -> None:
    bookings.changed(
        rec.book, b.number, state="cancelled", procedure=b.procedure, start=b.start, patient=b.patient,
        cycles=b.cycles, why=why,
    )  # fmt: skip
