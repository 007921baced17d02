"""A temperature logger's CSV file -> instants and thousandths of °C, whatever its columns are called.

Two values for one instant are left in, as are lines written twice: what to keep is the importer's to decide.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from stockroom.errors import Refused
from stockroom.formats.date_order import DateOrder
from stockroom.formats.logger_clock import NAIVE, placed
from stockroom.formats.logger_columns import Layout, layout_of
from stockroom.formats.logger_rows import rows_of
from stockroom.formats.table_text import Rejected, plain_text

_LIKELY_FAHRENHEIT = 30_000
"""No fridge stands at 30 °C all day; at 39 °F it does."""


@dataclass(frozen=True, slots=True)
class LoggerFile:
    """A logger file as read. The three arrays have one element per accepted row, in the order of the file."""

    at: NDArray[np.int64]
    """UTC seconds."""
    milli: NDArray[np.int64]
    """Thousandths of °C."""
    line: NDArray[np.int64]
    """Line number in the file, from 1."""
    lines: int
    """Lines below the header that are not blank: accepted and rejected."""
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]
    """What had to be decided to read it, one sentence each."""
    unit: Literal["C", "F"]
    time_column: str
    """As it may be given next time: a name, a number from 1, or two of them as ``Date+Time``."""
    temperature_column: str
    zoned: bool
    """True where every accepted row had its own offset from UTC, or the header gave one for all."""


def read_logger(
    data: bytes,
    name: str,
    *,
    zone: ZoneInfo,
    unit: Literal["C", "F"] | None = None,
    usual_unit: Literal["C", "F"] | None = None,
    time_column: str | None = None,
    temperature_column: str | None = None,
    day_first: bool | None = None,
    advance: Callable[[str, int, int], None] | None = None,
) -> LoggerFile:
    """The readings of a logger file. ``name`` is for messages; stamps without an offset are read in ``zone``.

    ``unit`` goes before what the file says, ``usual_unit`` counts only where it says nothing; columns are given by
    header or number from 1.

    Raises: Refused where the file is no text or no log, where the columns, or day and month, could be meant in two
    ways, or where not one reading could be read.
    """
    text = plain_text(data, name)
    layout = layout_of(text, name, unit, time_column, temperature_column, usual_unit)
    order = DateOrder(day_first)
    rows = rows_of(text.data, layout, order, name, advance=advance)
    notes = [*text.notes, *layout.notes]
    if not order.stands(name):
        rows = rows_of(text.data, layout, DateOrder(False), name, advance=advance)
        notes.append("dates were read month first: some can be nothing else")
    notes.extend(order.notes())
    zoned = not bool((rows.offset == NAIVE).any())
    on_clock = placed(rows.wall, rows.offset, rows.milli, rows.line, zone)
    rejected = sorted((*rows.rejected, *on_clock.rejected), key=lambda r: r.line)
    if not len(on_clock.at):
        raise _nothing_read(name, rejected, layout)
    kept = on_clock.kept
    milli, line = (rows.milli, rows.line) if kept is None else (rows.milli[kept], rows.line[kept])
    notes.extend(on_clock.notes)
    middle = float(np.median(milli))
    if layout.unit_assumed and middle > _LIKELY_FAHRENHEIT:
        notes.append(
            f"no unit is stated: read as °C, which gives a median of {middle / 1000:.1f} °C; "
            "if the logger writes °F, say --fahrenheit"
        )
    return LoggerFile(
        on_clock.at, milli, line, len(milli) + len(rejected), tuple(rejected), tuple(dict.fromkeys(notes)),
        layout.unit, layout.time_name, layout.temperature_name, zoned,
    )  # fmt: skip


def _nothing_read(name: str, rejected: list[Rejected], layout: Layout) -> Refused:
    """The refusal of a file of which no line could be read, with the first reasons."""
    first = "; ".join(f"line {r.line}: {r.why}" for r in rejected[:3])
    beyond = sum("is beyond" in r.why for r in rejected)
    hint = "check the columns with --time-column and --temperature-column"
    if layout.unit_assumed and 2 * beyond > len(rejected):
        hint = "no unit is stated: if the logger writes °F, say --fahrenheit"
    return Refused("no-readings", f"no reading could be read from {name} ({first or 'it has no rows'})", hint)
