"""The proof: every entry's hash is made again from its rows, and compared with what was sealed."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from itertools import chain as chained
from typing import Any

import numpy as np
import sqlalchemy as sa

from stockroom.store import chain
from stockroom.store import tables as t
from stockroom.store.engine import Store
from stockroom.store.guards import weakened
from stockroom.store.writing import packed


@dataclass(frozen=True, slots=True)
class Proof:
    """How many entries there are, the head's hash, and what does not fit (empty: nothing was altered)."""

    entries: int
    head: str
    faults: tuple[str, ...]


def verified(store: Store, advance: Callable[[str, int, int], None]) -> Proof:
    """Recomputes the whole chain from the rows in the database; ``advance`` is told how far it is."""
    with store.reading() as conn:
        return proof(conn, advance)


def proof(conn: sa.Connection, advance: Callable[[str, int, int], None]) -> Proof:
    """The same of what a transaction sees: a database can prove itself before it is one."""
    bodies = _bodies(conn, advance)
    head = conn.execute(sa.select(t.head)).mappings().one()
    faults: list[str] = []
    before, expected = chain.GENESIS, 1
    for e in conn.execute(sa.select(t.entry).order_by(t.entry.c.n)):
        while expected < e.n:
            faults.append(f"R-{expected} is missing")
            expected += 1
        expected = e.n + 1
        body = bodies.pop(e.n, None) or chain.body_hash({})
        if body != e.body_hash:
            faults.append(f"R-{e.n}: what it recorded was altered")
        sealed = chain.entry_hash(e.n, e.kind, e.at, e.recorded_at, e.by, e.site, e.what, e.body_hash, e.before_hash)
        if sealed != e.hash:
            faults.append(f"R-{e.n}: the entry itself was altered")
        if e.before_hash != before:
            faults.append(f"R-{e.n}: it does not follow the entry before")
        before = e.hash
    faults += [f"R-{n}: rows without their entry" for n in sorted(bodies)]
    if (head["entries"], head["hash"]) != (expected - 1, before):
        faults.append(f"the head says {head['entries']} entries: the last ones are missing or were added")
    faults += weakened(conn)
    return Proof(expected - 1, str(head["hash"]), tuple(faults))


def _bodies(conn: sa.Connection, advance: Callable[[str, int, int], None]) -> dict[int, str]:
    rows: dict[int, dict[str, list[list[Any]]]] = defaultdict(lambda: defaultdict(list))
    for table in t.RECORDS:
        if table.name in ("entry", "reading"):
            continue
        key = table.c.n if "n" in table.c else table.c.id
        for row in conn.execute(sa.select(table).order_by(key)):
            rows[row.entry][table.name].append(list(row))
    readings: dict[int, list[tuple[int, bytes]]] = defaultdict(list)
    places = conn.scalars(sa.select(t.place.c.id).order_by(t.place.c.id)).all()
    for done, fridge in enumerate(places):
        advance("checking the record", done, len(places))
        for entry, sealed in _digests(conn, int(fridge)):
            readings[entry].append((int(fridge), sealed))
    return {n: chain.body_hash(rows.get(n, {}), sorted(readings.get(n, []))) for n in {*rows, *readings}}


def _digests(conn: sa.Connection, fridge: int) -> list[tuple[int, bytes]]:
    """(entry, digest of the readings that it brought) of one fridge, from one pass over its readings."""
    query = (
        sa.select(t.reading.c.entry, t.reading.c.at, t.reading.c.milli)
        .where(t.reading.c.fridge == fridge)
        .order_by(t.reading.c.at, t.reading.c.entry)
    )
    flat = np.fromiter(chained.from_iterable(conn.execute(query)), dtype=np.int64).reshape(-1, 3)
    order = np.argsort(flat[:, 0], kind="stable")
    flat = flat[order]
    cuts = np.flatnonzero(np.diff(flat[:, 0])) + 1
    parts = np.split(flat, cuts) if len(flat) else []
    return [(int(p[0, 0]), chain.readings_digest(packed(p[:, 1], p[:, 2]))) for p in parts]
