"""A warm kit that no booking uses: which bookings could be moved so that one of them uses it before it is lost."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import timedelta
from heapq import nsmallest

from stockroom.core.allotment import fits
from stockroom.core.moves import Moves
from stockroom.core.offers import GRID_MINUTES, starts_on
from stockroom.core.opening import Opening
from stockroom.core.practice import Product
from stockroom.core.takeout import Kit, last_use, ready_at
from stockroom.core.warmup import Row

MOST_NAMED, MOST_TRIED = 3, 12
"""How many bookings are named for a kit, and how many are looked at to find them."""
HORIZON = 14 * 86_400
"""How far ahead a start is looked for where a kit has no limit that is known."""


def rescue(
    kit: Kit, product: Product, rows: Sequence[Row], out_kits: Sequence[Kit], moves: Moves, opening: Opening, now: int
) -> list[tuple[int, int]]:
    """(booking, start on the quarter of an hour) of bookings that would use the kit there, the shortest move first.

    ``rows`` are all rows of the plan. A booking for which a kit is out already would save nothing.
    """
    limit = last_use(kit, product)
    first = max(ready_at(kit, product), now + 60 * GRID_MINUTES)
    last = now + HORIZON if limit is None else min(limit, now + HORIZON)
    pieces = Counter(r.booking for r in rows)
    mine = [r for r in rows if (r.site, r.product) == (kit.site, kit.product)]
    busy = {r.booking for r in mine if r.pull is not None}
    busy |= {k.promised_to for k in out_kits if k.promised_to is not None and k.pull != kit.pull}
    away = {(max(first - r.start, r.end - last, 0), r.start, r.booking, r.end) for r in mine if r.booking not in busy}
    found: list[tuple[int, int, int]] = []
    known: dict[int, list[int]] = {}
    for _, start, booking, end in nsmallest(MOST_TRIED, away):
        seconds = end - start
        if seconds not in known:
            known[seconds] = list(_quarters(opening, first, last, seconds))
        to = min(known[seconds], key=lambda s: (abs(s - start), s), default=start)
        if to == start or not fits(kit, product, to, to + seconds):
            continue
        # One that needs a single kit takes this one and leaves its own; with others the plan has to be made anew.
        if pieces[booking] == 1 or moves.serves(booking, to, to + seconds):
            found.append((abs(to - start), booking, to))
    return [(booking, to) for _, booking, to in sorted(found)[:MOST_NAMED]]


def _quarters(opening: Opening, first: int, last: int, seconds: int) -> Iterator[int]:
    """Staffed starts on the quarter of an hour from which a procedure is over by ``last``."""
    day = opening.day(first)
    while opening.midnight(day) < last:
        yield from (start for _, start in starts_on(opening, day, seconds, first) if start + seconds <= last)
        day += timedelta(days=1)
