"""What the order list would hold to be still to be booked at a later moment, as far as that can be said now.

The practice's own pick-up (or whichever forecast its record chooses now) for so far ahead, from the same weekday on, with the
hours of those weeks. What comes to be booked until then is not known, so nothing that is learned on the way counts. Where
a forecast is one of totals, what is booked by then is taken off it, in pieces and for the whole time at once: of
procedures that share a product, from each in proportion. How far known bookings go beyond plan is not in it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from math import ceil, inf

import numpy as np

from stockroom.core.booking_curve import DAYS, Grid, OnTheBooks, curve
from stockroom.core.counts import mean_of, poisson
from stockroom.core.demand import unbooked_mean_procedures
from stockroom.core.forecasts import EXPECTED, MEAN_10, Forecasts
from stockroom.core.intermittent import outside_bookings
from stockroom.core.kept_levels import Unbooked
from stockroom.core.net_counts import Net, above_zero, for_each, gain, total
from stockroom.core.practice import Procedure, Product
from stockroom.core.span_forecast import still_booked
from stockroom.tasks.booking_outlook import Outlook
from stockroom.tasks.expected_demand import Expected, usual_weeks

OF_TOTALS = (EXPECTED, MEAN_10)
STATES = 32
"""So many numbers of pieces that may be booked by then are told apart at most."""
Booked = Callable[[float], tuple[float, Net]]
"""The mean, at most so much, and the spread."""


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A later moment seen from the last boundary before now that has its weekday and clock time: ``grid`` has as its blocks
    to come those that will be to come then, ``end`` lies in them as the real end will.
    """

    outlook: Outlook
    grid: Grid
    day: int
    """The day of the grid in which ``end`` lies."""
    end: int
    longest: int
    """The instant until which the choice of the forecast counts, as ``end``."""

    @property
    def ahead(self) -> int:
        """How many blocks to come it touches."""
        return self.day // DAYS - self.grid.past + 1

    @property
    def key(self) -> tuple[int, int, int, bytes]:
        """Equal where the answers are."""
        return self.outlook.here.at, self.end, self.longest, self.grid.share[self.grid.past :].tobytes()


@dataclass(slots=True, eq=False)
class StillAhead:
    """Of one product at one site; what was computed once is kept."""

    expected: Expected
    product: Product
    _outlooks: dict[int, Outlook] = field(default_factory=dict)
    _found: dict[tuple[object, ...], tuple[Unbooked, dict[str, float]]] = field(default_factory=dict)

    def unbooked(self, at: int, end: int, target: float, whole: int | None = None) -> Unbooked:
        """Pieces still to be booked for [at, end) as seen at ``at``, which has the local clock time of now; as a part of
        the time until ``whole``, where that is given.
        """
        return self._until(at, end, target, whole)[0]

    def _until(self, at: int, end: int, target: float, whole: int | None) -> tuple[Unbooked, dict[str, float]]:
        """The pieces, and how many of each procedure are expected."""
        seen = self._seen(at, end, end if whole is None else max(end, whole))
        key = (*seen.key, target)
        if key not in self._found:
            most = {} if whole is None else self._until(at, max(end, whole), target, None)[1]
            self._found[key] = self._computed(seen, (at, end), target, most)
        return self._found[key]

    def _computed(
        self, seen: _Seen, span: tuple[int, int], target: float, most: dict[str, float]
    ) -> tuple[Unbooked, dict[str, float]]:
        here, code = self.expected.here, self.product.code
        series = self.expected.outside.weekly(here.name, code, seen.grid.bounds)
        nets = [gain(outside_bookings(series, usual_weeks(here.opening, *span)))]
        means, totals, whole = {}, [], 0.0
        for procedure, pieces in self.expected.users(code):
            name = seen.outlook.used(procedure, seen.longest, target)
            booked = self._booked(seen, procedure, name, span)
            if name in OF_TOTALS:
                totals.append((booked, pieces.each))
                whole += booked(inf)[0] * mean_of(pieces.each)
                continue
            means[procedure.code], spread = booked(most.get(procedure.code, inf))
            nets.append(for_each(spread, pieces.each))
            known = _usually_booked(seen, seen.outlook.books(procedure))
            whole += (known + means[procedure.code]) * mean_of(pieces.each)
        if not totals or not whole:
            return Unbooked((above_zero(total(nets)),)), means
        step = ceil(whole / STATES)
        found = []
        for first in range(0, ceil(whole) + step, step):
            part = max(0.0, 1 - (first + (step - 1) / 2) / whole)
            left = [for_each(booked(booked(inf)[0] * part)[1], each) for booked, each in totals]
            found.append(above_zero(total([*nets, *left])))
        return Unbooked(tuple(found), step), means

    def _seen(self, at: int, end: int, longest: int) -> _Seen:
        here = self.expected.here
        days = (here.opening.day(at) - here.opening.day(here.at)).days
        back = -days % DAYS
        outlook, weeks = self._outlook(back), (days + back) // DAYS
        long = outlook.grid(longest)
        day, moved = self._moved(long, weeks, end)
        last, far = self._moved(long, weeks, longest)
        blocks, past = last // DAYS + 1, long.past
        share = np.concatenate((long.share[:past], long.share[past + weeks : blocks + weeks]))
        return _Seen(outlook, Grid(long.marks[: DAYS * blocks + 1], past, share, long.usual), day, moved, far)

    @staticmethod
    def _moved(grid: Grid, weeks: int, at: int) -> tuple[int, int]:
        """The day of a grid so many weeks before that of an instant, and that time of it."""
        day = int(np.searchsorted(grid.marks, at)) - 1
        there = day - DAYS * weeks
        return there, int(min(grid.marks[there] + at - grid.marks[day], grid.marks[there + 1]))

    def _outlook(self, back: int) -> Outlook:
        if back not in self._outlooks:
            now, here = self.expected.outlook, self.expected.here
            local = datetime.fromtimestamp(here.at, here.opening.zone)
            day = local.date() - timedelta(days=back)
            at = here.opening.at(day, 60 * local.hour + local.minute) + local.second if back else here.at
            self._outlooks[back] = Outlook(
                replace(here, at=at, bookings=()), now.history, now.hours, now.practices, min(now.since, at)
            )
        return self._outlooks[back]

    def _booked(self, seen: _Seen, procedure: Procedure, name: str, span: tuple[int, int]) -> Booked:
        """How many of a procedure are still to be booked by a forecast; by one of totals, with nothing booked yet."""
        books, opening = seen.outlook.books(procedure), self.expected.here.opening
        if name == EXPECTED:
            expected = unbooked_mean_procedures(procedure, opening, *span, ())
            return lambda most: (min(most, expected), gain(poisson(min(most, expected))))
        if name == MEAN_10:
            there = books.start < seen.outlook.here.at
            books = replace(books, since=books.since[there], until=books.until[there], start=books.start[there])
        found = Forecasts(curve(books, seen.grid), seen.ahead, np.zeros(seen.grid.past + 1))
        return lambda most: still_booked(found, name, books, seen.end, most)


def _usually_booked(seen: _Seen, books: OnTheBooks) -> float:
    """How many were on the books for as long a time to come at the beginnings of past blocks, on average."""
    grid, past = seen.grid, seen.grid.past
    found = curve(books, grid)
    begun = min(max(int(found.first[past]), found.made, found.kept, 0), past)
    ahead, rest = seen.day - DAYS * past, seen.end - int(grid.marks[seen.day])
    known = [
        books.between(int(grid.marks[n]), int(grid.marks[n + ahead]) + rest, int(grid.marks[n]))
        for n in range(DAYS * begun, DAYS * past, DAYS)
    ]
    return sum(known) / len(known) if known else 0.0
