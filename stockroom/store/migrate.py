"""Making a database and bringing an older one up to date, by the migrations shipped with the program."""

import os
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from stockroom.errors import DatabaseError, Refused
from stockroom.store import tables
from stockroom.store.backup import named
from stockroom.store.engine import Store, closed, engine_for, guarded, opened, revision


def migrations() -> Path:
    """The folder of migrations: inside the installed package, or beside it in a checkout."""
    inside = Path(str(resources.files("stockroom"))) / "_migrations"
    return inside if inside.is_dir() else Path(str(resources.files("stockroom"))).parent / "migrations"


def _run(conn: sa.Connection) -> None:
    config = Config()
    config.set_main_option("script_location", str(migrations()).replace("%", "%%"))
    config.attributes["connection"] = conn
    command.upgrade(config, "head")


def create(where: str, fill: Callable[[sa.Connection], None] | None = None) -> Store:
    """A new database at ``where``, readable by its owner only; ``fill`` puts records in, in the same step.

    A file bears its name only once all of it is there; a server gets all of it in one transaction.
    Raises: Refused where a database is there already, DatabaseError where the place cannot be written.
    """
    engine, name, path = engine_for(where)
    if path is None:
        _filled(engine, name, fill)
        return opened(where)
    _vacant(path)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _removed(part)
        part.touch(mode=0o600, exist_ok=False)
    except OSError as fault:
        raise DatabaseError(
            "cannot-write", f"{path} cannot be made: {fault.strerror}", "choose another place with --db"
        ) from None
    try:
        _filled(engine_for(str(part))[0], name, fill)
        _readied(part, name)
        _vacant(path)
        named(part, path, Refused("database-exists", f"{path} is there already", TAKEN))
    finally:
        closed(str(part))
        _removed(part)
    return opened(where)


TAKEN = "choose another with --db; nothing was changed"


def _vacant(path: Path) -> None:
    """Takes an empty file away, which is what a stroke of ill luck has left: nothing is lost with it.

    Raises: Refused where there is anything else.
    """
    if path.is_dir():
        raise Refused("database-exists", f"{path} is a directory", TAKEN)
    if path.exists():
        if path.stat().st_size:
            raise Refused("database-exists", f"{path} is there already", TAKEN)
        path.unlink()


def _filled(engine: sa.Engine, name: str, fill: Callable[[sa.Connection], None] | None) -> None:
    """All tables, and what ``fill`` puts into them, in one transaction."""
    with guarded(name), engine.connect().execution_options(writes=True) as conn, conn.begin():
        if revision(conn) is not None:
            raise Refused("database-exists", f"{name} is a stockroom database already", "nothing was changed")
        _run(conn)
        if fill is not None:
            fill(conn)


def _readied(part: Path, name: str) -> None:
    """Lets a new file keep its journal in a WAL from now on. Not before: a WAL that a full disk does not let into the file
    when it is closed would be left behind under the other name.
    """
    with guarded(name), engine_for(str(part))[0].connect() as conn:
        conn.connection.cursor().execute("PRAGMA journal_mode=WAL")
    closed(str(part))


def discarded(where: str) -> None:
    """Takes away a database file that was just made and could not be filled."""
    path = engine_for(where)[2]
    if path is not None:
        _removed(path)


def _removed(path: Path) -> None:
    for name in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
        name.unlink(missing_ok=True)


def upgrade(where: str, stamp: str) -> dict[str, Any]:
    """Brings the database to this program's revision, after a copy beside it (``stamp`` makes its name unique).

    Returns ``{"from", "to", "copy"}``. Raises: DatabaseError.
    """
    engine, name, path = engine_for(where)
    if path is not None and not path.is_file():
        raise DatabaseError(
            "no-database", f"there is no database at {path}", "make one with: stockroom init PRACTICE.toml"
        )
    with guarded(name):
        with engine.connect() as conn:
            found = revision(conn)
        if found is None:
            raise DatabaseError("not-ours", f"{name} is not a stockroom database", "name another file with --db")
        if found > tables.REVISION:
            raise DatabaseError(
                "other-revision", f"{name} is at the newer revision {found}", "install the newer program"
            )
        if found == tables.REVISION:
            return {"from": found, "to": found, "copy": None}
        copy = None
        if path is not None:
            from stockroom.store.backup import copied

            copy = path.with_name(f"{path.stem}.before-{tables.REVISION}-{stamp}{path.suffix}")
            if not copy.exists():  # else an upgrade that was broken off this very second has made it
                copied(path, copy)
        with engine.connect().execution_options(writes=True) as conn, conn.begin():
            _run(conn)
    return {"from": found, "to": tables.REVISION, "copy": None if copy is None else str(copy)}
