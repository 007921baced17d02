"""The practice file as loaded, its versions, and days closed or opened by a person."""

from datetime import date

import sqlalchemy as sa

from stockroom.core.opening import DayException
from stockroom.core.stock import FOREVER
from stockroom.store import tables as t
from stockroom.store.once import once
from stockroom.store.writing import Book, live

_VERSIONS = (
    sa.select(t.practice_version.c.valid_from, t.practice_version.c.text)
    .where(live(t.practice_version))
    .order_by(t.practice_version.c.id)
)


def versions(conn: sa.Connection) -> list[tuple[int | None, str]]:
    """(valid from, text) of every loaded practice file, oldest first; the first holds from the beginning (None)."""
    found = [(None if v is None else int(v), str(text)) for v, text in conn.execute(_VERSIONS)]
    return sorted(found, key=lambda row: -FOREVER if row[0] is None else row[0])


def loaded(book: Book, text: str, valid_from: int | None) -> None:
    """Appends a practice file that holds from an instant (None: from the beginning)."""
    book.add(t.practice_version, valid_from=valid_from, text=text)


_EXCEPTIONS = (
    sa.select(t.day_exception)
    .where(live(t.day_exception), t.day_exception.c.at <= sa.bindparam("until"))
    .order_by(t.day_exception.c.at, t.day_exception.c.id)
)


def day_exceptions(conn: sa.Connection, until: int = FOREVER) -> list[tuple[str, DayException]]:
    """(site, exception) for every day that a person closed or opened by ``until``, in the order in which they did; not to
    be changed by who reads it.
    """
    return once(conn, ("exceptions", until), lambda: _day_exceptions(conn, until))


def _day_exceptions(conn: sa.Connection, until: int) -> list[tuple[str, DayException]]:
    rows = conn.execute(_EXCEPTIONS, {"until": until})
    return [
        (
            r.site,
            DayException(date.fromisoformat(r.day), bool(r.open), r.from_minute, r.to_minute, r.why or "", number),
        )
        for number, r in enumerate(rows)
    ]


def changes(conn: sa.Connection) -> list[tuple[int, int]]:
    """(when it holds from, entry) of every closed or opened day and every later practice file."""
    days = sa.select(t.day_exception.c.at, t.day_exception.c.entry).where(live(t.day_exception))
    files = sa.select(t.practice_version.c.valid_from, t.practice_version.c.entry).where(
        live(t.practice_version), t.practice_version.c.valid_from.is_not(None)
    )
    return [(int(at), int(entry)) for query in (days, files) for at, entry in conn.execute(query)]


def day_excepted(book: Book, site: str, exception: DayException) -> None:
    """Appends that a day, or part of it, is closed or open after all."""
    book.add(
        t.day_exception,
        at=book.at,
        site=site,
        day=exception.day.isoformat(),
        open=exception.open,
        from_minute=exception.from_minute,
        to_minute=exception.to_minute,
        why=exception.why,
    )


def remembered(conn: sa.Connection, subject: str) -> str | None:
    """What was last remembered about ``subject`` (such as a fridge's logger columns), as JSON text."""
    found = conn.scalar(
        sa.select(t.remembered.c.text)
        .where(live(t.remembered), t.remembered.c.subject == subject)
        .order_by(t.remembered.c.id.desc())
        .limit(1)
    )
    return None if found is None else str(found)


def remembered_under(conn: sa.Connection, head: str, until: int = FOREVER) -> dict[str, str]:
    """What was last remembered by ``until`` about every subject that begins with ``head``, by what follows it."""
    found = conn.execute(
        sa.select(t.remembered.c.subject, t.remembered.c.text)
        .join(t.entry, t.entry.c.n == t.remembered.c.entry)
        .where(live(t.remembered), t.remembered.c.subject.startswith(head, autoescape=True), t.entry.c.at <= until)
        .order_by(t.remembered.c.id)
    )
    return {str(subject)[len(head) :]: str(text) for subject, text in found}


def remember(book: Book, subject: str, text: str) -> None:
    """Appends what to remember about ``subject``."""
    book.add(t.remembered, subject=subject, text=text)
