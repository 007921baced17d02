"""The one way to record: one lock, one transaction, one entry in the chain, whole or not at all."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from stockroom.errors import DatabaseError
from stockroom.store import chain, derived_tables, tables
from stockroom.store.engine import Store, guarded

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Ints = npt.NDArray[np.int64]

BLOCK = 50_000
"""Readings handed to the database at a time."""

ROWS = 250
"""Readings in one INSERT: one row at a time costs three times as much."""
WAIT_SECONDS = 120
LEDGER = frozenset({"movement", "hold", "release", "lot", "lot_expiry", "place", "reversal", "pull", "promise"})
"""Tables from which the state of lots and kits is replayed: adding to one makes what was read before stale."""
ANY_LOT = -1
"""Stands among the keys of the lots that were touched where it may be any."""


@dataclass(slots=True)
class Book:
    """An open entry: rows are added to it and are on record together when the block ends without an error."""

    conn: sa.Connection
    n: int
    kind: str
    at: int
    recorded_at: int
    by: str
    site: str
    what: str = ""
    counters: dict[str, int] = field(default_factory=dict)
    _rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    _keys: dict[str, int] = field(default_factory=dict)
    _readings: dict[int, bytes] = field(default_factory=dict)
    """By fridge, the digest of the readings that this entry brings."""

    @property
    def label(self) -> str:
        """The entry's number as people write it: R-12."""
        return f"R-{self.n}"

    def add(self, table: sa.Table, **values: Any) -> int:
        """Adds one row; returns its key (given here unless the table is numbered by the head)."""
        key_name = "n" if "n" in table.c else "id"
        if key_name not in values:
            values[key_name] = self._next_key(table)
        row = {c.name: values.get(c.name) for c in table.columns}
        row["entry"] = self.n
        self.conn.execute(table.insert(), [row])
        if table.name in LEDGER:
            self.conn.info["ledger"] = self.conn.info.get("ledger", 0) + 1
            # What is taken back may be of any lot; a place or a promise changes the state of none.
            touched = row.get("lot", ANY_LOT if table.name == "reversal" else None)
            self.conn.info.setdefault("touched", []).append(touched)
        self._rows.setdefault(table.name, []).append(row)
        return int(values[key_name])

    @property
    def moved_stock(self) -> bool:
        """True once the entry has moved pieces, or taken back an entry that may have."""
        return bool({"movement", "reversal"} & self._rows.keys())

    def number(self, counter: str) -> int:
        """The next B-, E-, O- or P-number (``counter``: bookings, excursions, orders, pulls)."""
        self.counters[counter] += 1
        return self.counters[counter]

    def add_readings(
        self, fridge: int, at: "Ints", milli: "Ints", advance: "Callable[[str, int, int], None] | None" = None
    ) -> None:
        """Adds logger readings of one fridge, in order of time (once per fridge and entry)."""
        if fridge in self._readings:
            raise ValueError("readings of one fridge are added once in an entry")
        for first in range(0, len(at), BLOCK):
            block = slice(first, first + BLOCK)
            _insert_readings(self.conn, fridge, self.n, at[block], milli[block])
            if advance is not None:
                advance("recording", min(first + BLOCK, len(at)), len(at))
        row = {"entry": self.n, "fridge": fridge, "first_at": int(at[0]), "last_at": int(at[-1]), "readings": len(at)}
        self.conn.execute(derived_tables.reading_span.insert(), [row])
        self._readings[fridge] = chain.readings_digest(packed(at, milli))

    def breach(self, slug: str, what: str) -> None:
        """Names on the record a rule that what happened has broken."""
        self.add(tables.breach, slug=slug, what=what)

    def _next_key(self, table: sa.Table) -> int:
        if table.name not in self._keys:
            self._keys[table.name] = int(self.conn.scalar(sa.select(sa.func.coalesce(sa.func.max(table.c.id), 0))) or 0)
        self._keys[table.name] += 1
        return self._keys[table.name]

    def seal(self, before: str) -> str:
        """Writes the entry itself; returns the new head's hash."""
        body = chain.body_hash(
            {name: [list(r.values()) for r in _by_key(rows)] for name, rows in self._rows.items()},
            sorted(self._readings.items()),
        )
        sealed = chain.entry_hash(
            self.n, self.kind, self.at, self.recorded_at, self.by, self.site, self.what, body, before
        )
        self.conn.execute(
            tables.entry.insert().values(
                n=self.n,
                kind=self.kind,
                at=self.at,
                recorded_at=self.recorded_at,
                by=self.by,
                site=self.site,
                what=self.what,
                body_hash=body,
                before_hash=before,
                hash=sealed,
            )
        )
        return sealed


def _insert_readings(conn: sa.Connection, fridge: int, entry: int, at: "Ints", milli: "Ints") -> None:
    """One block of readings by the driver's fastest way: many rows a statement on SQLite, COPY on PostgreSQL."""
    import numpy as np

    raw = conn.connection.driver_connection
    assert raw is not None
    if conn.dialect.name == "postgresql":
        with raw.cursor().copy("COPY reading (fridge, at, entry, milli) FROM STDIN") as copy:
            for a, m in zip(at.tolist(), milli.tolist(), strict=True):
                copy.write_row((fridge, a, entry, m))
        return
    flat = np.stack((at, milli), axis=1)
    whole = len(flat) // ROWS * ROWS
    row = f"({int(fridge)},?,{int(entry)},?)"
    insert = "INSERT INTO reading (fridge, at, entry, milli) VALUES "
    if whole:
        raw.executemany(insert + ",".join([row] * ROWS), flat[:whole].reshape(-1, 2 * ROWS).tolist())
    raw.executemany(insert + row, flat[whole:].tolist())


def _by_key(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return sorted(rows, key=lambda r: int(r["n"] if "n" in r else r["id"]))


def packed(at: "Ints", milli: "Ints") -> bytes:
    """Readings as little-endian 64-bit (instant, thousandths) pairs, for the chain."""
    import numpy as np

    pairs = np.empty((len(at), 2), dtype="<i8")
    pairs[:, 0] = at
    pairs[:, 1] = milli
    return pairs.tobytes()


@contextlib.contextmanager
def writing(store: Store, kind: str, *, by: str, at: int, now: int, site: str = "") -> Iterator[Book]:
    """An entry to add records to. Raises: DatabaseError where the database cannot be written."""
    with (
        guarded(store.name),
        store.engine.connect().execution_options(writes=True) as conn,
        conn.begin(),
        entered(conn, store.name, kind, by=by, at=at, now=now, site=site) as book,
    ):
        yield book


@contextlib.contextmanager
def entered(conn: sa.Connection, name: str, kind: str, *, by: str, at: int, now: int, site: str = "") -> Iterator[Book]:
    """An entry in a transaction that writes, and that somebody else ends. Raises: DatabaseError."""
    lock = sa.select(tables.head)
    row = conn.execute(lock.with_for_update() if conn.dialect.name == "postgresql" else lock).mappings().first()
    if row is None:
        raise DatabaseError("damaged", f"{name} is damaged: its head is missing", "restore the last copy")
    last = conn.scalar(sa.select(tables.entry.c.recorded_at).where(tables.entry.c.n == int(row["entries"])))
    if last is not None and 0 < int(last) - now <= WAIT_SECONDS:
        # Another hand was quicker while this one waited for the lock: what it recorded came before.
        at, now = (int(last) if at == now else at), int(last)
    counters = {k: int(row[k]) for k in ("bookings", "excursions", "orders", "pulls")}
    book = Book(conn, int(row["entries"]) + 1, kind, at, now, by, site, counters=counters)
    yield book
    sealed = book.seal(str(row["hash"]))
    conn.execute(
        sa.update(tables.head).where(tables.head.c.id == 1).values(entries=book.n, hash=sealed, **book.counters)
    )


@cache
def live(table: sa.Table) -> sa.ColumnElement[bool]:
    """True for rows whose entry nobody has reversed."""
    return table.c.entry.not_in(sa.select(tables.reversal.c.reverses))
