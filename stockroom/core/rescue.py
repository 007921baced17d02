"""A kit that is out and that no booking uses: which bookings could be moved so that one of them uses it.

Each is looked at by itself: after one has moved, other moves may help the other kits.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from functools import cached_property
from heapq import nsmallest

from stockroom.core.allotment import Allotment, Need
from stockroom.core.moves import LEAD, moved, shared_out
from stockroom.core.offers import starts_on
from stockroom.core.opening import Opening
from stockroom.core.practice import Product
from stockroom.core.takeout import Kit, last_use, ready_at
from stockroom.core.warmup import HELPLESS, Row, Unused

MOST_NAMED, MOST_TRIED = 3, 12
"""How many bookings are named for a kit, and how many are looked at to find them."""
MOST_LOOKS = 15_000
"""How many bookings are looked at or planned anew for all unused kits together: a look at the plan stays a look."""
HORIZON = 14 * 86_400
"""How far ahead a start is looked for, also for a kit of which nobody knows how long it may be out."""

Kind = tuple[str, str]
"""(site, product)."""
Again = Callable[[Sequence[Need], Collection[Kind]], list[Allotment]]
"""Needs -> which kit each of them is given, of some kinds."""


class Rescue:
    """Looks for the moves. ``rows`` are all rows of the plan that ``again`` makes of ``needs``."""

    def __init__(
        self, rows: Sequence[Row], needs: Sequence[Need], out_kits: Sequence[Kit], again: Again, now: int
    ) -> None:
        self._rows, self._needs, self._again, self._now = rows, needs, again, now
        self._left = MOST_LOOKS
        self._promised = [(k.promised_to, k.pull) for k in out_kits if k.promised_to is not None]
        self._size = Counter((r.site, r.product) for r in rows)

    @cached_property
    def _kinds(self) -> dict[int, set[Kind]]:
        """Booking -> what it needs."""
        found: dict[int, set[Kind]] = {}
        for r in self._rows:
            found.setdefault(r.booking, set()).add((r.site, r.product))
        return found

    @cached_property
    def _candidates(self) -> dict[Kind, set[tuple[int, int, int]]]:
        """(start, booking, end) of those for which no kit is out: only to serve one of these saves a kit."""
        out = {r.booking for r in self._rows if r.pull is not None}
        found: dict[Kind, set[tuple[int, int, int]]] = {}
        for r in self._rows:
            if r.booking not in out:
                found.setdefault((r.site, r.product), set()).add((r.start, r.booking, r.end))
        return found

    def saved(self, unused: Unused, product: Product, opening: Opening) -> Unused:
        """The same kit with the moves that would use it, the shortest first; none are looked for where its time is over.

        A booking moves to the nearest quarter of an hour that is staffed from its start to its end and at which the kit
        is warm and good to the end, ten minutes from now at the soonest. Then it has this kit and all its others, and
        nobody has fewer.
        """
        kit = unused.kit
        if unused.over or self._left < 2 * self._size[kit.site, kit.product]:
            return unused
        found: list[tuple[int, int]] = []
        for _, _, booking, start, end in sorted(self._near(kit, product, opening)):
            if len(found) < MOST_NAMED and self._serves(kit, booking, start, end):
                found.append((booking, start))
        given_up = self._left < 0 and not found
        return unused if given_up else replace(unused, moves=tuple(found))

    def _near(self, kit: Kit, product: Product, opening: Opening) -> Iterator[tuple[int, int, int, int, int]]:
        """(seconds, from, booking, start, end): the nearest starts of the bookings that have least far to go."""
        first, last = max(ready_at(kit, product), self._now + LEAD), self._now + HORIZON
        limit = last_use(kit, product)
        last = last if limit is None else min(last, limit)
        elsewhere = {booking for booking, pull in self._promised if pull != kit.pull}
        candidates = self._candidates.get((kit.site, kit.product), set())
        self._left -= len(candidates)
        away = ((max(first - s, e - last, 0), s, b, e) for s, b, e in candidates if b not in elsewhere)
        starts: dict[int, list[int]] = {}
        for _, start, booking, end in nsmallest(MOST_TRIED, away):
            seconds = end - start
            if seconds not in starts:
                starts[seconds] = list(_quarters(opening, first, last, seconds))
            to = min(starts[seconds], key=lambda s: (abs(s - start), s), default=start)
            if to != start:
                yield abs(to - start), start, booking, to, to + seconds

    def _serves(self, kit: Kit, booking: int, start: int, end: int) -> bool:
        """Makes the plan anew with the booking moved, as far as it needs kits: of other kinds nothing changes."""
        kinds = self._kinds[booking]
        self._left -= sum(self._size[kind] for kind in kinds)
        if self._left < 0:
            return False
        mine, others = shared_out(
            self._again(moved(self._needs, {booking: (start, end)}), kinds), booking, self._now + LEAD
        )
        served = (r for r in self._rows if (r.site, r.product) in kinds and r.state not in HELPLESS)
        before = Counter(r.booking for r in served)
        return mine is not None and kit in mine and all(others[b] >= n for b, n in before.items() if b != booking)


def _quarters(opening: Opening, first: int, last: int, seconds: int) -> Iterator[int]:
    """Staffed starts on the quarter of an hour from which a procedure is over by ``last``."""
    day = opening.day(first)
    while opening.midnight(day) < last:
        yield from (start for _, start in starts_on(opening, day, seconds, first) if start + seconds <= last)
        day += timedelta(days=1)


def rescued(
    unused: Sequence[Unused], rescue: Rescue, products: Sequence[Product], openings: Mapping[str, Opening]
) -> list[Unused]:
    """Each kit with its moves, first use-by first while so many looks are left."""
    known = {p.code: p for p in products}
    return [rescue.saved(u, known[u.kit.product], openings[u.kit.site]) for u in unused]
