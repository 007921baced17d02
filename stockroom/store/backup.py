"""A consistent copy of a SQLite database while it is in use (SQLite's own online backup)."""

import contextlib
import sqlite3
from pathlib import Path

from stockroom.errors import DatabaseError


def copied(path: Path, target: Path) -> None:
    """Copies the database file ``path`` to ``target``, readable by its owner only.

    It bears its name only once it is whole: what is broken off leaves a ``.part``, never half a copy.
    Raises: DatabaseError where the target is there already or cannot be written.
    """
    if target.exists():
        raise DatabaseError("copy-exists", f"{target} is there already", "name another file")
    part = target.with_name(target.name + ".part")
    try:
        part.unlink(missing_ok=True)
        part.touch(mode=0o600, exist_ok=False)
    except OSError as fault:
        raise DatabaseError("cannot-write", f"{target} cannot be made: {fault.strerror}", "name another file") from None
    try:
        with (
            contextlib.closing(sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True)) as source,
            contextlib.closing(sqlite3.connect(part)) as copy,
        ):
            source.backup(copy)
        part.rename(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
