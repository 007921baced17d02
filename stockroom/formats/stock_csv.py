"""CSV files of stock -> rows: what is on the shelves on the first day, and what was counted.

Whether there is such a product or place is the caller's to judge. Lots are taken as they are written: 3C001 is not
3c001.
"""

import calendar
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from stockroom.errors import Refused
from stockroom.formats.date_order import DateOrder, month_number, real_day, two_readings
from stockroom.formats.table_text import NamedRow, Rejected, named_table, shown

OPENING = ("product", "lot", "expiry", "quantity", "place")
COUNT = ("product", "lot", "quantity")
_MOST = 1_000_000
_TODO = "write it like 2027-01-31, or 2027-01 for the last day of that month"


@dataclass(frozen=True, slots=True)
class StockRow:
    """One line: so many single pieces of a lot. ``expiry`` is the last usable day; a count has none, and no place."""

    line: int
    product: str
    lot: str
    expiry: date | None
    quantity: int
    place: str
    why: str | None


@dataclass(frozen=True, slots=True)
class StockFile:
    """The rows in the order of the file, the lines that were not read, and what had to be done to read it."""

    rows: tuple[StockRow, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...] = ()


def read_opening(data: bytes, name: str) -> StockFile:
    """What is on the shelves: columns product, lot, expiry (may be empty), quantity (1 or more), place.

    Raises: Refused where the file is no text or a column is missing.
    """
    return _stock(data, name, OPENING, (), least=1)


def read_count(data: bytes, name: str) -> StockFile:
    """What was counted: columns product, lot, quantity (0 or more), and perhaps why.

    Raises: Refused where the file is no text or a column is missing.
    """
    return _stock(data, name, COUNT, ("why",), least=0)


def expiry_day(text: str) -> date:
    """The last usable day: ``2027-01-31``, ``2027-01`` or ``01/2027`` (the last of the month), ``31 Jan 2027``.

    Raises: Refused where it is no day, or could be two: both are named.
    """
    clean = " ".join(text[:60].split())
    month = _whole_month(clean)
    if month:
        return month
    order = DateOrder(None)
    number = order.day_number(clean, 1)
    try:
        day_first = order.stands("")
    except Refused:
        raise two_readings(clean, "the expiry ", _TODO) from None
    if not day_first:
        number = DateOrder(False).day_number(clean, 1)
    if isinstance(number, str):
        raise Refused("bad-expiry", f"the expiry {shown(text)} is not a day", _TODO)
    return date.fromordinal(number + date(1970, 1, 1).toordinal())


def _whole_month(text: str) -> date | None:
    """The last day of a month that is written without a day, or None."""
    match = re.fullmatch(r"([0-9]{4})[-/.]([0-9]{1,2})|([0-9]{1,2})[-/.]([0-9]{4})", text)
    if match:
        year, month = int(match[1] or match[4]), int(match[2] or match[3])
    else:
        named = re.fullmatch(r"([A-Za-z]{3,9})[. -]{1,2}([0-9]{4})", text)
        year, month = (int(named[2]), month_number(named[1])) if named else (0, 0)
    first = real_day(year, month, 1)
    return first.replace(day=calendar.monthrange(year, month)[1]) if first else None


def _stock(data: bytes, name: str, required: Sequence[str], optional: Sequence[str], *, least: int) -> StockFile:
    table = named_table(data, name, required, optional)
    rows: list[StockRow] = []
    rejected = list(table.rejected)
    for row in table.rows:
        got = _row(row, least, "place" in required)
        if isinstance(got, StockRow):
            rows.append(got)
        else:
            rejected.append(Rejected(row.line, got))
    return StockFile(tuple(rows), tuple(sorted(rejected, key=lambda r: r.line)), table.notes)


def _row(row: NamedRow, least: int, placed: bool) -> StockRow | str:
    """One line, or why it was not read."""
    cells = row.cells
    for column in ("product", "lot", "quantity", *(("place",) if placed else ())):
        if not cells[column]:
            return f"the {column} is empty"
    if re.fullmatch(r"[0-9](?:[.,][0-9]+)?E\+[0-9]{2,}", cells["lot"]):
        return f"the lot {shown(cells['lot'])} is a spreadsheet's short form of a long number: write it in full"
    number = re.fullmatch("[0-9]{1,7}", cells["quantity"])
    if number is None or not least <= int(number[0]) <= _MOST:
        return f"{shown(cells['quantity'])} is not a quantity: whole pieces from {least} to {_MOST}"
    expiry = None
    if cells.get("expiry"):
        try:
            expiry = expiry_day(cells["expiry"])
        except Refused as no:
            return no.what
    why = cells.get("why") or None
    return StockRow(row.line, cells["product"], cells["lot"], expiry, int(number[0]), cells.get("place", ""), why)
