"""A CSV file of bookings -> rows. Whether there is such a procedure or patient code is the caller's to judge."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from stockroom.core.patient import like_a_name
from stockroom.errors import Refused
from stockroom.formats.date_order import DateOrder, TwoReadings
from stockroom.formats.logger_times import instants, stamp, wall_text
from stockroom.formats.table_text import NamedRow, NamedTable, Rejected, named_table, shown

REQUIRED = ("id", "procedure", "patient")
OPTIONAL = ("start", "date", "time", "cycles", "state", "made", "site")
COLUMNS = (*REQUIRED, *OPTIONAL)
STATES = ("booked", "cancelled")
LONGEST_ID = 255
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
    event: str = ""
    """The UID where it comes from a calendar; of what is cancelled there the other fields may be empty."""
    sequence: int = 0
    stamped: int | None = None
    """With ``sequence``: which of two versions of an event is the newer one."""


@dataclass(frozen=True, slots=True)
class Series:
    """What a calendar says about one UID: the ids that it has between two instants. A single event has one."""

    cancelled: bool
    ids: frozenset[str]
    first: int
    last: int
    sequence: int
    stamped: int | None


@dataclass(frozen=True, slots=True)
class BookingFile:
    """The bookings in the order of the file, one for each id, and what was not read.

    ``ids``: every id that the file names, in lines that were left out as well. ``series``: by UID, of calendars.
    ``doubts``: what was taken in and should be looked at. ``cut``: the file ends before its end.
    """

    rows: tuple[BookingRow, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]
    ids: frozenset[str] = frozenset()
    series: Mapping[str, Series] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()
    cut: bool = False


@dataclass(frozen=True, slots=True)
class Terms:
    """What a file calls things: our column -> its own; and its words for states and procedures -> ours."""

    columns: Mapping[str, str] = field(default_factory=dict)
    states: Mapping[str, str] = field(default_factory=dict)
    procedures: Mapping[str, str] = field(default_factory=dict)


def read_bookings(
    data: bytes, name: str, *, zone: ZoneInfo, day_first: bool | None = None, terms: Terms | None = None
) -> BookingFile:
    """The bookings of a file with the columns id, procedure, start, patient, and perhaps cycles, state, made, site.

    Instead of ``start`` a file may have ``date`` and ``time``. Times without an offset are read in ``zone``. Where an
    id comes twice the later line stands. A date alone in ``made`` is the beginning of that day; a ``made`` that
    cannot be read costs a note and not the booking.

    Raises: Refused where the file is no text, a required column is missing, or every date could be two.
    """
    terms = terms or Terms()
    table = _table(data, name, terms.columns)
    order = DateOrder(day_first)
    found = [_booking(row, order, zone, terms) for row in table.rows]
    if not _order_stands(order, table, name):
        order = DateOrder(False)
        found = [_booking(row, order, zone, terms) for row in table.rows]
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
    ids = frozenset(row.cells["id"] for row in table.rows if row.cells["id"])
    return BookingFile(tuple(rows), tuple(sorted(rejected, key=lambda r: r.line)), tuple(notes), ids)


def _order_stands(order: DateOrder, table: NamedTable, name: str) -> bool:
    """DateOrder.stands; its question shows the row, without the patient's code."""
    try:
        return order.stands(name)
    except TwoReadings as fault:
        cells = next((r.cells for r in table.rows if r.line == fault.line), {})
        seen = [cells.get(c, "") for c in ("id", "procedure", "start", "date", "time")]
        fault.row = ", ".join(shown(c)[1:-1] for c in seen if c)
        raise


def _table(data: bytes, name: str, columns: Mapping[str, str]) -> NamedTable:
    """The rows; each has a start, or a date and a time. Raises: Refused."""
    table = named_table(data, name, REQUIRED, OPTIONAL, columns)
    there = table.columns
    if "start" in columns and {"date", "time"} & set(columns):
        raise Refused("either-or", "a start, or a date and a time", "map the one column or the two")
    if "start" in there or {"date", "time"} <= there:
        return table
    missing = tuple({"date", "time"} - there) if {"date", "time"} & there else ("start",)
    return named_table(data, name, (*REQUIRED, *missing), OPTIONAL, columns)


def _booking(row: NamedRow, order: DateOrder, zone: ZoneInfo, terms: Terms) -> tuple[BookingRow | Rejected, str]:
    """One row as a booking, or why not; and what should be said about it."""
    cells = row.cells
    two = "start" not in cells or "date" in terms.columns
    text = f"{cells['date']} {cells['time']}".strip() if two else cells["start"]
    start = _start(text, order, row.line, zone)
    made, note = _made(cells.get("made", ""), order, row.line, zone)
    cycles = cells.get("cycles", "")
    states = {**_STATES, **{k.casefold(): v for k, v in terms.states.items()}}
    state = states.get(cells.get("state", "").casefold(), "")
    why = ""
    if not cells["id"]:
        why = "the id is empty"
    elif like_a_name(cells["id"]) or len(cells["id"]) > LONGEST_ID:
        why = f"its id looks like a name or is longer than {LONGEST_ID} characters"
    elif isinstance(start, str):
        why = f"start: {start}"
    elif cycles and not re.fullmatch("0*[1-9][0-9]{0,3}", cycles):
        why = f"{shown(cycles)} is not a number of cycles"
    elif not state:
        word = shown(cells["state"])
        why = (
            f"the state {word} is neither booked nor cancelled: say --state booked={word}, or --state cancelled={word}"
        )
    if why or isinstance(start, str):
        return Rejected(row.line, why), ""
    theirs = {k.casefold(): v for k, v in terms.procedures.items()}
    return BookingRow(
        row.line, cells["id"], theirs.get(cells["procedure"].casefold(), cells["procedure"]), start, cells["patient"],
        int(cycles) if cycles else None, state, made, cells.get("site", ""),
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
