"""A consistent copy of a SQLite database while it is in use (SQLite's own online backup), and its way back."""

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from stockroom.errors import DatabaseError, Refused
from stockroom.store.engine import guarded

BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a database while it is in use; it belongs to that database and to no other."""


@contextlib.contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that only reads."""
    with contextlib.closing(sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True, timeout=20)) as link:
        yield link


def copied(path: Path, target: Path, mode: str = "DELETE") -> None:
    """Copies the database file ``path`` to ``target``, readable by its owner only.

    ``mode``: the journal that the copy goes on with. With DELETE it is a single file: nothing of it may stand in a second
    one that is left behind.

    It bears its name only once it is whole: what is broken off leaves a ``.part``, never half a copy.
    Raises: Refused where the target is there already, DatabaseError where it cannot be written.
    """
    taken = Refused("copy-exists", f"{target} is there already", "name another file")
    if target.exists():
        raise taken
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        part.unlink(missing_ok=True)
        part.touch(mode=0o600, exist_ok=False)
    except OSError as fault:
        raise DatabaseError("cannot-write", f"{target} cannot be made: {fault.strerror}", "name another file") from None
    try:
        with guarded(str(path)), reading(path) as source, contextlib.closing(sqlite3.connect(part)) as copy:
            source.backup(copy)
            copy.execute(f"PRAGMA journal_mode={mode}")
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        named(part, target, taken)
    finally:
        for end in ("", *BESIDE):
            part.with_name(part.name + end).unlink(missing_ok=True)


def named(part: Path, target: Path, taken: Refused) -> None:
    """Gives a whole file its name, never over another one that was quicker. Raises: ``taken``, OSError."""
    try:
        os.link(part, target)
        part.unlink()
    except FileExistsError:
        raise taken from None
    except (OSError, NotImplementedError):  # a disk that knows no second names
        if target.exists():
            raise taken from None
        part.rename(target)
    with contextlib.suppress(OSError):  # Windows opens no folder
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def head_in(path: Path) -> tuple[int, str]:
    """(number of the last entry, its hash) of a database file."""
    with guarded(str(path)), reading(path) as link:
        entries, head = link.execute("SELECT entries, hash FROM head").fetchone()
    return int(entries), str(head)


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
    with (
        guarded(str(path)),
        reading(copy) as source,
        contextlib.closing(sqlite3.connect(path, timeout=20)) as target,
    ):
        source.backup(target)
        target.execute("PRAGMA journal_mode=WAL")


def set_aside(path: Path, target: Path) -> None:
    """Renames a database that cannot be read, with what SQLite keeps beside it."""
    for end in ("", *BESIDE):
        old = path.with_name(path.name + end)
        if old.exists():
            old.rename(target.with_name(target.name + end))
