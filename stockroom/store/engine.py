"""Connections: SQLite files and PostgreSQL servers, opened so that nothing is half-written.

SQLite: foreign keys on, WAL, synchronous FULL, recursive triggers (so that INSERT OR REPLACE meets the triggers
that keep records), a busy timeout; readers see one snapshot, writers take the lock at once (BEGIN IMMEDIATE).
"""

import contextlib
import re
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from stockroom.core.address import without_password
from stockroom.errors import DatabaseError
from stockroom.store import tables
from stockroom.store.derived_tables import derived

BUSY_SECONDS = 60


@dataclass(frozen=True, slots=True)
class Store:
    """A database that is there and at this program's revision. ``name`` is safe to print."""

    engine: sa.Engine
    name: str
    path: Path | None

    @contextlib.contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """One snapshot to read from."""
        with guarded(self.name), self.engine.connect().execution_options(**self._snapshot) as conn:
            yield conn

    @property
    def _snapshot(self) -> dict[str, Any]:
        """A server shows each statement the latest state unless told to show one moment to all."""
        return {} if self.path else {"isolation_level": "REPEATABLE READ"}

    @contextlib.contextmanager
    def deriving(self, *, tables_too: bool = True) -> Iterator[sa.Connection]:
        """A transaction that changes nothing but what is derived: no entry, no record. A lost table is made again, unless
        only a part is to be derived (not ``tables_too``): an empty one would hide the loss.
        """
        with guarded(self.name), self.engine.connect().execution_options(writes=True) as conn, conn.begin():
            conn.execute(sa.select(tables.head) if self.path else sa.select(tables.head).with_for_update())
            if tables_too:
                derived.create_all(conn)
            yield conn


def is_server(where: str) -> bool:
    """True where ``where`` is the address of a server, not the path of a file."""
    return where.startswith(("postgresql://", "postgresql+psycopg://"))


_ENGINES: dict[str, tuple[sa.Engine, str, Path | None]] = {}


def closed(where: str) -> None:
    """Closes the connections that this process keeps open to a database; the statements that it has compiled stay."""
    if where in _ENGINES:
        _ENGINES[where][0].dispose()


def engine_for(where: str) -> tuple[sa.Engine, str, Path | None]:
    """(engine, printable name, path or None) for a path or a server's address. Opens nothing yet.

    Kept for the process, so that a run of many commands compiles each statement once. A connection serves one command
    after another part of it; ``closed`` ends it.
    """
    if where not in _ENGINES:
        _ENGINES[where] = _engine(where)
    return _ENGINES[where]


def _engine(where: str) -> tuple[sa.Engine, str, Path | None]:
    if is_server(where):
        if where.count("@") > 1:
            # Nobody can tell where such a password ends: parts of it would be taken for a host and printed.
            raise DatabaseError(
                "bad-database", "the database address has more than one @", "write an @ in a password as %40"
            )
        try:
            url = sa.make_url(where).set(drivername="postgresql+psycopg")
            engine = sa.create_engine(url, poolclass=sa.QueuePool, pool_size=1)
            sa.event.listen(engine, "checkout", _forget)
        except (sa.exc.ArgumentError, ModuleNotFoundError, ValueError) as fault:
            raise DatabaseError(
                "bad-database",
                f"the database address cannot be used: {type(fault).__name__}",
                "write it as postgresql+psycopg://USER@HOST/NAME; the driver comes with: pip install 'stockroom[postgres]'",
            ) from None
        return engine, without_password(url.render_as_string(hide_password=True)), None
    if "://" in where:
        raise DatabaseError(
            "bad-database", f"cannot use {where.split('://')[0]}://", "give a path, or postgresql+psycopg://…"
        )
    path = Path(where)

    def connect() -> sqlite3.Connection:
        link = sqlite3.connect(
            path.absolute().as_uri() + "?mode=rw", uri=True, timeout=BUSY_SECONDS, isolation_level=None
        )
        link.executescript("PRAGMA foreign_keys=ON; PRAGMA recursive_triggers=ON; PRAGMA synchronous=FULL")
        return link

    engine = sa.create_engine("sqlite://", creator=connect, poolclass=sa.QueuePool, pool_size=1)
    sa.event.listen(engine, "checkout", _forget)

    @sa.event.listens_for(engine, "begin")
    def begin(conn: sa.Connection) -> None:
        mode = "IMMEDIATE" if conn.get_execution_options().get("writes") else "DEFERRED"
        conn.exec_driver_sql(f"BEGIN {mode}")

    return engine, str(path), path


def _forget(link: Any, record: Any, proxy: Any) -> None:
    """What was read in an earlier transaction may be true no more: nothing of it is kept on the connection."""
    record.info.clear()


def opened(where: str) -> Store:
    """The store at ``where``. Raises: DatabaseError where it is missing, damaged or at another revision."""
    engine, name, path = engine_for(where)
    if path is not None:
        try:
            there = path.exists()
        except OSError as fault:
            raise DatabaseError("cannot-open", f"{path}: {(fault.strerror or '').lower()}", "check the path") from None
        if not there:
            raise DatabaseError(
                "no-database",
                f"there is no database at {path}",
                "make one with: stockroom init PRACTICE.toml; or name another with --db; or try: stockroom demo",
            )
        if path.is_dir():
            raise DatabaseError("no-database", f"{path} is a directory", "name a database file with --db")
    with guarded(name), engine.connect() as conn:
        try:
            found = _stated(conn)
        except (sa.exc.OperationalError, sa.exc.ProgrammingError) as fault:
            if not any(sign in str(fault.orig).lower() for sign in ("no such table", "does not exist")):
                raise
            found = None
    if found is None:
        raise DatabaseError("not-ours", f"{name} is not a stockroom database", "name another file with --db")
    if found != tables.REVISION:
        newer = found > tables.REVISION
        raise DatabaseError(
            "other-revision",
            f"{name} is at revision {found}, this program works with {tables.REVISION}",
            "install the newer program" if newer else "bring it up to date with: stockroom database upgrade",
        )
    return Store(engine, name, path)


_REVISION = sa.text("SELECT version_num FROM alembic_version")


def revision(conn: sa.Connection) -> str | None:
    """The revision that the database says it is at, None where it has no such table (a plain SELECT, no Alembic)."""
    return _stated(conn) if sa.inspect(conn).has_table("alembic_version") else None


def _stated(conn: sa.Connection) -> str | None:
    row = conn.execute(_REVISION).first()
    return None if row is None else str(row[0])


@contextlib.contextmanager
def guarded(name: str) -> Iterator[None]:
    """Turns what the database driver raises into a DatabaseError with what to do."""
    try:
        yield
    except (sa.exc.OperationalError, sa.exc.DatabaseError) as fault:
        raise _explained(name, fault) from fault
    except (UnicodeDecodeError, sa.exc.NoResultFound) as fault:
        raise DatabaseError("damaged", f"{name} is damaged", "leave it as it is and restore the last copy") from fault
    except sqlite3.Error as fault:
        raise _explained(name, fault) from fault


_SAID = (
    ("locked", "busy", "another program is writing to {name}", "try again in a moment; nothing was written"),
    ("disk is full", "disk-full", "the disk is full", "make room, then do it again; nothing was written"),
    ("full", "disk-full", "the disk is full", "make room, then do it again; nothing was written"),
    ("readonly", "read-only", "{name} cannot be written to", "check the file's and the folder's permissions"),
    ("unable to open", "cannot-open", "{name} cannot be opened", "check the path and its permissions"),
    ("not a database", "damaged", "{name} is not a database", "name another with --db, or restore a copy"),
    (
        "malformed",
        "damaged",
        "{name} is damaged",
        "leave it as it is and restore the last copy: stockroom records restore FILE",
    ),
    ("disk i/o", "disk", "the disk did not answer for {name}", "check the disk; the last whole step is safe"),
    (
        "records are only added",
        "records-only-added",
        "a record cannot be changed",
        "correct it with: stockroom undo",
    ),
    (
        "connection",
        "no-server",
        "the server of {name} did not answer",
        "check that it runs and that the address is right",
    ),
    (
        "permission denied",
        "no-right",
        "this database user may not do that in {name}",
        "ask whoever runs the server",
    ),
)


def _explained(name: str, fault: Exception) -> DatabaseError:
    original: Any = getattr(fault, "orig", None) or fault
    said = str(original).lower()
    if missing := re.search(r'(database|role) "[^"]*" does not exist', said):
        if missing.group(1) == "role":
            return DatabaseError("no-right", f"the server knows no such user: {name}", "check the name in the address")
        return DatabaseError(
            "no-database", f"the server has no such database: {name}",
            "whoever runs it makes an empty one; then: stockroom init PRACTICE.toml",
        )  # fmt: skip
    if any(sign in said for sign in ("no such table", "does not exist")):
        return _lost(name, said)
    for sign, slug, what, todo in _SAID:
        if sign in said:
            return DatabaseError(slug, what.format(name=name), todo)
    return DatabaseError("database", f"{name}: {str(original).splitlines()[0]}", "nothing was written; try again")


def _lost(name: str, said: str) -> DatabaseError:
    """A table that is not there: what is derived can be made again, a record cannot."""
    if any(re.search(rf"\b{table.name}\b", said) for table in derived.sorted_tables):
        return DatabaseError(
            "derived-lost",
            f"{name}: what was computed from the readings is not there",
            "make it anew, no record is touched: stockroom database rebuild",
        )
    first = said.splitlines()[0]
    return DatabaseError("damaged", f"{name} is damaged: {first}", "leave it as it is and restore the last copy")
