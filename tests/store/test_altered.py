"""Any change made behind the program's back is found and named: random edits and deletions.

The triggers are taken away for it and put back after it, as somebody would who knows the database well.
Source of the aim: the project's own; what is found was tried, edit by edit.
"""

import os
import random
import shlex
import sqlite3
from collections.abc import Callable

import pytest
import sqlalchemy as sa
from conftest import Line
from databases import altered, changed, copied, peeked

from stockroom.store import tables

EDITS = int(os.environ.get("STOCKROOM_EDITS", "25"))
"""How many edits are tried; docs/reliability.md says how the full number is run."""


def practised(line: Callable[..., Line]) -> Line:
    """A practice with something in nearly every table."""
    made = line()
    made.file(
        "log.csv",
        "timestamp,celsius\n" + "".join(f"2026-03-02T0{h}:{m}0:00Z,{4 + m / 10}\n" for h in range(6) for m in range(6)),
    )
    made.file(
        "warm.csv", "timestamp,celsius\n2026-03-02T07:00:00Z,4.0\n2026-03-02T07:10:00Z,9.5\n2026-03-02T07:20:00Z,4.0\n"
    )
    for text in (
        "stock receive KIT --lot A1 --expiry 2026-12-31 --quantity 8 --into 'Cold one' --at 2026-01-12T09:00",
        "stock receive SWAB --lot S1 --expiry 2027-12-31 --quantity 50 --into Cupboard --at 2026-01-12T09:00",
        "fridge import log.csv --fridge 'Cold one'",
        "fridge import warm.csv --fridge 'Cold one'",
        "fridge log 4.0 --min 3 --max 5 --fridge 'Cold two'",
        "fridge explain 2026-02-27 --why closed --fridge 'Cold two'",
        "fridge decide E-1 --release --why asked --answer yes",
        "booking add white --start 2026-03-05T10:00 --patient P-1",
        "warmup pull B-1",
        "booking add white --start 2026-03-06T10:00 --patient P-2",
        "warmup promise P-1 B-2",
        "booking cancel B-1 --why ill",
        "stock quarantine KIT A1 --quantity 1 --why seal",
        "stock release KIT A1 --quantity 1 --why checked",
        "reorder place 'Harbour Supplies' KIT=4 --why more",
        "reorder expect O-1 --on 2026-03-12",
        "practice closed 2026-03-20 --why course",
        "fridge off 'Cold two' --why defrost",
        "stock use SWAB 1 --why training",
        "undo --why slip",
    ):
        words = [w.strip("'") for w in shlex.split(text)]
        made.ok(*words, "--by", "AB")
    return made


def an_edit(where: str, chance: random.Random) -> str:
    """One random edit of a database, as it is typed."""
    table = chance.choice(
        [t for t in (*tables.RECORDS, tables.head) if peeked(where, f'SELECT 1 FROM "{t.name}" LIMIT 1')]
    )
    keys = [c.name for c in table.primary_key]
    rows = peeked(where, f'SELECT {", ".join(keys)} FROM "{table.name}" ORDER BY {", ".join(keys)}')
    row = rows[-1] if chance.random() < 0.3 else chance.choice(rows)
    there = " AND ".join(f"{k} = {v!r}" for k, v in zip(keys, row, strict=True))
    if table is not tables.head and chance.random() < 0.4:
        return f'DELETE FROM "{table.name}" WHERE {there}'
    column = chance.choice([c.name for c in table.columns if c.name not in keys or table is not tables.head])
    ((old,),) = peeked(where, f'SELECT "{column}" FROM "{table.name}" WHERE {there}')
    if isinstance(old, str):
        new = "'" + (old[:-1].replace("'", "''") + ("X" if old[-1:] != "X" else "Y")) + "'"
    elif isinstance(old, bool):
        new = str(not old)
    else:
        new = "'Z'" if old is None else str(old + chance.choice([1, 2, 7]))
    return f'UPDATE "{table.name}" SET "{column}" = {new} WHERE {there}'


def test_every_edit_and_deletion_is_found_and_named(line: Callable[..., Line]) -> None:
    made = practised(line)
    assert made.ask("records", "verify")["faults"] == []
    chance = random.Random(20260302)
    n = 0
    while n < EDITS:
        change = an_edit(made.where, chance)
        with copied(made.where) as copy:
            try:
                altered(copy, change)
            except (sqlite3.Error, sa.exc.DBAPIError):
                continue  # the database itself would not have it (a key that is there already)
            said = Line(copy, made.folder)("records", "verify", "--json")
        n += 1
        assert said.code in (1, 4), (n, change, said)
        if said.code == 1:
            assert all(
                any(w in f for w in ("R-", "head", "readings", "kept", "summed")) for f in said.json["faults"]
            ), change


@pytest.mark.sqlite_file
@pytest.mark.parametrize("guard", ["movement_no_update", "reading_no_replace", "head_goes_forward"])
def test_a_guard_that_was_taken_away_is_named(cli: Line, guard: str) -> None:
    changed(cli.where, f'DROP TRIGGER "{guard}"')
    assert cli.ask("records", "verify")["faults"] == [
        f"{guard.split('_')[0]}: the guard against changes was taken away"
    ]


@pytest.mark.parametrize("guard", ["movement_kept", "reading_not_emptied", "head_goes_forward"])
@pytest.mark.parametrize(
    "way",
    ["DROP TRIGGER {1} ON {0}", "ALTER TABLE {0} DISABLE TRIGGER {1}", "ALTER TABLE {0} ENABLE REPLICA TRIGGER {1}"],
)
def test_a_guard_that_was_taken_away_on_a_server_is_named(
    line: Callable[..., Line], server: str, on_server: str, guard: str, way: str
) -> None:
    made, table = line(where=on_server), guard.split("_")[0]
    changed(on_server, way.format(table, guard))
    assert made.ask("records", "verify")["faults"] == [f"{table}: the guard against changes was taken away"]
