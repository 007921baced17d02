"""One copy a day of a SQLite database, unasked, once something was recorded. It loads nothing but what it needs."""

from datetime import date
from pathlib import Path

from stockroom.errors import StockroomError
from stockroom.store import backup
from stockroom.store.engine import is_server

KEPT = 14
"""So many daily copies are kept, the newest ones."""


def daily(where: str, today: date) -> str | None:
    """The day's copy beside a SQLite database, where there is none yet; older than the newest ``KEPT`` go.

    Returns what went wrong, in words, or None. A copy that cannot be made must not undo what was recorded.
    """
    if is_server(where):
        return None
    path = Path(where)
    folder = path.with_name(path.name + ".copies")
    target = folder / f"{today.isoformat()}.db"
    if target.exists():
        return None
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        backup.copied(path, target)
        entries, head = backup.head_in(target)
        with (folder / "heads.txt").open("a", encoding="utf-8", newline="\n") as heads:
            heads.write(f"{today.isoformat()} R-{entries} {head}\n")
        for old in sorted(folder.glob("[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9].db"))[:-KEPT]:
            old.unlink(missing_ok=True)
        for broken_off in folder.glob("*.part*"):
            if not broken_off.name.startswith(today.isoformat()):
                broken_off.unlink(missing_ok=True)
    except StockroomError as fault:
        return None if target.exists() else fault.what
    except OSError as fault:
        return f"{folder}: {(fault.strerror or str(fault)).lower()}"
    return None
