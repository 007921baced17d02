"""The first thousand lines of a logger file: which delimiter, which line is the header, which lines are readings.

The delimiter is the one under which most lines hold a time and a number; the header is the line above them with a
word for each.
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile

from stockroom.errors import Refused
from stockroom.formats.logger_labels import is_header, number_in, unit_in
from stockroom.formats.logger_times import is_count, shape
from stockroom.formats.table_text import (
    DELIMITERS,
    PlainText,
    cell,
    fields,
    head,
    likely_delimiter,
    shown,
    stated_delimiter,
)

Line = tuple[int, int, list[str]]
"""Line number, byte at which it starts, its fields."""

LOOKED_AT = 1000
"""Lines that decide about the layout."""


@dataclass(frozen=True, slots=True)
class Sample:
    """The looked-at lines under one delimiter. ``body`` holds the lines below the header that look like rows."""

    delimiter: str
    header: tuple[str, ...]
    first: Line
    above: list[Line]
    between: list[Line]
    body: list[list[str]]
    counts: bool
    """True where no line has a written date, but some have a count of seconds."""


def sample_of(text: PlainText, name: str) -> Sample:
    """The looked-at lines under the delimiter that shows most readings.

    Raises: Refused where no line has a time.
    """
    lines = head(text, LOOKED_AT)
    stated = stated_delimiter(lines[0][2])
    lines = lines[1:] if stated else lines
    for counts in (False, True):
        score, mark, rows = max(
            (_scored(lines, mark, counts) for mark in ((stated,) if stated else DELIMITERS)), key=lambda found: found[0]
        )
        if score[1]:
            return _divided(mark, rows, 2 if score[0] else 1, counts)
    raise _no_log(lines, stated, name)


def _scored(
    lines: Sequence[tuple[int, int, str]], delimiter: str, counts: bool
) -> tuple[tuple[int, int], str, list[Line]]:
    """How many lines look like readings, and like times, under a delimiter; the delimiter; the lines."""
    rows = _rows(lines, delimiter)
    kinds = [_kind(row, counts) for _, _, row in rows]
    return (kinds.count(2), sum(k > 0 for k in kinds)), delimiter, rows


def _rows(lines: Sequence[tuple[int, int, str]], delimiter: str) -> list[Line]:
    rows: list[Line] = []
    for number, start, line in lines:
        if line.strip():
            try:
                rows.append((number, start, [cell(c) for c in fields(line, delimiter)]))
            except csv.Error:
                continue
    return rows


def _kind(row: Sequence[str], counts: bool) -> int:
    """2 for a line with a time (or a date and a clock) and a number, 1 without the number, 0 for any other.

    With ``counts`` the time is a number of seconds since 1970.
    """
    if len(row) < 2:
        return 0
    if counts:
        times = [is_count(c) for c in row[:100]]
        if not any(times):
            return 0
        return 2 if any(not t and number_in(c) for t, c in zip(times, row, strict=False)) else 1
    shapes = [shape(c) for c in row[:100]]
    if "stamp" not in shapes and not ("date" in shapes and "clock" in shapes):
        return 0
    return 2 if any(not s and number_in(c) for s, c in zip(shapes, row, strict=False)) else 1


def _divided(delimiter: str, rows: list[Line], least: int, counts: bool) -> Sample:
    """Header and rows. The header is the first line with both words and a reading within the next three, or with
    nothing but lines of its own width before the first reading (their times cannot be read, and each is reported),
    else a line of labels above the first reading. A line of units may follow it; all that stands below are rows.
    """
    kinds = [_kind(row, counts) for _, _, row in rows]
    first = next(i for i, k in enumerate(kinds) if k >= least)
    last = max(i for i, k in enumerate(kinds) if k >= least)
    labels = [
        i for i, (_, _, row) in enumerate(rows[:last]) if not kinds[i] and any(kinds[i + 1 : i + 4]) and is_header(row)
    ]
    top = next((i for i in labels if any(k >= least for k in kinds[i + 1 : i + 4])), min(labels, default=None))
    if top is None:
        alike = takewhile(lambda i: len(rows[i][2]) == len(rows[first][2]), range(first - 1, -1, -1))
        top = next((i for i in alike if is_header(rows[i][2])), None)
    if top is None:
        first = next(i for i in range(first + 1) if kinds[i] and len(rows[i][2]) == len(rows[first][2]))
        if first and _is_label_line(rows[first - 1][2], rows[first][2]):
            top = first - 1
    begin = first if top is None else top + 1
    units = begin
    while top is not None and units < top + 3 and not kinds[units] and any(map(unit_in, rows[units][2])):
        units += 1
    return Sample(
        delimiter,
        () if top is None else tuple(rows[top][2]),
        rows[units],
        rows[: begin if top is None else top],
        rows[begin:units],
        [row for (_, _, row), kind in zip(rows[units:], kinds[units:], strict=True) if kind >= least],
        counts,
    )


def _is_label_line(row: Sequence[str], below: Sequence[str]) -> bool:
    """True for a line of labels without any of the known words: as wide as the rows, no number, no time."""
    return len(row) == len(below) > 1 and not any(shape(c) or number_in(c) for c in row) and all(row[:-1])


def _no_log(lines: Sequence[tuple[int, int, str]], stated: str | None, name: str) -> Refused:
    """The refusal of a file in which no line has a time of day: says which columns there are."""
    mark = stated or likely_delimiter([line for _, _, line in lines])
    rows = _rows(lines, mark)
    top = next((row for _, _, row in rows if is_header(row)), rows[0][2] if rows else [])
    listed = ", ".join(shown(c) for c in top[:20] if c)
    if is_header(top):
        return Refused(
            "no-readings",
            f"{name} has a header ({listed}) but no line with a date, a time of day and a temperature",
            "times must be written like 2026-05-04 03:10",
        )
    return Refused(
        "no-temperature-column",
        f"{name} is not a temperature log: no line has a date, a time of day and a temperature; "
        f"it begins with {listed or 'nothing'}",
        "give the file that the logger's own program exports as CSV",
    )
