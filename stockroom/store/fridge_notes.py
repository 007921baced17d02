"""What people said about a fridge: who explained a missed check, who switched it off, and why."""

from collections.abc import Sequence
from typing import NamedTuple

import sqlalchemy as sa

from stockroom.core.stock import FOREVER
from stockroom.store import tables as t
from stockroom.store.once import once
from stockroom.store.writing import live


class Explained(NamedTuple):
    """Why a check was missed, or a gap came about, and who says so."""

    why: str
    by: str


class Switch(NamedTuple):
    """A fridge taken out of use, or into use again."""

    at: int
    on: bool
    why: str
    by: str


def explained_days(conn: sa.Connection, fridge: int, until: int = FOREVER) -> dict[str, Explained]:
    """ISO day -> what was said about it last by ``until``."""
    rows = conn.execute(
        sa.select(t.explained.c.day, t.explained.c.why, t.entry.c.by)
        .outerjoin(t.entry, t.entry.c.n == t.explained.c.entry)
        .where(t.explained.c.fridge == fridge, t.explained.c.at <= until, live(t.explained))
        .order_by(t.explained.c.id)
    )
    return {str(r.day): Explained(str(r.why), r.by or "") for r in rows}


def on_at(switches: Sequence[Switch], at: int) -> bool:
    """True where a fridge was in use at an instant; without a word it always was."""
    return next((s.on for s in reversed(switches) if s.at <= at), True)


def switches(conn: sa.Connection, fridge: int, until: int = FOREVER) -> list[Switch]:
    """Each time a fridge was switched off or on by ``until``, oldest first; not to be changed by who reads it."""
    return once(conn, ("switches", until), lambda: _switches(conn, until)).get(fridge, [])


def _switches(conn: sa.Connection, until: int) -> dict[int, list[Switch]]:
    """The same of every fridge: few, and a look asks for all of them."""
    rows = conn.execute(
        sa.select(t.fridge_duty.c.fridge, t.fridge_duty.c.at, t.fridge_duty.c.on, t.fridge_duty.c.why, t.entry.c.by)
        .outerjoin(t.entry, t.entry.c.n == t.fridge_duty.c.entry)
        .where(t.fridge_duty.c.at <= until, live(t.fridge_duty))
        .order_by(t.fridge_duty.c.at, t.fridge_duty.c.id)
    )
    found: dict[int, list[Switch]] = {}
    for r in rows:
        found.setdefault(r.fridge, []).append(Switch(int(r.at), bool(r.on), r.why or "", r.by or ""))
    return found
