"""Several people at once on one database, SQLite and PostgreSQL: no kit twice, no negative stock, nothing lost, nobody locked out.

Each invariant is computed here from the rows, not by the program's own replay. Source of the aim: the program's own promise.
docs/reliability.md says how the full number is run, and what was seen.
"""

import os
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa
from conftest import PRACTICE, Line
from crowd import LOTS, Told, crowd, summary

from stockroom.store import tables as t
from stockroom.store.engine import opened
from stockroom.store.writing import live

OPERATIONS = int(os.environ.get("STOCKROOM_CROWD", "0"))
"""Operations of each of eight people; without it twelve of each of four."""
RETURNABLE = PRACTICE.replace("max_out_hours = 72", "max_out_hours = 72\nreturnable = true")
INSIDE = ("fridge", "shelf", "box", "pull")


def rows(conn: sa.Connection, table: sa.Table) -> list[Any]:
    return list(conn.execute(sa.select(table).where(live(table))))


def balances(conn: sa.Connection) -> list[str]:
    """Places that ever held less than nothing of a lot, movement after movement as they were recorded."""
    kinds = {p.id: p.kind for p in conn.execute(sa.select(t.place))}
    names = {p.id: p.name for p in conn.execute(sa.select(t.place))}
    held: Counter[tuple[int, int]] = Counter()
    wrong = []
    for m in sorted(rows(conn, t.movement), key=lambda m: m.id):
        held[m.lot, m.target] += m.quantity
        held[m.lot, m.source] -= m.quantity
        if kinds[m.source] in INSIDE and held[m.lot, m.source] < 0:
            wrong.append(f"R-{m.entry}: {names[m.source]} holds {held[m.lot, m.source]} of lot {m.lot}")
        if kinds[m.target] == "pull" and held[m.lot, m.target] > 1:
            wrong.append(f"R-{m.entry}: {names[m.target]} is {held[m.lot, m.target]} kits")
    return wrong


def twice(conn: sa.Connection) -> list[str]:
    """Bookings of one kit that more than one kit is promised to, and kits that were given out more than once."""
    latest = {p.pull: p.booking for p in sorted(rows(conn, t.promise), key=lambda p: p.id)}
    names = {p.id: p.name for p in conn.execute(sa.select(t.place))}
    inside: defaultdict[int, int] = defaultdict(int)
    given: Counter[str] = Counter()
    for m in rows(conn, t.movement):
        inside[m.target] += m.quantity
        inside[m.source] -= m.quantity
        given[names[m.target]] += names[m.target].startswith("P-")
    out = {n for n in latest if any(names[p] == f"P-{n}" and held for p, held in inside.items())}
    promised = Counter(b for n, b in latest.items() if b is not None and n in out)
    found = [f"B-{b} has {n} kits" for b, n in promised.items() if n > 1]
    return found + [f"{p} was taken out {n} times" for p, n in given.items() if n != 1 and p.startswith("P-")]


def unlike(conn: sa.Connection, told: list[Told], first: int) -> list[str]:
    """Answers whose entry is not on record under that name, entries that nobody was told of, numbers given twice."""
    said = Counter((int(a["entry"][2:]), x.by) for x in told for a in x.answers if a["entry"])
    there = Counter((e.n, e.by) for e in conn.execute(sa.select(t.entry)) if e.n > first)
    return [f"answered, not on record: {k}" for k in said - there] + [
        f"on record, nobody was told: {k}" for k in there - said
    ]


def test_many_people_at_once(both: Line, line: Callable[..., Line]) -> None:
    both.file("returnable.toml", RETURNABLE)
    both.ok("practice", "load", "returnable.toml", "--yes", "--at", "2026-01-05T09:30")
    both.ok(
        "stock", "receive", "SWAB", "--lot", "S1", "--expiry", "2099-12-31", "--quantity", 100_000, "--into", "Cupboard"
    )
    for lot in LOTS:
        both.ok(
            "stock", "receive", "KIT", "--lot", lot, "--expiry", "2099-12-31", "--quantity", 3, "--into", "Cold one"
        )
    began = time.monotonic()
    told = crowd(both.where, both.folder, 8 if OPERATIONS else 4, OPERATIONS or 12)
    print(f"\n{'postgresql' if '://' in both.where else 'sqlite'}: {summary(told, time.monotonic() - began)}")
    answers = [(x.by, a) for x in told for a in x.answers]
    assert [(by, a) for by, a in answers if a["code"] not in (0, 1, 3)] == []
    assert [a for _, a in answers if any(w in a["err"] for w in ("locked", "is writing to", "Traceback", "copy"))] == []
    with opened(both.where).reading() as conn:
        assert unlike(conn, told, 7) == []
        assert balances(conn) == []
        assert twice(conn) == []
    later = "2030-01-01T00:00:00+00:00"
    assert both.ask("records", "verify", now=later)["faults"] == []
    for lot in LOTS:
        trace = both.ask("trace", "lot", "KIT", lot, now=later)
        assert trace["on_hand"] >= 0 and trace["unaccounted"] == 0 and trace["difference"] == 0
        assert (
            trace["received"]
            == trace["on_hand"] + trace["out"] + trace["used"] + trace["discarded"] + trace["returned"]
        )
    assert sum(a["entry"] is not None for _, a in answers) > len(answers) / 4
