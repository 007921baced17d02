"""A consistent copy of a SQLite database while it is in use (SQLite's own online backup), and its way back."""

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from stockroom.errors import DatabaseError, Refused

BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a database while it is in use; it belongs to that database and to no other."""


@contextlib.contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that only reads."""
    with contextlib.closing(sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True, timeout=20)) as link:
        yield link


def copied(path: Path, target: Path) -> None:
    """Copies the database file ``path`` to ``target``, readable by its owner only.

    It bears its name only once it is whole: what is broken off leaves a ``.part``, never half a copy.
    Raises: Refused where the target is there already, DatabaseError where it cannot be written.
    """
    if target.exists():
        raise Refused("copy-exists", f"{target} is there already", "name another file")
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        part.unlink(missing_ok=True)
        part.touch(mode=0o600, exist_ok=False)
    except OSError as fault:
        raise DatabaseError("cannot-write", f"{target} cannot be made: {fault.strerror}", "name another file") from None
    try:
        with reading(path) as source, contextlib.closing(sqlite3.connect(part)) as copy:
            source.backup(copy)
            # A copy is a single file: nothing of it may stand in a second one that is left behind.
            copy.execute("PRAGMA journal_mode=DELETE")
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        _named(part, target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _named(part: Path, target: Path) -> None:
    """Gives the whole copy its name, unless another one was quicker."""
    if target.exists():
        raise Refused("copy-exists", f"{target} is there already", "name another file")
    part.rename(target)


def damage(path: Path) -> str:
    """What SQLite itself finds wrong with a file; "" where it finds nothing."""
    try:
        with reading(path) as link:
            said = str(link.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except sqlite3.Error as fault:
        return str(fault)
    return "" if said == "ok" else said.splitlines()[0]


def overwritten(path: Path, copy: Path) -> None:
    """Puts the contents of ``copy`` into the database at ``path``, in one transaction of SQLite's: whoever reads it at
    the same time sees the old state or the new one.
    """
    with reading(copy) as source, contextlib.closing(sqlite3.connect(path, timeout=20)) as target:
        source.backup(target)
        target.execute("PRAGMA journal_mode=WAL")


def set_aside(path: Path, target: Path) -> None:
    """Renames a database that cannot be read, with what SQLite keeps beside it."""
    for end in ("", *BESIDE):
        old = path.with_name(path.name + end)
        if old.exists():
            old.rename(target.with_name(target.name + end))
