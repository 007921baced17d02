"""Copies of the whole record: on demand, back again, and from one database to another."""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from stockroom.errors import DatabaseError, Refused
from stockroom.store import Link, backup, carry, migrate
from stockroom.store.carry import Advance
from stockroom.store.engine import Store, closed, is_server, opened
from stockroom.store.entries import entry_count, first_hash
from stockroom.store.verify import verified
from stockroom.tasks.rebuild import derived_anew, faults, rebuilt


@dataclass(frozen=True, slots=True)
class Copy:
    """A copy that was made: where it is, and what it ends with."""

    file: str
    entries: int
    head: str


def backed_up(store: Store, file: str, advance: Advance) -> Copy:
    """Copies the database into a new SQLite file while it is in use, and proves the copy.

    Raises: Refused where the file is there already, DatabaseError where it cannot be written.
    """
    target = Path(file)
    if store.path is not None:
        backup.copied(store.path, target)
    else:
        _carried(store, file, advance)
    try:
        return _proved(file, advance)
    except BaseException:
        migrate.discarded(file)
        raise


def _proved(file: str, advance: Advance) -> Copy:
    """A copy whose every entry was recomputed. Raises: DatabaseError."""
    with _open(file) as copy:
        proof = verified(copy, advance)
    if proof.faults:
        raise DatabaseError("copy-altered", f"{file} does not prove itself: {proof.faults[0]}", "use another copy")
    return Copy(file, proof.entries, proof.head)


@contextlib.contextmanager
def _open(where: str) -> Iterator[Store]:
    """Another database for a while."""
    try:
        yield opened(where)
    finally:
        closed(where)


def _carried(store: Store, where: str, advance: Advance) -> None:
    """Makes a new database at ``where`` with all records of ``store`` in it, whole or not at all."""

    def fill(target: Link) -> None:
        carry.carried(source, advance)(target)
        derived_anew(target, advance)

    with store.reading() as source:
        migrate.create(where, fill)
    closed(where)


def copied_to(store: Store, where: str, advance: Advance) -> Copy:
    """Moves the whole practice into another, new database, and proves both equal row by row.

    Raises: Refused where there is a database already; DatabaseError where the two do not agree.
    """
    _carried(store, where, advance)
    with _open(where) as other:
        with store.reading() as one, other.reading() as two:
            wrong = carry.differences(one, two, advance)
            wrong += [f"the copy: {f}" for f in faults(two, advance)]
        wrong += verified(other, advance).faults
        if wrong:
            raise DatabaseError(
                "copy-differs", f"{other.name} is not as {store.name}: {wrong[0]}", "somebody recorded meanwhile? do not use it; copy again"
            )  # fmt: skip
        with other.reading() as two:
            head = carry.head_of(two)
    return Copy(other.name, int(head["entries"]), str(head["hash"]))


@dataclass(frozen=True, slots=True)
class Restoring:
    """What a restore would do: the copy, and what the database there has besides. ``there``: its entries, None where it
    cannot be read or is missing. ``same``: both are of one practice. ``later``: entries that the copy does not have.
    """

    copy: Copy
    there: int | None
    same: bool
    later: int


def restoring(where: str, file: str, advance: Advance) -> Restoring:
    """Proves the copy, and compares it with what is there. Raises: DatabaseError where the copy does not prove itself."""
    if is_server(where):
        raise Refused(
            "restore-to-server", "a copy goes back to a server into a new database",
            f"make an empty database there, then: stockroom --db {file} records copy --to URL",
        )  # fmt: skip
    path = Path(file)
    if not path.is_file():
        raise DatabaseError("no-copy", f"there is no copy at {file}", "the daily copies stand beside the database")
    if Path(where).exists() and path.samefile(where):
        raise Refused("is-the-database", f"{file} is the database itself", "name a copy")
    wrong = backup.damage(path)
    if wrong:
        raise DatabaseError("copy-damaged", f"{file} is damaged: {wrong}", "use another copy; nothing was replaced")
    copy = _proved(file, advance)
    try:
        with _open(where) as now, now.reading() as conn, _open(file) as old, old.reading() as link:
            n, same = entry_count(conn), first_hash(conn) == first_hash(link)
    except DatabaseError:
        return Restoring(copy, None, True, 0)
    return Restoring(copy, n, same, max(0, n - copy.entries))


def restored(where: str, file: str, stamp: str) -> str | None:
    """Puts a proved copy in the database's place; what was there is kept beside it. Returns its file.

    Raises: DatabaseError where it cannot be written; then what was there is there still.
    """
    path, kept = Path(where), None
    try:
        if path.exists() and path.stat().st_size:
            kept = path.with_name(f"{path.stem}.before-restore-{stamp}{path.suffix}")
            if backup.damage(path):
                # The copy is whole and beside it before anything is moved: a full disk looks like damage too.
                whole = path.with_name(f"{path.name}.{stamp}.whole")
                backup.copied(Path(file), whole, "WAL")
                backup.set_aside(path, kept)
                whole.rename(path)
            else:
                backup.copied(path, kept)
                backup.overwritten(path, Path(file))
        else:
            path.unlink(missing_ok=True)
            path.parent.mkdir(parents=True, exist_ok=True)
            backup.copied(Path(file), path, "WAL")
    except OSError as fault:
        raise DatabaseError(
            "cannot-write", f"{path}: {fault.strerror}", "make room or check the folder's rights"
        ) from None
    with _open(where) as store:
        rebuilt(store, lambda *_: None)
    return None if kept is None else str(kept)
