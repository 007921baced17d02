"""Where a logger file keeps its times and temperatures: delimiter, header, columns, unit.

Loggers write what they like, so the first thousand lines are looked at: the delimiter is the one under which most
lines hold a time and a number, the header is the line above them with a word for each. What several columns could
be is not guessed: the columns are named and the caller chooses.
"""

import csv
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise, takewhile

from stockroom.errors import Refused, nearest
from stockroom.formats.logger_labels import (
    Unit,
    is_header,
    may_be_temperature,
    number_in,
    offset_in,
    says_other,
    says_temperature,
    says_time,
    unit_behind,
    unit_in,
)
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
class Layout:
    """How to read the rows. Columns count from 0; ``time`` is one column, or two: the date and the clock."""

    delimiter: str
    header: tuple[str, ...]
    """Empty where the file has none."""
    first_line: int
    start: int
    """The byte at which the first row starts."""
    width: int
    """Fields of a usual row."""
    time: tuple[int, ...]
    temperature: int
    counts: bool
    """True where the time column holds seconds or milliseconds since 1970."""
    unit: Unit
    asked_unit: Unit | None
    offset: int | None
    """Seconds east of UTC that the time column's header states, None where it states none."""
    time_name: str
    temperature_name: str
    unit_assumed: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Sample:
    """The looked-at lines under one delimiter. ``body`` holds the lines below the header that look like rows."""

    delimiter: str
    header: tuple[str, ...]
    first: Line
    above: list[Line]
    between: list[Line]
    body: list[list[str]]
    counts: bool
    """True where no line has a written date, but some have a count of seconds."""


def layout_of(
    text: PlainText,
    name: str,
    unit: Unit | None,
    time_column: str | None,
    temperature_column: str | None,
    usual_unit: Unit | None = None,
) -> Layout:
    """How the file is laid out. ``unit`` goes before what the file says, ``usual_unit`` where it says nothing.

    Raises: Refused where no column of times or temperatures is there, where several could be meant and none was
    chosen, or where the chosen one does not exist.
    """
    sample = _sample(text, name)
    header = sample.header
    width = Counter(len(row) for row in sample.body).most_common(1)[0][0]
    columns = max(width, len(header))
    names = _names(header, columns)
    time = _chosen_times(time_column, names, name) if time_column else _times(sample, names, name)
    notes: list[str] = []
    if temperature_column:
        place = _chosen_temperature(temperature_column, names, name, notes)
    else:
        place = _temperature(sample, names, time, name)
    if sample.counts:
        notes.append("times are counts of seconds since 1970, in UTC")
    if sample.above:
        last = sample.above[-1][0]
        notes.append(f"{'line 1' if last == 1 else f'lines 1-{last}'} above the readings passed over")
    labels = [names[place], *(row[place] for _, _, row in sample.between if place < len(row))]
    used, assumed = _unit(unit, usual_unit, " ".join(labels), sample, place, notes)
    stated = next(filter(None, (offset_in(names[c]) for c in time)), None)
    if stated:
        notes.append(f"times without an offset are in {stated[1]}, as their column's header says")
    called = "+".join(_call(names, c) for c in time), _call(names, place)
    return Layout(
        sample.delimiter, header, sample.first[0], sample.first[1], width, time, place, sample.counts, used, unit,
        stated[0] if stated else None, *called, assumed, tuple(notes),
    )  # fmt: skip


def _sample(text: PlainText, name: str) -> _Sample:
    """The looked-at lines under the delimiter that shows most readings."""
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


def _divided(delimiter: str, rows: list[Line], least: int, counts: bool) -> _Sample:
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
    return _Sample(
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


def _names(header: Sequence[str], columns: int) -> list[str]:
    return [header[i] if i < len(header) else "" for i in range(columns)]


def _call(names: Sequence[str], column: int) -> str:
    """What a caller may say for the column next time: its name where that is clear, else its number from 1."""
    name = names[column]
    clear = name and len(name) <= 80 and [n.casefold() for n in names].count(name.casefold()) == 1
    return name if clear and name.isprintable() and not name.isdigit() else str(column + 1)


def _listed(names: Sequence[str], columns: Sequence[int]) -> str:
    return ", ".join(f"{c + 1} {shown(names[c])}" if names[c] else f"{c + 1}" for c in columns[:20])


def _chosen_times(choice: str, names: Sequence[str], file: str) -> tuple[int, ...]:
    """The column of the stamps, or the two of date and clock, written ``Date+Time``."""
    parts = choice.split("+")
    if len(parts) != 2 or cell(choice).casefold() in [n.casefold() for n in names]:
        return (_chosen(choice, names, file, "time"),)
    return tuple(_chosen(part, names, file, "time") for part in parts)


def _chosen(choice: str, names: Sequence[str], file: str, noun: str) -> int:
    """The column that a person named, by its header or its number from 1."""
    wanted = cell(choice).casefold()
    same = [i for i, n in enumerate(names) if n and n.casefold() == wanted]
    if len(same) == 1:
        return same[0]
    if re.fullmatch("[0-9]{1,4}", wanted) and 1 <= int(wanted) <= len(names):
        return int(wanted) - 1
    many = f"{len(same)} columns" if same else "no column"
    hint = "" if same else nearest(choice, [shown(n, 80)[1:-1] for n in names if n])
    raise Refused(
        "no-such-column",
        f"{file} has {many} {shown(choice)}{hint}",
        f"its columns: {_listed(names, range(len(names)))}; choose with --{noun}-column and a name or number",
    )


def _chosen_temperature(choice: str, names: Sequence[str], file: str, notes: list[str]) -> int:
    """The column of temperatures that a person named. A number means another column in another file, so what it
    stands for is said, and what has the name of something else must be asked for by that name.
    """
    place = _chosen(choice, names, file, "temperature")
    called = names[place]
    if called and cell(choice).casefold() != called.casefold():
        if says_other(called):
            raise Refused(
                "which-column",
                f"{file}: column {place + 1} is {shown(called)}, which is no temperature by its name",
                f"choose it by that name if it is meant; its columns: {_listed(names, range(len(names)))}",
            )
        notes.append(f"temperatures are from column {place + 1}, {shown(called)}")
    return place


def _times(sample: _Sample, names: Sequence[str], file: str) -> tuple[int, ...]:
    """The column that holds stamps in most rows, or the two that hold dates and clock times.

    A column of long numbers holds times only where its header says so: a serial number looks the same.
    """
    if sample.counts:
        long = [c for c in range(len(names)) if says_time(names[c]) and _mostly(sample, c, is_count)]
        if len(long) == 1:
            return (long[0],)
        raise _which_time(file, names, long)
    found: dict[str, list[int]] = {"stamp": [], "date": [], "clock": []}
    for c in range(len(names)):
        counts = Counter(shape(row[c]) for row in sample.body if c < len(row))
        for kind, columns in found.items():
            if 2 * counts[kind] >= len(sample.body):
                columns.append(c)
    pair = (*found["date"], *found["clock"])
    if len(found["stamp"]) == 1:
        return (found["stamp"][0],)
    if not found["stamp"] and len(found["date"]) == len(found["clock"]) == 1:
        return pair
    raise _which_time(file, names, found["stamp"] or pair)


def _mostly(sample: _Sample, column: int, holds: Callable[[str], bool]) -> bool:
    """True where ``holds`` is true of the column's field in half of the rows at least."""
    return 2 * sum(column < len(row) and holds(row[column]) for row in sample.body) >= len(sample.body)


def _which_time(file: str, names: Sequence[str], several: Sequence[int]) -> Refused:
    return Refused(
        "which-column",
        f"{file} has {len(several)} columns that could be the time: {_listed(names, several)}"
        if several
        else f"{file} has no column that holds the time in most lines: {_listed(names, range(len(names)))}",
        "choose with --time-column and a name or number; a date and a clock column as 1+2",
    )


def _temperature(sample: _Sample, names: Sequence[str], time: Sequence[int], file: str) -> int:
    """The one column that can be the temperature."""
    body = sample.body
    rest = [c for c in range(len(names)) if c not in time and any(row[c] for row in body if c < len(row))]
    numeric = [c for c in rest if _mostly(sample, c, lambda text: number_in(text) is not None)]
    free = [c for c in numeric if not says_other(names[c]) and not _counts_rows(body, c)]
    strong = [c for c in numeric or rest if says_temperature(names[c]) and not says_other(names[c])]
    weak = [c for c in free if may_be_temperature(names[c])]
    alone = not sample.header or len(rest) - (len(numeric) - len(free)) == 1
    unnamed = free if alone else []
    for several in (strong, weak, unnamed):
        if len(several) == 1:
            return several[0]
        if several:
            raise Refused(
                "which-column",
                f"{file} has {len(several)} columns that could be the temperature: {_listed(names, several)}",
                "choose with --temperature-column and a name or number",
            )
    raise Refused(
        "no-temperature-column",
        f"{file} has no column that is surely a temperature; its columns: {_listed(names, range(len(names)))}",
        "choose with --temperature-column and a name or number, if it is a temperature log",
    )


def _counts_rows(body: Sequence[Sequence[str]], column: int) -> bool:
    """True for a column that counts the rows: whole numbers, each one more (or less) than the one above."""
    seen = [row[column] for row in body if column < len(row)]
    if len(seen) < 3 or not all(re.fullmatch("[0-9]{1,9}", s) for s in seen):
        return False
    return {int(b) - int(a) for a, b in pairwise(seen)} in ({1}, {-1})


def _unit(
    asked: Unit | None, usual: Unit | None, label: str, sample: _Sample, column: int, notes: list[str]
) -> tuple[Unit, bool]:
    """The unit and whether it is only assumed: as asked, as header, values or the lines above state it, as usual."""
    stated = unit_in(label)
    if asked:
        if stated and stated != asked:
            notes.append(f"the header says °{stated}, read as °{asked} as asked")
        return asked, False
    if stated:
        return stated, False
    values = (number_in(row[column]) for row in sample.body if column < len(row))
    suffixes = {unit_behind(match) for match in values if match} - {None}
    above = {unit_in(c) for _, _, row in sample.above for c in row} - {None}
    for units, where in ((suffixes, ""), (above, "the lines above the readings")):
        if len(units) == 1:
            unit: Unit = "F" if "F" in units else "C"
            if where:
                notes.append(f"read as °{unit}, as {where} say")
            return unit, False
    if usual == "F":
        notes.append("read as °F, as before: no unit is stated")
    return usual or "C", usual is None
