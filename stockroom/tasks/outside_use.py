"""What was used outside bookings, week by week: dropped, training, a walk-in, and what bookings took beyond the rule."""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.booking_curve import Ints
from stockroom.core.practice import Practice
from stockroom.core.usage import used_by
from stockroom.store import Link
from stockroom.tasks.booking_history import BookingHistory
from stockroom.tasks.shelves import lots_now


@dataclass(frozen=True, slots=True)
class OutsideUse:
    """By (site, product): since when there is any record of it, and (instant, pieces) of what went outside bookings."""

    since: Mapping[tuple[str, str], int]
    used: Mapping[tuple[str, str], list[tuple[int, int]]]

    def weekly(self, site: str, product: str, bounds: Ints) -> list[int]:
        """Pieces in each complete week between some boundaries since the product's record began; none where none was
        ever used.
        """
        found = self.used.get((site, product))
        if not found:
            return []
        at, pieces = (np.array(column, np.int64) for column in zip(*found, strict=True))
        first = int(np.searchsorted(bounds, self.since[site, product]))
        week = np.searchsorted(bounds, at, "right") - 1
        counts = np.bincount(week[week >= 0], pieces[week >= 0], minlength=len(bounds))
        return [int(n) for n in counts[first : len(bounds) - 1]]


def outside_use(
    conn: Link, practice: Practice, ruled: Sequence[tuple[int, int, Practice]], until: int, history: BookingHistory
) -> OutsideUse:
    """What was used outside bookings up to an instant.

    That is every use that names no booking, and of those that do what goes beyond the rule of the time for the cycles
    that were done: extra pieces, kits opened and wasted. What a missed booking used up is that booking's.
    """
    sites, home = {s.name for s in practice.sites}, practice.places
    first = practice.sites[0].name
    since: dict[tuple[str, str], int] = {}
    used: dict[tuple[str, str], list[tuple[int, int]]] = {}
    taken: dict[tuple[int, str], int] = {}
    for now in lots_now(conn, until).values():
        code = now.lot.product
        for m in now.records.movements:
            if m.at > until:
                continue
            place = home.get(m.target if m.target in home else m.source)
            key = (place if place in sites else first, code)
            since[key] = min(since.get(key, m.at), m.at)
            if m.target != "used":
                continue
            if m.booking is None:
                used.setdefault(key, []).append((m.at, m.quantity))
            else:
                taken[m.booking, code] = taken.get((m.booking, code), 0) + m.quantity
    for key, at, pieces in _beyond(ruled, history, taken):
        since[key] = min(since.get(key, at), at)
        used.setdefault(key, []).append((at, pieces))
    return OutsideUse(since, used)


def _beyond(
    ruled: Sequence[tuple[int, int, Practice]], history: BookingHistory, taken: Mapping[tuple[int, str], int]
) -> list[tuple[tuple[str, str], int, int]]:
    """((site, product), instant, pieces) of what bookings took beyond the rule."""
    done = {d.number: d for d in history.done}
    begins = [a for a, _, _ in ruled]
    rule: dict[tuple[int, str, int | None], dict[str, int]] = {}
    found = []
    for (number, code), pieces in taken.items():
        one = done.get(number)
        if one is None:
            continue
        span = max(0, bisect_right(begins, one.at) - 1)
        kind = (span, one.procedure, one.cycles)
        if kind not in rule:
            practice = ruled[span][2]
            procedure = practice.procedure(one.procedure)
            products = {p.code: p for p in practice.products}
            rule[kind] = used_by(procedure, one.cycles, products).loose if procedure else {}
        beyond = pieces - rule[kind].get(code, 0)
        if beyond > 0 and rule[kind]:
            found.append(((one.site, code), one.at, beyond))
    return found
