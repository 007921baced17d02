"""Rows of any table as CSV and back, exactly: what is absent, empty or looks like a spreadsheet's formula included.

An empty cell is an absent value. Text that is empty, or that begins with a sign that a spreadsheet would run or with an
apostrophe, has an apostrophe in front, which reading takes off again.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from stockroom.errors import Refused

GUARDED = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
Kind = str
"""How a column is written: "text", "whole", "number" or "yes-no"."""


def lines(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """CSV text, a header first, in pieces of some thousand rows."""
    buffer = io.StringIO()
    out = csv.writer(buffer, lineterminator="\r\n")  # so that it quotes either sign inside a cell
    out.writerow(columns)
    for n, row in enumerate(rows, 1):
        out.writerow([_cell(value) for value in row])
        if n % 5_000 == 0:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value)
    text = str(value)
    return "'" + text if text == "" or text.startswith(GUARDED) else text


def rows(text: Iterable[str], name: str, columns: Sequence[tuple[str, Kind]]) -> Iterator[list[Any]]:
    """The values of each line. Raises: Refused, naming file and line."""
    read = csv.reader(text)
    head = next(read, [])
    if head != [column for column, _ in columns]:
        raise Refused("bad-export", f"{name}: its columns are not those of this table", "export it again")
    kinds = [kind for _, kind in columns]
    try:
        for row in read:
            yield [_value(cell, kind) for cell, kind in zip(row, kinds, strict=True)]
    except (ValueError, csv.Error) as fault:
        raise Refused("bad-export", f"{name} line {read.line_num}: {fault}", "export it again") from None


def _value(cell: str, kind: Kind) -> Any:
    if cell == "":
        return None
    if kind == "whole":
        return int(cell)
    if kind == "number":
        return float(cell)
    if kind == "yes-no":
        if cell not in ("yes", "no"):
            raise ValueError(f'"{cell}" is neither yes nor no')
        return cell == "yes"
    return cell[1:] if cell.startswith("'") else cell
