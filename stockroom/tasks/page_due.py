"""When what is still open is brought forward to a new page: unasked, after something was recorded. It loads nothing else."""

from stockroom.errors import StockroomError
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.store.ledger import last_lot
from stockroom.store.open_page import DAY, grown, page_of, turned_back

STEP = 500
"""Entries after which a new page is due: fewer cost next to nothing to look through."""
READINGS = 200_000
"""Readings after which it is."""


FEW_LOTS = 3000
"""With no more lots than this everything is read in a few seconds."""


def due(conn: Link) -> bool:
    """True where a new page is worth its making. Where everything must be read for it, and that is much, once a day is
    enough, or when the record has grown by a tenth.
    """
    page = page_of(conn)
    now = grown(conn, page)
    since = now.entries - (0 if page is None else page.entries)
    if since < STEP and now.readings < READINGS:
        return False
    if page is None or since >= STEP + page.entries // 10 or now.recorded_at - page.near >= DAY:
        return True
    return last_lot(conn) <= FEW_LOTS or not turned_back(conn, page)


def brought_forward(store: Store) -> None:
    """Makes a new page where one is due."""
    try:
        with store.reading() as conn:
            if not due(conn):
                return
        from stockroom.tasks.bring_forward import page_anew

        with store.deriving(tables_too=False) as conn:
            if due(conn):
                page_anew(conn)
    except StockroomError:
        return  # nothing rests on it, and the next entry tries again
