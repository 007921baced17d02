"""The practice's own booking history: when each booking was made, moved and cancelled, and how many cycles it took."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.booking_curve import Ints, OnTheBooks
from stockroom.core.cycle_spread import PLANNED, Deviations, deviations
from stockroom.core.practice import Practice
from stockroom.core.stock import FOREVER
from stockroom.store import Link, bookings

FIRST_DAY = 86_400
_NONE = np.zeros(0, np.int64)
EMPTY = OnTheBooks(_NONE, _NONE, _NONE)


@dataclass(frozen=True, slots=True)
class Done:
    """A booking that took place, with the cycles that it took."""

    number: int
    site: str
    procedure: str
    at: int
    cycles: int | None


@dataclass(frozen=True, slots=True)
class BookingHistory:
    """What was on the books when, by (site, procedure); how far cycles went beyond plan, by procedure; what was done."""

    books: Mapping[tuple[str, str], OnTheBooks]
    spread: Mapping[str, Deviations]
    done: tuple[Done, ...]

    def of(self, site: str, procedure: str) -> OnTheBooks:
        """The bookings of a procedure at a site."""
        return self.books.get((site, procedure), EMPTY)

    def cycles(self, procedure: str) -> Deviations:
        """How far a procedure goes beyond its planned cycles."""
        return self.spread.get(procedure, PLANNED)


def booking_history(
    conn: Link, practice: Practice, ruled: Sequence[tuple[int, int, Practice]], until: int
) -> BookingHistory:
    """The history up to an instant, by what had happened by then, whenever it was recorded.

    A booking counts as used by the day it was made for: booked or done, and one that was missed with its kit opened. A
    booking is on the books from when it was made (the file said so), else from when it was recorded. A site that the
    practice file does not name any more counts as the first one. ``ruled`` are the practices by their time.
    """
    rows = bookings.history(conn, until)
    if not rows:
        return BookingHistory({}, {}, ())
    sites = [s.name for s in practice.sites]
    number, at, told, state, outcome, procedure, start, cycles, took, site = zip(*rows, strict=True)
    keys: dict[tuple[str, str], int] = {}
    where = [s if s in sites else sites[0] for s in site]
    key = [keys.setdefault(k, len(keys)) for k in zip(where, procedure, strict=True)]
    there = [s in ("booked", "done") or (s == "missed" and o == "opened") for s, o in zip(state, outcome, strict=True)]
    columns = [np.array(column, np.int64) for column in (number, at, told, start, key, there)]
    books = _books(columns, {k: s for s, k in keys.items()})
    last = [n for n in range(len(rows)) if state[n] == "done" and (n + 1 == len(rows) or number[n + 1] != number[n])]
    done = tuple(Done(number[n], where[n], procedure[n], start[n], took[n]) for n in last)
    return BookingHistory(books, _spread(ruled, done, [cycles[n] for n in last]), done)


def _books(columns: Sequence[Ints], names: Mapping[int, tuple[str, str]]) -> dict[tuple[str, str], OnTheBooks]:
    """The stretches of time, by site and procedure, from changes by booking and then by instant: (booking, at, when its
    entry happened, start, key of ``names``, whether it stands).
    """
    number, at, told, start, key, there = columns
    fresh = np.ones(len(at), bool)
    fresh[1:] = number[1:] != number[:-1]
    changed = fresh.copy()
    for column in (start, key, there):
        changed[1:] |= column[1:] != column[:-1]
    first = np.flatnonzero(changed)
    until = np.full(len(first), FOREVER, np.int64)
    same = ~fresh[first[1:]]
    until[:-1][same] = at[first[1:]][same]
    found = {}
    for k, name in names.items():
        mine = key[first] == k
        standing = mine & (there[first] == 1)
        made = first[mine & fresh[first]]
        found[name] = OnTheBooks(
            at[first[standing]], until[standing], start[first[standing]],
            int(at[first[mine]].min()), _kept_since(at[made], told[made]),
        )  # fmt: skip
    return found


def _kept_since(made: Ints, told: Ints) -> int | None:
    """Since when the record tells when bookings were made; None where it always did.

    What is taken over on the first day, most of it without saying when it was made, was made some time before: the weeks
    before that day teach nothing of how bookings come in.
    """
    if not len(told):
        return None
    began = int(told.min())
    first_day = told < began + FIRST_DAY
    unsaid = np.count_nonzero(made[first_day] == told[first_day])
    return began if 2 * unsaid > np.count_nonzero(first_day) else None


def _spread(
    ruled: Sequence[tuple[int, int, Practice]], done: Sequence[Done], planned: Sequence[int | None]
) -> dict[str, Deviations]:
    """How far cycles went beyond the plan of their time, by procedure, over all sites."""
    counts: dict[str, Counter[int]] = {}
    begins, usual = [a for a, _, _ in ruled], [{p.code: p.cycles for p in rule.procedures} for _, _, rule in ruled]
    for one, plan in zip(done, planned, strict=True):
        known = usual[max(0, bisect_right(begins, one.at) - 1)].get(one.procedure) if plan is None else plan
        if known is not None and one.cycles is not None:
            counts.setdefault(one.procedure, Counter())[one.cycles - known] += 1
    return {code: deviations(found) for code, found in counts.items()}
