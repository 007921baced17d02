"""All records from one database into another, row by row as they are: numbers, hashes and order are kept."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice, zip_longest
from typing import Any

import sqlalchemy as sa

from stockroom.store import tables as t

Table = sa.Table
CHUNK = 5_000
Rows = Iterable[Sequence[Any]]
Advance = Callable[[str, int, int], None]


def rows_of(conn: sa.Connection, table: sa.Table) -> Iterator[Sequence[Any]]:
    """The rows of a table in the order of its key, column by column as the table has them."""
    query = sa.select(*table.columns).order_by(*table.primary_key.columns)
    with conn.execution_options(yield_per=CHUNK).execute(query) as found:
        yield from found


def kinds(table: Table) -> list[tuple[str, str]]:
    """(column, kind of its values: "text", "whole", "number" or "yes-no") of a table."""

    def kind(of: object) -> str:
        if isinstance(of, sa.Boolean):
            return "yes-no"
        if isinstance(of, sa.Integer):
            return "whole"
        return "number" if isinstance(of, sa.Numeric) else "text"

    return [(c.name, kind(c.type)) for c in table.columns]


def number_of_rows(conn: sa.Connection, table: sa.Table) -> int:
    """How many rows a table has."""
    return int(conn.scalar(sa.select(sa.func.count()).select_from(table)) or 0)


def filled(conn: sa.Connection, table: sa.Table, rows: Rows, told: Callable[[int], None]) -> None:
    """Adds rows to a table; ``told`` after each block how many there are."""
    names = [c.name for c in table.columns]
    insert, done, rest = table.insert(), 0, iter(rows)
    while block := list(islice(rest, CHUNK)):
        conn.execute(insert, [dict(zip(names, row, strict=True)) for row in block])
        done += len(block)
        told(done)


def headed(conn: sa.Connection, values: Mapping[str, Any]) -> None:
    """Sets the head of a database that has just been filled."""
    conn.execute(sa.update(t.head).where(t.head.c.id == 1).values(**values))


def head_of(conn: sa.Connection) -> dict[str, Any]:
    """The head: last entry, last hash, and the numbers given out."""
    return dict(conn.execute(sa.select(t.head)).mappings().one())


def carried(source: sa.Connection, advance: Advance) -> Callable[[sa.Connection], None]:
    """What fills a new database with all records of ``source``."""

    def fill(target: sa.Connection) -> None:
        for table in t.RECORDS:
            of = number_of_rows(source, table)
            filled(target, table, rows_of(source, table), lambda n, of=of: advance("copying", n, of))  # type: ignore[misc]
        headed(target, head_of(source))

    return fill


def differences(one: sa.Connection, other: sa.Connection, advance: Advance) -> list[str]:
    """What two databases do not have in common, in words; empty where every row of every record is equal."""
    out = [] if head_of(one) == head_of(other) else ["the heads differ"]
    for done, table in enumerate(t.RECORDS):
        advance("comparing", done, len(t.RECORDS))
        pairs = zip_longest(rows_of(one, table), rows_of(other, table))
        n = next((n for n, (a, b) in enumerate(pairs, 1) if a is None or b is None or tuple(a) != tuple(b)), None)
        if n is not None:
            out.append(f"{table.name}: row {n} differs")
    return out
