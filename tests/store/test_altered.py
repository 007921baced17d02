"""Any change made behind the program's back is found and named: random edits and deletions by SQLite's own shell.

The triggers are taken away for it and put back after it, as somebody would who knows the file well.
Source of the aim: the project's own; what is found was tried, edit by edit.
"""

import os
import random
import shlex
import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Line

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


def edited(path: Path, chance: random.Random) -> str:
    """Makes one random edit; returns it."""
    with sqlite3.connect(path) as link:
        names = [t.name for t in (*tables.RECORDS, tables.head) if link.execute(f'SELECT 1 FROM "{t.name}"').fetchone()]
        name = chance.choice(names)
        columns = [(c[1], c[5]) for c in link.execute(f'PRAGMA table_info("{name}")')]
        keys = [c for c, pk in columns if pk]
        rows = link.execute(f'SELECT {", ".join(keys)} FROM "{name}" ORDER BY {", ".join(keys)}').fetchall()
        row = rows[-1] if chance.random() < 0.3 else chance.choice(rows)
        where = " AND ".join(f"{k} = {v!r}" for k, v in zip(keys, row, strict=True))
        if name != "head" and chance.random() < 0.4:
            change = f'DELETE FROM "{name}" WHERE {where}'
        else:
            column = chance.choice([c for c, pk in columns if not pk or name != "head"])
            old = link.execute(f'SELECT "{column}" FROM "{name}" WHERE {where}').fetchone()[0]
            new = "'Z'" if old is None or isinstance(old, str) else str(old + chance.choice([1, 2, 7]))
            if isinstance(old, str):
                new = "'" + (old[:-1].replace("'", "''") + ("X" if old[-1:] != "X" else "Y")) + "'"
            change = f'UPDATE "{name}" SET "{column}" = {new} WHERE {where}'
        guards = link.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    link.close()
    script = [f'DROP TRIGGER "{n}";' for n, _ in guards] + [change + ";"] + [f"{sql};" for _, sql in guards]
    subprocess.run(["sqlite3", str(path)], input="\n".join(script), text=True, check=True)
    return change


def test_every_edit_and_deletion_is_found_and_named(line: Callable[..., Line]) -> None:
    made = practised(line)
    assert made.ask("records", "verify")["faults"] == []
    chance = random.Random(20260302)
    copy = Path(made.where).with_name("altered.db")
    n = 0
    while n < EDITS:
        shutil.copy(made.where, copy)
        try:
            change = edited(copy, chance)
        except subprocess.CalledProcessError:
            continue  # SQLite itself would not have it (a key that is there already)
        n += 1
        said = Line(str(copy), made.folder)("records", "verify", "--json")
        assert said.code in (1, 4), (n, change, said)
        if said.code == 1:
            assert all(
                any(w in f for w in ("R-", "head", "readings", "kept", "summed")) for f in said.json["faults"]
            ), change
        for end in ("", "-wal", "-shm"):
            copy.with_name(copy.name + end).unlink(missing_ok=True)


@pytest.mark.parametrize("guard", ["movement_no_update", "reading_no_replace", "head_goes_forward"])
def test_a_guard_that_was_taken_away_is_named(line: Callable[..., Line], guard: str) -> None:
    made = practised(line)
    subprocess.run(["sqlite3", made.where, f'DROP TRIGGER "{guard}"'], check=True)
    assert made.ask("records", "verify")["faults"] == [
        f"{guard.split('_')[0]}: the guard against changes was taken away"
    ]
