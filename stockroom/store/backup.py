"""A consistent copy of a SQLite database while it is in use (SQLite's own online backup)."""

import sqlite3
from pathlib import Path

from stockroom.errors import DatabaseError


def copied(path: Path, target: Path) -> None:
    """Copies the database file ``path`` to ``target``, readable by its owner only.

    Raises: DatabaseError where the target is there already or cannot be written.
    """
    try:
        target.touch(mode=0o600, exist_ok=False)
    except FileExistsError:
        raise DatabaseError("copy-exists", f"{target} is there already", "name another file") from None
    except OSError as fault:
        raise DatabaseError("cannot-write", f"{target} cannot be made: {fault.strerror}", "name another file") from None
    source = sqlite3.connect(path.absolute().as_uri() + "?mode=ro", uri=True)
    try:
        copy = sqlite3.connect(target)
        try:
            source.backup(copy)
        finally:
            copy.close()
    finally:
        source.close()
