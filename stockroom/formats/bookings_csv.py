"""A CSV file of bookings -> rows. Whether there is such a procedure or patient code is the caller's to judge."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from stockroom.formats.logger_times import DateOrder, instants, stamp, wall_text
from stockroom.formats.table_text import NamedRow, Rejected, named_table, shown

REQUIRED = ("id", "procedure", "start", "patient")
OPTIONAL = ("cycles", "state", "made", "site")
_STATES = {"": "booked", "booked": "booked", "cancelled": "cancelled", "canceled": "cancelled"}


@dataclass(frozen=True, slots=True)
class BookingRow:
    """One booking as the file says. ``start`` and ``made`` are UTC seconds; ``site`` may be empty."""

    line: int
    id: str
    procedure: str
    start: int
    patient: str
    cycles: int | None
    state: str
    """booked or cancelled."""
    made: int | None
    """When it was booked, None where the file does not say."""
    site: str


@dataclass(frozen=True, slots=True)
class BookingFile:
    """The bookings in the order of the file, one for each id, and what was not read."""

    rows: tuple[BookingRow, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]


def read_bookings(
    data: bytes,
    name: str,
    *,
    zone: ZoneInfo,
    day_first: bool | None = None,
    columns: Mapping[str, str] | None = None,
) -> BookingFile:
    """The bookings of a file with the columns id, procedure, start, patient, and perhaps cycles, state, made, site.

    Times without an offset are read in ``zone``. ``columns`` maps our name for a column to the file's. Where an id
    comes twice the later line stands. A date alone in ``made`` is the beginning of that day; a ``made`` that cannot
    be read costs a note and not the booking.

    Raises: Refused where the file is no text, a required column is missing, or every date could be two.
    """
    table = named_table(data, name, REQUIRED, OPTIONAL, columns)
    order = DateOrder(day_first)
    found = [_booking(row, order, zone) for row in table.rows]
    if not order.stands(name):
        order = DateOrder(False)
        found = [_booking(row, order, zone) for row in table.rows]
    notes = [*table.notes, *order.notes()]
    latest: dict[str, BookingRow] = {}
    rejected = list(table.rejected)
    for got, note in found:
        if isinstance(got, Rejected):
            rejected.append(got)
            continue
        if note:
            notes.append(note)
        if got.id in latest:
            notes.append(f"{shown(got.id)} is in lines {latest[got.id].line} and {got.line}: the later one stands")
        latest[got.id] = got
    rows = sorted(latest.values(), key=lambda row: row.line)
    return BookingFile(tuple(rows), tuple(sorted(rejected, key=lambda r: r.line)), tuple(notes))


def _booking(row: NamedRow, order: DateOrder, zone: ZoneInfo) -> tuple[BookingRow | Rejected, str]:
    """One row as a booking, or why not; and what should be said about it."""
    cells = row.cells
    start = _start(cells["start"], order, row.line, zone)
    made, note = _made(cells.get("made", ""), order, row.line, zone)
    cycles, state = cells.get("cycles", ""), cells.get("state", "").casefold()
    why = ""
    if not cells["id"]:
        why = "the id is empty"
    elif isinstance(start, str):
        why = f"start: {start}"
    elif cycles and not re.fullmatch("0*[1-9][0-9]{0,3}", cycles):
        why = f"{shown(cycles)} is not a number of cycles"
    elif state not in _STATES:
        why = f"the state {shown(cells['state'])} is neither booked nor cancelled"
    if why or isinstance(start, str):
        return Rejected(row.line, why), ""
    return BookingRow(
        row.line, cells["id"], cells["procedure"], start, cells["patient"], int(cycles) if cycles else None,
        _STATES[state], made, cells.get("site", ""),
    ), note  # fmt: skip


def _start(text: str, order: DateOrder, line: int, zone: ZoneInfo) -> int | str:
    """The instant of a start, or why there is none or more than one."""
    got = stamp(text, order, line)
    if isinstance(got, str):
        return got
    wall, offset = got
    if offset is not None:
        return wall - offset
    found = instants(wall, zone)
    if len(found) == 1:
        return found[0]
    what = "comes twice" if found else "does not exist"
    return f"{wall_text(wall)} {what} in {zone.key}: clocks change that day; write it with its offset from UTC"


def _made(text: str, order: DateOrder, line: int, zone: ZoneInfo) -> tuple[int | None, str]:
    """When it was booked, to the hour on a clock-change day, or None and a note where that cannot be read."""
    if not text:
        return None, ""
    got = stamp(text, order, line, bare=True)
    if isinstance(got, str):
        return None, f"line {line}: made: {got}, so it counts as not given"
    wall, offset = got
    if offset is not None:
        return wall - offset, ""
    return (instants(wall, zone) or instants(wall + 3600, zone))[0], ""
