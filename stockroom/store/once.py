"""What one look reads more than once is read once: kept for as long as its snapshot lasts."""

from collections.abc import Callable, Hashable
from typing import TypeVar

import sqlalchemy as sa

T = TypeVar("T")
MOST_KEPT = 500
"""Answers that are kept: a search through many instants must not hold them all."""


def once(conn: sa.Connection, what: Hashable, read: Callable[[], T]) -> T:
    """What ``read`` answers, kept under ``what`` until the connection is used for something else; not to be changed by
    who reads it. In a transaction that writes it is read each time, since what it rests on may have changed.
    """
    if conn.get_execution_options().get("writes"):
        return read()
    kept: dict[Hashable, T] = conn.info.setdefault("once", {})
    if what not in kept:
        if len(kept) >= MOST_KEPT:
            kept.clear()
        kept[what] = read()
    return kept[what]
