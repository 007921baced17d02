"""Where a logger file keeps its times and temperatures: delimiter, header, columns, unit.

Loggers write what they like. What several columns could be is not guessed: the columns are named and the caller
chooses.
"""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from stockroom.errors import Refused, nearest
from stockroom.formats.logger_labels import (
    Unit,
    may_be_temperature,
    number_in,
    offset_in,
    says_other,
    says_temperature,
    says_time,
    unit_behind,
    unit_in,
)
from stockroom.formats.logger_sample import Sample, sample_of
from stockroom.formats.logger_times import is_count, shape
from stockroom.formats.table_text import PlainText, cell, shown


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
    sample = sample_of(text, name)
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


def _times(sample: Sample, names: Sequence[str], file: str) -> tuple[int, ...]:
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


def _mostly(sample: Sample, column: int, holds: Callable[[str], bool]) -> bool:
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


def _temperature(sample: Sample, names: Sequence[str], time: Sequence[int], file: str) -> int:
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
    asked: Unit | None, usual: Unit | None, label: str, sample: Sample, column: int, notes: list[str]
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
