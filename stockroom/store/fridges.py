"""What is on record about fridges: logger readings, checks by hand, excursions and their decisions."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, pairwise

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from stockroom.core.records import HandCheck
from stockroom.core.stock import FOREVER
from stockroom.store import tables as t
from stockroom.store.once import once
from stockroom.store.open_page import said_later
from stockroom.store.writing import Book, live

Ints = npt.NDArray[np.int64]


def series(conn: sa.Connection, fridge: int, start: int = -FOREVER, end: int = FOREVER) -> tuple[Ints, Ints]:
    """Logger readings of a fridge in [start, end]: (instants, thousandths of °C), in order of time."""
    rows = conn.execute(
        sa.select(t.reading.c.at, t.reading.c.milli)
        .where(t.reading.c.fridge == fridge, t.reading.c.at >= start, t.reading.c.at <= end, live(t.reading))
        .order_by(t.reading.c.at)
    )
    flat = np.fromiter(chain.from_iterable(rows), dtype=np.int64).reshape(-1, 2)
    return np.ascontiguousarray(flat[:, 0]), np.ascontiguousarray(flat[:, 1])


_LAST_READING = (
    sa.select(t.reading.c.at, t.reading.c.milli)
    .where(t.reading.c.fridge == sa.bindparam("fridge"), t.reading.c.at <= sa.bindparam("until"), live(t.reading))
    .order_by(t.reading.c.at.desc())
    .limit(1)
)


def last_reading(conn: sa.Connection, fridge: int, until: int = FOREVER) -> tuple[int, int] | None:
    """(instant, thousandths) of the newest logger reading by ``until``."""
    row = conn.execute(_LAST_READING, {"fridge": fridge, "until": until}).first()
    return None if row is None else (int(row.at), int(row.milli))


def means(conn: sa.Connection, fridge: int, bounds: Sequence[int]) -> list[tuple[int, float]]:
    """(start, mean in thousandths of °C) of each span between neighbouring ``bounds`` in which anything was read.

    The database adds up; spans of one length are one query, so that two months are two or three.
    """
    r = t.reading.c
    found: list[tuple[int, float]] = []
    for first, last, step in _even(bounds):
        # Whole numbers throughout: the reading's distance from the first bound, less what is over a whole span.
        away = r.at - first
        start = away - away % step
        rows = conn.execute(
            sa.select(start.label("start"), sa.func.sum(r.milli), sa.func.count())
            .where(r.fridge == fridge, r.at >= first, r.at < last, live(t.reading))
            .group_by(start)
            .order_by(start)
        )
        found += [(first + int(s), int(total) / int(n)) for s, total, n in rows]
    return found


def _even(bounds: Sequence[int]) -> list[tuple[int, int, int]]:
    """Runs of bounds that lie equally far apart: (first, last, step)."""
    runs: list[tuple[int, int, int]] = []
    for a, b in pairwise(bounds):
        if runs and runs[-1][1] == a and runs[-1][2] == b - a:
            runs[-1] = (runs[-1][0], b, b - a)
        else:
            runs.append((a, b, b - a))
    return runs


def first_reading(conn: sa.Connection, fridge: int, since: int) -> int | None:
    """The instant of the first logger reading from ``since`` on."""
    found = conn.scalar(
        sa.select(t.reading.c.at)
        .where(t.reading.c.fridge == fridge, t.reading.c.at >= since, live(t.reading))
        .order_by(t.reading.c.at)
        .limit(1)
    )
    return None if found is None else int(found)


def last_check(conn: sa.Connection, fridge: int) -> tuple[int, int] | None:
    """(instant, thousandths) of the newest check by hand."""
    c = t.hand_check.c
    query = sa.select(c.at, c.milli).where(c.fridge == fridge, live(t.hand_check)).order_by(c.at.desc(), c.id.desc())
    row = conn.execute(query.limit(1)).first()
    return None if row is None else (int(row.at), int(row.milli))


def anything_after(conn: sa.Connection, fridge: int, until: int) -> bool:
    """True where a reading or a check by hand is on record for a time after ``until``."""
    if until >= FOREVER or not once(conn, ("later", until), lambda: said_later(conn, until)):
        return False
    return once(conn, ("after", fridge, until), lambda: _anything_after(conn, fridge, until))


def _anything_after(conn: sa.Connection, fridge: int, until: int) -> bool:
    check = t.hand_check.c
    later = sa.select(check.at).where(check.fridge == fridge, check.at > until).limit(1)
    return first_reading(conn, fridge, until + 1) is not None or conn.scalar(later) is not None


_C = t.hand_check.c
_HAND_CHECKS = (
    sa.select(_C.id, _C.entry, _C.at, _C.milli, _C.low, _C.high, _C.doubtful, _C.note, t.entry.c.by)
    .outerjoin(t.entry, t.entry.c.n == _C.entry)
    .where(
        _C.fridge == sa.bindparam("fridge"),
        _C.at >= sa.bindparam("begin"),
        _C.at <= sa.bindparam("until"),
        live(t.hand_check),
    )
    .order_by(_C.at, _C.id)
)


_RESET = sa.select(sa.func.max(_C.at)).where(
    _C.fridge == sa.bindparam("fridge"), _C.at < sa.bindparam("since"), _C.low.is_not(None), _C.high.is_not(None),
    live(t.hand_check),
)  # fmt: skip


def hand_checks(
    conn: sa.Connection, fridge: int, name: str, until: int = FOREVER, since: int = -FOREVER
) -> list[HandCheck]:
    """Checks by hand of a fridge by ``until``, in order of time; from the last one before ``since`` that showed min and
    max on.
    """
    # The entry that is open right now is written last: what it recorded is there already.
    begin = conn.scalar(_RESET, {"fridge": fridge, "since": since}) if since > -FOREVER else None
    begin = -FOREVER if begin is None else int(begin)
    return [
        HandCheck(key, entry, name, at, milli, low, high, bool(doubtful), by or "", note)
        for key, entry, at, milli, low, high, doubtful, note, by in conn.execute(
            _HAND_CHECKS, {"fridge": fridge, "until": until, "begin": begin}
        )
    ]


def checked(
    book: Book, fridge: int, milli: int, low: int | None, high: int | None, doubtful: bool, note: str | None
) -> int:
    """Appends one check by hand; returns its key."""
    return book.add(
        t.hand_check, fridge=fridge, at=book.at, milli=milli, low=low, high=high, doubtful=doubtful, note=note
    )


def conflicting(book: Book, fridge: int, at: int, kept: int, other: int, line: int) -> None:
    """Appends that a file had another value for an instant that is on record; the first stays."""
    book.add(t.reading_conflict, fridge=fridge, at=at, kept_milli=kept, other_milli=other, line=line)


def known_conflicts(conn: sa.Connection, fridge: int) -> set[tuple[int, int]]:
    """(instant, other value) of every conflict that is on record."""
    rows = conn.execute(
        sa.select(t.reading_conflict.c.at, t.reading_conflict.c.other_milli).where(
            t.reading_conflict.c.fridge == fridge, live(t.reading_conflict)
        )
    )
    return {(int(a), int(m)) for a, m in rows}


@dataclass(frozen=True, slots=True)
class Anchor:
    """An excursion as recorded: its number and the first reading out of range that was known for it."""

    number: int
    source: str
    direction: str | None
    limit: int | None
    at: int


def anchors(conn: sa.Connection, fridge: int) -> list[Anchor]:
    """Every excursion ever recorded for a fridge, by number; numbers stay although a reading is taken back."""
    rows = conn.execute(sa.select(t.excursion).where(t.excursion.c.fridge == fridge).order_by(t.excursion.c.n))
    return [Anchor(r.n, r.source, r.direction, r.limit_milli, r.anchor_at) for r in rows]


def last_anchors(conn: sa.Connection) -> dict[int, int]:
    """Key of a fridge -> the latest instant at which an excursion of it is anchored; not to be changed by who reads it."""
    return once(conn, "last anchors", lambda: _last_anchors(conn))


def _last_anchors(conn: sa.Connection) -> dict[int, int]:
    c = t.excursion.c
    rows = conn.execute(sa.select(c.fridge, sa.func.max(c.anchor_at)).group_by(c.fridge))
    return {int(fridge): int(at) for fridge, at in rows}


def fridge_of_excursion(conn: sa.Connection, number: int) -> str | None:
    """The fridge of an excursion by its number."""
    found = conn.scalar(
        sa.select(t.place.c.name)
        .join(t.excursion, t.excursion.c.fridge == t.place.c.id)
        .where(t.excursion.c.n == number)
    )
    return None if found is None else str(found)


def anchored(book: Book, fridge: int, source: str, direction: str | None, limit: int | None, at: int) -> int:
    """Appends a new excursion; returns its E-number."""
    number = book.number("excursions")
    book.add(t.excursion, n=number, fridge=fridge, source=source, direction=direction, limit_milli=limit, anchor_at=at)
    return number


@dataclass(frozen=True, slots=True)
class Decision:
    """A named person's decision about an excursion, and the figures it was taken on."""

    excursion: int
    at: int
    by: str
    verdict: str
    figures: str
    why: str
    answer: str | None


def decisions(conn: sa.Connection, until: int = FOREVER) -> dict[int, list[Decision]]:
    """E-number -> decisions by ``until``, oldest first; not to be changed by who reads them."""
    return once(conn, ("decisions", until), lambda: _decisions(conn, until))


def _decisions(conn: sa.Connection, until: int) -> dict[int, list[Decision]]:
    rows = conn.execute(
        sa.select(t.decision, t.entry.c.by)
        .outerjoin(t.entry, t.entry.c.n == t.decision.c.entry)
        .where(live(t.decision), t.decision.c.at <= until)
        .order_by(t.decision.c.id)
    )
    found: dict[int, list[Decision]] = {}
    for r in rows:
        found.setdefault(r.excursion, []).append(
            Decision(r.excursion, r.at, r.by or "", r.verdict, r.figures, r.why, r.answer)
        )
    return found


def decided(book: Book, excursion: int, verdict: str, figures: str, why: str, answer: str | None) -> None:
    """Appends a decision about an excursion."""
    book.add(t.decision, at=book.at, excursion=excursion, verdict=verdict, figures=figures, why=why, answer=answer)


def explain(book: Book, fridge: int, day: str, why: str) -> None:
    """Appends why a check of a day was missed, or a gap came about."""
    book.add(t.explained, at=book.at, fridge=fridge, day=day, why=why)


def switched(book: Book, fridge: int, on: bool, why: str | None) -> None:
    """Appends that a fridge is off (defrosting, repair) or on again."""
    book.add(t.fridge_duty, at=book.at, fridge=fridge, on=on, why=why)
