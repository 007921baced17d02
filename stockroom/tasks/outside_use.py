"""What was used outside bookings, week by week: dropped, training, a walk-in, and what bookings took beyond the rule."""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.booking_curve import Ints
from stockroom.core.practice import Practice
from stockroom.core.usage import used_by
from stockroom.store import Link, ledger
from stockroom.tasks.booking_history import BookingHistory


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

    def site_of(place: str) -> str:
        found = home.get(place)
        return found if found in sites else practice.sites[0].name

    since: dict[tuple[str, str], int] = {}
    for code, source, target, at in ledger.first_seen(conn, until):
        key = (site_of(target if target in home else source), code)
        since[key] = min(since.get(key, at), at)
    used: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for code, place, at, pieces in ledger.used_without(conn, until):
        used.setdefault((site_of(place), code), []).append((at, pieces))
    for key, at, pieces in _beyond(ruled, history, ledger.used_on_bookings(conn, until)):
        since[key] = min(since.get(key, at), at)
        used.setdefault(key, []).append((at, pieces))
    return OutsideUse(since, used)


def _beyond(
    ruled: Sequence[tuple[int, int, Practice]], history: BookingHistory, taken: Sequence[tuple[int, str, int]]
) -> list[tuple[tuple[str, str], int, int]]:
    """((site, product), instant, pieces) of what bookings took beyond the rule of the time for the cycles that were done."""
    if not taken or not history.done:
        return []
    codes = {code: i for i, code in enumerate(dict.fromkeys(code for _, code, _ in taken))}
    rows = np.array([(number, codes[code], pieces) for number, code, pieces in taken], np.int64)
    done = np.array([one.number for one in history.done], np.int64)  # by number, as the history tells them
    place = np.minimum(np.searchsorted(done, rows[:, 0]), len(done) - 1)
    known = done[place] == rows[:, 0]
    pairs, at = np.unique(place[known] * len(codes) + rows[known, 1], return_inverse=True)
    pieces = np.bincount(at, rows[known, 2]).astype(np.int64)
    which, code = np.divmod(pairs, len(codes))
    rule, kinds = _rules_of(ruled, history, list(codes))
    kind = kinds[which]
    beyond = pieces - rule[kind, code]
    names = list(codes)
    return [
        ((history.done[which[n]].site, names[code[n]]), history.done[which[n]].at, int(beyond[n]))
        for n in np.flatnonzero((beyond > 0) & (rule[kind, code] >= 0))
    ]


def _rules_of(
    ruled: Sequence[tuple[int, int, Practice]], history: BookingHistory, codes: Sequence[str]
) -> tuple[Ints, Ints]:
    """([kind, code]: pieces by the rule, -1 where there is none; [booking done]: of which kind it is): a kind is a span of
    rules, a procedure and a number of cycles.
    """
    begins = [a for a, _, _ in ruled]
    found: dict[tuple[int, str, int | None], int] = {}
    kinds = [
        found.setdefault((max(0, bisect_right(begins, d.at) - 1), d.procedure, d.cycles), len(found))
        for d in history.done
    ]
    pieces = np.full((len(found), len(codes)), -1, np.int64)
    for (span, name, cycles), kind in found.items():
        practice = ruled[span][2]
        procedure = practice.procedure(name)
        products = {p.code: p for p in practice.products}
        rule = used_by(procedure, cycles, products).loose if procedure else {}
        if rule:
            pieces[kind] = [rule.get(code, 0) for code in codes]
    return pieces, np.array(kinds, np.int64)
