"""Making a database and bringing an older one up to date, by the migrations shipped with the program."""

from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from stockroom.errors import DatabaseError, Refused
from stockroom.store import tables
from stockroom.store.engine import Store, engine_for, guarded, opened, revision


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
    """A new, empty database at ``where``, readable by its owner only; ``fill`` puts records in, in the same step.

    Raises: DatabaseError where one is there already, or the place cannot be written.
    """
    engine, name, path = engine_for(where)
    if path is not None:
        # An empty file is what a stroke of ill luck during an earlier init has left: nothing is lost with it.
        if path.exists() and (path.is_dir() or path.stat().st_size):
            what = "is a directory" if path.is_dir() else "is there already"
            raise Refused("database-exists", f"{path} {what}", "choose another with --db; nothing was changed")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.touch(mode=0o600)
        except OSError as fault:
            raise DatabaseError(
                "cannot-write", f"{path} cannot be made: {fault.strerror}", "choose another place with --db"
            ) from None
    try:
        with guarded(name):
            if path is not None:
                with engine.connect() as conn:
                    conn.connection.cursor().execute("PRAGMA journal_mode=WAL")
            with engine.connect().execution_options(writes=True) as conn, conn.begin():
                if revision(conn) is not None:
                    raise Refused("database-exists", f"{name} is a stockroom database already", "nothing was changed")
                _run(conn)
                if fill is not None:
                    fill(conn)
    except BaseException:
        if path is not None:
            _removed(path)
        raise
    return opened(where)


def emptied(where: str) -> None:
    """Takes away a database that was just made and does not prove itself: the file, or on a server all its tables."""
    engine, name, path = engine_for(where)
    if path is not None:
        _removed(path)
        return
    with guarded(name), engine.connect().execution_options(writes=True) as conn, conn.begin():
        for table in sa.inspect(conn).get_table_names():
            conn.execute(sa.text(f'DROP TABLE "{table}" CASCADE'))
        conn.execute(sa.text("DROP FUNCTION IF EXISTS records_are_only_added() CASCADE"))


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
            copied(path, copy)
        with engine.connect().execution_options(writes=True) as conn, conn.begin():
            _run(conn)
    return {"from": found, "to": tables.REVISION, "copy": None if copy is None else str(copy)}
