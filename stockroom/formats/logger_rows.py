"""The rows of a logger file -> wall seconds, offsets and milli-degrees: a quick way and an exact one.

Lines that are written as ``2026-05-04T03:10:00Z,4.2`` or nearly so are read many at a time with numpy; every
other line, and every line with anything amiss, one by one. Both ways give the same (a test holds that). A file of a
million lines is taken in pieces, so that only the numbers of it stay in memory.
"""

import csv
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from stockroom.core.units import SLIP_HIGH, SLIP_LOW, milli_from_decimal
from stockroom.errors import Refused
from stockroom.formats.date_order import FIRST_YEAR, LAST_YEAR, DateOrder
from stockroom.formats.logger_clock import NAIVE, Int64
from stockroom.formats.logger_columns import Layout
from stockroom.formats.logger_labels import (
    Unit,
    is_header,
    number_in,
    says_temperature,
    says_time,
    unit_behind,
    unit_in,
)
from stockroom.formats.logger_times import DAY, MOST_OFFSET_HOURS, stamp
from stockroom.formats.table_text import Rejected, cell, fields, shown

CHUNK = 1 << 20
"""Bytes read at a time, about 40,000 lines."""

_PAD = b" " * 8
"""In front of every piece, so that the eight bytes before any place can be looked at."""

_BLANK = " \r\f\v"

_MONTHS = np.arange(f"{FIRST_YEAR}-01", f"{LAST_YEAR + 1}-02", dtype="datetime64[M]").astype("datetime64[D]")
_MONTH_START = _MONTHS.astype(np.int64)[:-1]
_MONTH_DAYS = np.diff(_MONTHS.astype(np.int64))

Bytes = NDArray[np.uint8]
Mask = NDArray[np.bool_]


@dataclass(slots=True)
class Rows:
    """The accepted rows in file order; ``offset`` is NAIVE where neither the row nor the header states one."""

    wall: Int64
    offset: NDArray[np.int32]
    milli: Int64
    line: Int64
    rejected: list[Rejected]


def rows_of(
    data: bytes,
    layout: Layout,
    order: DateOrder,
    name: str,
    *,
    quick: bool = True,
    advance: Callable[[str, int, int], None] | None = None,
) -> Rows:
    """Every row from ``layout.start`` on; without ``quick`` each line is read the exact way.

    ``advance`` is told what is done, and how much of how much.

    Raises: Refused where a second, different header stands among the rows.
    """
    most = data.count(b"\n", layout.start) + 1
    rows = Rows(
        np.empty(most, np.int64), np.empty(most, np.int32), np.empty(most, np.int64), np.empty(most, np.int64), []
    )
    start, number, filled = layout.start, layout.first_line, 0
    while start < len(data):
        stop = data.find(b"\n", start + CHUNK)
        piece = data[start:] + b"\n" if stop < 0 else data[start : stop + 1]
        start = len(data) if stop < 0 else stop + 1
        count, filled = _piece(_PAD + piece, number, filled, layout, order, name, rows, quick)
        number += count
        if advance is not None:
            advance(f"reading {name}", start, len(data))
    return Rows(rows.wall[:filled], rows.offset[:filled], rows.milli[:filled], rows.line[:filled], rows.rejected)


def _piece(
    raw: bytes, number: int, filled: int, layout: Layout, order: DateOrder, name: str, rows: Rows, quick: bool
) -> tuple[int, int]:
    """Reads one piece into ``rows`` from ``filled`` on: how many lines it has, and how far ``rows`` are filled."""
    buf = np.frombuffer(raw, np.uint8)
    breaks = np.flatnonzero(buf == ord("\n"))
    starts = np.concatenate(([len(_PAD)], breaks[:-1] + 1))
    ends = breaks - (buf[breaks - 1] == ord("\r"))
    count = len(breaks)
    wall, milli = np.empty(count, np.int64), np.empty(count, np.int64)
    offset = np.full(count, NAIVE, np.int32)
    good = np.zeros(count, np.bool_)
    if quick and len(layout.time) == 1:
        _quick(buf, starts, ends, layout, (wall, offset, milli, good))
    for i in np.flatnonzero(~good).tolist():
        line = raw[starts[i] : ends[i]].decode("utf-8", "replace")
        if not line.strip(_BLANK + layout.delimiter):
            continue
        found = _exact(line, number + i, layout, order, name)
        if isinstance(found, str):
            rows.rejected.append(Rejected(number + i, found))
            continue
        wall[i], milli[i] = found[0], found[2]
        offset[i] = NAIVE if found[1] is None else found[1]
        good[i] = True
    if layout.offset is not None:
        offset[offset == NAIVE] = layout.offset
    at = np.flatnonzero(good)
    to = slice(filled, filled + len(at))
    rows.wall[to], rows.offset[to], rows.milli[to], rows.line[to] = wall[at], offset[at], milli[at], at + number
    return count, filled + len(at)


def _exact(line: str, number: int, layout: Layout, order: DateOrder, name: str) -> tuple[int, int | None, int] | str:
    """Wall seconds, offset and milli-degrees of one line, or why it was rejected."""
    try:
        row = fields(line, layout.delimiter)
    except csv.Error:
        return "a field is too long to be one"
    if len(row) <= max(*layout.time, layout.temperature):
        return f"has {len(row)} of {layout.width} fields: {shown(line)}"
    at = stamp(" ".join(row[c] for c in layout.time), order, number, counts=layout.counts)
    if isinstance(at, str):
        return _other_line(row, number, layout, name) or at
    known = len(layout.header)
    if layout.delimiter == "," and known and any(c.strip() for c in row[known:]):
        return f"has {len(row)} fields where the header has {known}: a decimal comma between commas needs quotes"
    milli = _milli(row[layout.temperature][:200], layout.unit, layout.asked_unit is not None)
    return milli if isinstance(milli, str) else (*at, milli)


def _other_line(row: Sequence[str], number: int, layout: Layout, name: str) -> str | None:
    """What a line without a time is: the header again, or None.

    Raises: Refused for a header under which the columns or the unit would be others.
    """
    again = [cell(c) for c in row]
    if [c.casefold() for c in again] == [c.casefold() for c in layout.header]:
        return "the header again"
    if len(again) != layout.width or not is_header(again):
        return None
    label = again[layout.temperature]
    stated = unit_in(layout.header[layout.temperature]) if layout.temperature < len(layout.header) else None
    same_unit = unit_in(label) in (None, stated or layout.unit)
    if same_unit and says_temperature(label) and all(says_time(again[c]) for c in layout.time):
        return None
    raise Refused(
        "two-headers",
        f"{name} has another header in line {number}: what stands below it may mean something else",
        "divide the file there and import both parts",
    )


@lru_cache(maxsize=4096)
def _milli(text: str, unit: Unit, asked: bool) -> int | str:
    """Thousandths of °C, or why not. A unit behind the number counts; against one that was asked for it does not."""
    match = number_in(text.strip())
    if match is None or len(match["number"]) > 24:
        return f"{shown(text)} is not a temperature" if text.strip() else "the temperature is empty"
    own = unit_behind(match)
    if own and asked and own != unit:
        return f"{shown(text)} says °{own} where °{unit} was asked for"
    value = Decimal(match["number"].replace(",", ".").replace("−", "-"))
    if abs(value) < 1000:
        milli = milli_from_decimal(value, fahrenheit=(own or unit) == "F")
        if SLIP_LOW <= milli <= SLIP_HIGH:
            return milli
    return f"{shown(text)} (°{own or unit}) is beyond -60 to +60 °C"


def _quick(
    buf: Bytes, starts: Int64, ends: Int64, layout: Layout, out: tuple[Int64, NDArray[np.int32], Int64, Mask]
) -> None:
    """Fills ``out`` (wall, offset, milli, good) for the lines that are written in the usual way."""
    wall, offset, milli, good = out
    cuts = np.flatnonzero(buf == ord(layout.delimiter))
    before = np.searchsorted(cuts, starts)
    fits = np.searchsorted(cuts, ends) - before == layout.width - 1
    if layout.delimiter == "," and layout.header and layout.width > len(layout.header):
        return
    if max(*layout.time, layout.temperature) >= layout.width:
        return
    quotes = np.flatnonzero(buf == ord('"'))
    if len(quotes):
        fits &= np.searchsorted(quotes, starts) == np.searchsorted(quotes, ends)
    rows = np.flatnonzero(fits)
    if not len(rows):
        return
    value, value_fits = _quick_milli(buf, *_field(layout.temperature, rows, starts, ends, cuts, before, layout), layout)
    time_from, time_to = _field(layout.time[0], rows, starts, ends, cuts, before, layout)
    for size in (16, 17, 19, 20, 22, 25):
        chosen = np.flatnonzero((time_to - time_from == size) & value_fits)
        if len(chosen):
            face, ahead, stands = _quick_stamps(sliding_window_view(buf, size)[time_from[chosen]])
            to = rows[chosen[stands]]
            wall[to], offset[to], milli[to] = face[stands], ahead[stands], value[chosen[stands]]
            good[to] = True


def _field(
    column: int, rows: Int64, starts: Int64, ends: Int64, cuts: Int64, before: NDArray[np.intp], layout: Layout
) -> tuple[Int64, Int64]:
    """Where a column's field begins and ends in each of ``rows``, which all have ``layout.width`` fields."""
    left = starts[rows] if column == 0 else cuts[before[rows] + column - 1] + 1
    right = ends[rows] if column == layout.width - 1 else cuts[before[rows] + column]
    return left, right


def _two(text: Bytes, at: int) -> NDArray[np.int64]:
    return text[:, at].astype(np.int64) * 10 + text[:, at + 1] - 11 * 48


def _quick_stamps(text: Bytes) -> tuple[Int64, Int64, Mask]:
    """Wall seconds, offsets and which are sound, for stamps of one length, one per row.

    ``2026-05-04T03:10``, with ``:00`` or without, with ``Z`` or ``+02:00`` or without; a space for the T.
    """
    size = text.shape[1]
    seconds = size in (19, 20, 25)
    digits = [0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15] + ([17, 18] if seconds else [])
    sound = (text[:, 4] == ord("-")) & (text[:, 7] == ord("-")) & (text[:, 13] == ord(":"))
    sound &= (text[:, 10] == ord("T")) | (text[:, 10] == ord(" "))
    if seconds:
        sound &= text[:, 16] == ord(":")
    offset = np.full(len(text), NAIVE, np.int64)
    if size in (17, 20):
        sound &= text[:, -1] == ord("Z")
        offset[:] = 0
    elif size in (22, 25):
        digits += [size - 5, size - 4, size - 2, size - 1]
        sign, ahead = text[:, size - 6], 60 * _two(text, size - 5) + _two(text, size - 2)
        sound &= ((sign == ord("+")) | (sign == ord("-"))) & (text[:, size - 3] == ord(":"))
        sound &= (ahead <= 60 * MOST_OFFSET_HOURS) & (_two(text, size - 2) < 60)
        offset = 60 * np.where(sign == ord("-"), -ahead, ahead)
    sound &= ((text[:, digits] - np.uint8(48)) < 10).all(axis=1)
    year, day = 100 * _two(text, 0) + _two(text, 2), _two(text, 8)
    month_of_year = _two(text, 5)
    hour, minute, second = _two(text, 11), _two(text, 14), _two(text, 17) if seconds else np.zeros(len(text), np.int64)
    sound &= (year >= FIRST_YEAR) & (year <= LAST_YEAR) & (month_of_year >= 1) & (month_of_year <= 12)
    sound &= (hour < 24) & (minute < 60) & (second < 60)
    month = np.where(sound, 12 * (year - FIRST_YEAR) + month_of_year - 1, 0)
    sound &= (day >= 1) & (day <= _MONTH_DAYS[month])
    return (_MONTH_START[month] + day - 1) * DAY + 3600 * hour + 60 * minute + second, offset, sound


def _quick_milli(buf: Bytes, left: Int64, right: Int64, layout: Layout) -> tuple[Int64, Mask]:
    """Thousandths of °C and which are sound, for fields such as ``-12.345``: at most three decimals.

    °F in whole thousandths f: (f - 32000) x 5/9 to the nearest; nine is odd, so nothing lies half-way.
    """
    text = sliding_window_view(buf, 8)[right - 8]
    size = right - left
    inside = np.arange(8) >= (8 - size)[:, None]
    digit = inside & ((text - np.uint8(48)) < 10)
    mark = inside & ((text == ord(".")) if layout.delimiter == "," else (text == ord(".")) | (text == ord(",")))
    first = np.clip(8 - size, 0, 7)[:, None]
    minus = np.take_along_axis(text, first, axis=1)[:, 0] == ord("-")
    digits, marks = digit.sum(axis=1), mark.sum(axis=1)
    decimals = np.where(marks > 0, 7 - mark.argmax(axis=1), 0)
    sound = (size >= 1) & (size <= 8) & (digits + marks + minus == size) & (marks <= 1)
    sound &= (digits >= 1) & (decimals <= 3)
    value = np.zeros(len(text), np.int64)
    for place in range(8):
        value = np.where(digit[:, place], value * 10 + text[:, place] - 48, value)
    value *= 10 ** np.clip(3 - decimals, 0, 3)
    value = np.where(minus, -value, value)
    if layout.unit == "F":
        value = (10 * (value - 32_000) + 9) // 18
    sound &= (value >= SLIP_LOW) & (value <= SLIP_HIGH)
    return value, sound
