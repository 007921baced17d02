"""What the order list would hold to be still to be booked at a later moment, as far as that can be said now.

The practice's own pick-up (or whichever forecast its record chooses now) for so far ahead, from the same weekday on, with the
hours of those weeks. What comes to be booked until then is not known, so nothing that is learned on the way counts, and
where a forecast is one of totals, what is booked by then as usual is left out of it. How far known bookings go beyond
plan is not in it.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from stockroom.core.booking_curve import DAYS, Curve, Grid, OnTheBooks, curve
from stockroom.core.counts import Pmf, poisson
from stockroom.core.demand import unbooked_mean_procedures
from stockroom.core.forecasts import EXPECTED, MEAN_10, Forecasts
from stockroom.core.intermittent import outside_bookings
from stockroom.core.net_counts import Net, above_zero, for_each, gain, total
from stockroom.core.practice import Procedure, Product
from stockroom.core.span_forecast import still_booked
from stockroom.tasks.booking_outlook import Outlook
from stockroom.tasks.expected_demand import Expected, usual_weeks


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
    _found: dict[tuple[object, ...], tuple[Pmf, dict[str, float]]] = field(default_factory=dict)

    def pmf(self, at: int, end: int, target: float, whole: int | None = None) -> Pmf:
        """Pieces still to be booked for [at, end) as seen at ``at``, which has the local clock time of now; as a part of
        the time until ``whole``, where that is given.
        """
        return self._until(at, end, target, whole)[0]

    def _until(self, at: int, end: int, target: float, whole: int | None) -> tuple[Pmf, dict[str, float]]:
        """The pieces, and how many of each procedure are expected."""
        seen = self._seen(at, end, end if whole is None else max(end, whole))
        key = (*seen.key, target)
        if key not in self._found:
            most = {} if whole is None else self._until(at, max(end, whole), target, None)[1]
            nets, means = [], {}
            for procedure, pieces in self.expected.users(self.product.code):
                mean, spread = self._booked(seen, procedure, (at, end), target, most.get(procedure.code, float("inf")))
                means[procedure.code] = mean
                nets.append(for_each(spread, pieces.each))
            here = self.expected.here
            series = self.expected.outside.weekly(here.name, self.product.code, seen.grid.bounds)
            outside = outside_bookings(series, usual_weeks(here.opening, at, end))
            self._found[key] = above_zero(total([*nets, gain(outside)])), means
        return self._found[key]

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

    def _booked(
        self, seen: _Seen, procedure: Procedure, span: tuple[int, int], target: float, most: float
    ) -> tuple[float, Net]:
        """The mean and the spread of how many of a procedure are still to be booked, the mean at most so many."""
        outlook = seen.outlook
        name, books = outlook.used(procedure, seen.longest, target), outlook.books(procedure)
        if name == EXPECTED:
            due = unbooked_mean_procedures(procedure, self.expected.here.opening, *span, ())
            mean = min(most, max(0.0, due - _usually_booked(seen, curve(books, seen.grid), books)))
            return mean, gain(poisson(mean))
        if name == MEAN_10:
            there = books.start < outlook.here.at
            earlier = replace(books, since=books.since[there], until=books.until[there], start=books.start[there])
            found = self._forecasts(seen, earlier)
            whole, _ = still_booked(found, name, earlier, seen.end)
            most = min(most, max(0.0, whole - _usually_booked(seen, found.curve, books)))
            return still_booked(found, name, earlier, seen.end, most)
        return still_booked(self._forecasts(seen, books), name, books, seen.end, most)

    def _forecasts(self, seen: _Seen, books: OnTheBooks) -> Forecasts:
        return Forecasts(curve(books, seen.grid), seen.ahead, np.zeros(seen.grid.past + 1))


def _usually_booked(seen: _Seen, found: Curve, books: OnTheBooks) -> float:
    """How many were on the books for as long a time to come at the beginnings of past blocks, on average."""
    grid, past = seen.grid, seen.grid.past
    begun = min(max(int(found.first[past]), found.made, found.kept, 0), past)
    ahead, rest = seen.day - DAYS * past, seen.end - int(grid.marks[seen.day])
    known = [
        books.between(int(grid.marks[n]), int(grid.marks[n + ahead]) + rest, int(grid.marks[n]))
        for n in range(DAYS * begun, DAYS * past, DAYS)
    ]
    return sum(known) / len(known) if known else 0.0
