"""What is computed from the readings and kept beside them: spells and silences on each line, days summed up.

None of it is a record: it may be dropped and made anew (``tasks.rebuild``), and ``records verify`` does so to compare.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import sqlalchemy as sa

from stockroom.core.days import Day
from stockroom.core.excursions import Found
from stockroom.core.exposure import Part
from stockroom.core.spells import Spell
from stockroom.core.stock import FOREVER
from stockroom.errors import DatabaseError
from stockroom.store import derived_tables as d
from stockroom.store import tables as t

BLANK_IN_SPELL = frozenset({5, 6, 7})
"""Of a spell's numbers from its limit on, those that may be missing: its end, and the readings around it."""


def _numbers(row: Sequence[Any], blank: frozenset[int] = frozenset()) -> Sequence[Any]:
    """The same row. No record guards these tables: what other programs wrote into them is not trusted to be numbers.

    Raises: DatabaseError where it is not.
    """
    for i, value in enumerate(row):
        if not (isinstance(value, int | float) and math.isfinite(value)) and (value is not None or i not in blank):
            raise DatabaseError(
                "derived-lost",
                "what was computed from the readings has been changed by another program",
                "make it anew, no record is touched: stockroom database rebuild",
            )
    return row


@dataclass(frozen=True, slots=True)
class Scan:
    """A line of a fridge over a span of rules in which nothing about it changed: [start, end).

    ``direction`` is warm, cold, or gap (a silence; limit and settle are 0 then). ``max_gap`` and ``settle`` are in
    seconds. Its spells are complete from ``since`` on.
    """

    direction: str
    limit: int
    start: int
    end: int
    max_gap: int
    settle: int
    since: int

    def serves(self, wanted: "Scan") -> bool:
        """True where what was kept for this one answers another."""
        mine = (self.direction, self.limit, self.start, self.end, self.max_gap, self.settle)
        theirs = (wanted.direction, wanted.limit, wanted.start, wanted.end, wanted.max_gap, wanted.settle)
        return mine == theirs and self.since <= wanted.since

    @property
    def key(self) -> tuple[str, int, int]:
        """By what it is known within its fridge."""
        return self.direction, self.limit, self.start


def scans(conn: sa.Connection, fridge: int) -> dict[tuple[str, int, int], Scan]:
    """Key -> scan of every line that is kept for a fridge."""
    rows = conn.execute(sa.select(d.line_scan).where(d.line_scan.c.fridge == fridge))
    found = [Scan(direction, *_numbers(numbers)) for _, direction, *numbers in rows]
    return {s.key: s for s in found}


def spells(
    conn: sa.Connection, fridge: int, since: int = -FOREVER, until: int = FOREVER
) -> dict[tuple[str, int, int], list[Found]]:
    """Key of a scan -> its spells that began by ``until`` and were not over before ``since``, in order."""
    s = d.spell.c
    query = sa.select(d.spell).where(s.fridge == fridge)
    if since > -FOREVER:
        query = query.where(sa.or_(s.end_at.is_(None), s.end_at >= since))
    if until < FOREVER:
        query = query.where(s.first_out <= until)
    found: dict[tuple[str, int, int], list[Found]] = {}
    for r in conn.execute(query.order_by(s.direction, s.limit_milli, s.from_at, s.first_out)):
        _, direction, *numbers = r
        (
            limit, start, first_out, last_out, start_at, end_at, before, after, seconds, extreme, area, mkt,
        ) = _numbers(numbers, BLANK_IN_SPELL)  # fmt: skip
        spell = Spell(start_at, end_at, seconds, before, after, extreme, area, first_out, last_out)
        found.setdefault((direction, limit, start), []).append(Found(spell, mkt))
    return found


def keep_scan(conn: sa.Connection, fridge: int, scan: Scan) -> None:
    """Keeps that a line is watched from now on; what was kept under its key before is forgotten."""
    drop_scan(conn, fridge, scan.key)
    conn.execute(
        d.line_scan.insert(),
        [
            {
                "fridge": fridge, "direction": scan.direction, "limit_milli": scan.limit, "from_at": scan.start,
                "until_at": scan.end, "max_gap": scan.max_gap, "settle": scan.settle, "since": scan.since,
            }
        ],
    )  # fmt: skip


def drop_scan(conn: sa.Connection, fridge: int, key: tuple[str, int, int]) -> None:
    """Forgets a line and its spells."""
    for table in (d.line_scan, d.spell):
        c = table.c
        conn.execute(
            sa.delete(table).where(
                c.fridge == fridge, c.direction == key[0], c.limit_milli == key[1], c.from_at == key[2]
            )
        )


def keep_spells(
    conn: sa.Connection, fridge: int, scan: Scan, found: Iterable[Found], first: int = -FOREVER, last: int = FOREVER
) -> None:
    """Keeps the spells of a line whose first reading out of range lies in [first, last], instead of those kept so far."""
    c = d.spell.c
    conn.execute(
        sa.delete(d.spell).where(
            c.fridge == fridge, c.direction == scan.direction, c.limit_milli == scan.limit, c.from_at == scan.start,
            c.first_out >= first, c.first_out <= last,
        )
    )  # fmt: skip
    rows = [
        {
            "fridge": fridge, "direction": scan.direction, "limit_milli": scan.limit, "from_at": scan.start,
            "first_out": f.spell.first_out, "last_out": f.spell.last_out, "start_at": f.spell.start,
            "end_at": f.spell.end, "before_at": f.spell.at_most_from, "after_at": f.spell.at_most_to,
            "seconds": f.spell.seconds, "extreme": f.spell.extreme, "degree_minutes": f.spell.degree_minutes,
            "mkt": f.mkt,
        }
        for f in found
    ]  # fmt: skip
    if rows:
        conn.execute(d.spell.insert(), rows)


def days(conn: sa.Connection, fridge: int, first: int, last: int) -> list[tuple[Day, int]]:
    """(day, the ``max_gap`` in seconds by which it was summed up) from UTC day ``first`` to ``last``, in order."""
    return [
        (Day(day, readings, Part(seconds_logged=held, integral=area, min_milli=low, max_milli=high)), gap)
        for day, gap, readings, low, high, held, area in map(
            _numbers, conn.execute(_days(), {"fridge": fridge, "first": first, "last": last})
        )
    ]


@cache
def _days() -> Any:
    c = d.day_summary.c
    return (
        sa.select(c.day, c.max_gap, c.readings, c.low, c.high, c.monitored, c.integral)
        .where(
            c.fridge == sa.bindparam("fridge"), c.day >= sa.bindparam("first"), c.day <= sa.bindparam("last")
        )
        .order_by(c.day)
    )  # fmt: skip


def keep_days(conn: sa.Connection, fridge: int, found: Sequence[Day], max_gap: int, first: int, last: int) -> None:
    """Keeps the summaries of the UTC days ``first`` to ``last`` instead of those kept so far."""
    c = d.day_summary.c
    conn.execute(sa.delete(d.day_summary).where(c.fridge == fridge, c.day >= first, c.day <= last))
    rows = [
        {
            "fridge": fridge, "day": day.number, "max_gap": max_gap, "readings": day.readings, "low": day.part.min_milli,
            "high": day.part.max_milli, "monitored": day.part.seconds_logged, "integral": day.part.integral,
        }
        for day in found
    ]  # fmt: skip
    if rows:
        conn.execute(d.day_summary.insert(), rows)


def forget(conn: sa.Connection, fridge: int) -> None:
    """Drops every spell, line and day that is kept for a fridge."""
    for table in (d.spell, d.line_scan, d.day_summary):
        conn.execute(sa.delete(table).where(table.c.fridge == fridge))


def keep_spans_anew(conn: sa.Connection) -> None:
    """Makes the list of which entry brought which stretch of readings anew."""
    conn.execute(sa.delete(d.reading_span))
    conn.execute(d.reading_span.insert().from_select([c.name for c in d.reading_span.columns], _spans_anew()))


def spans_fit(conn: sa.Connection) -> bool:
    """True where that list is as the readings say."""
    kept = sa.select(d.reading_span)
    return {tuple(r) for r in conn.execute(kept)} == {tuple(r) for r in conn.execute(_spans_anew())}


def _spans_anew() -> sa.Select[Any]:
    r = t.reading.c
    return sa.select(
        r.entry, r.fridge, sa.func.min(r.at), sa.func.max(r.at), sa.func.count()
    ).group_by(r.entry, r.fridge)  # fmt: skip
