"""Demand of the time ahead as chance may bring it: from the practice's own past weeks, or from what its file expects."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from stockroom.core.counts import compound, convolution, poisson
from stockroom.core.demand import known_pieces, unbooked_mean_procedures
from stockroom.core.kept_levels import Unbooked
from stockroom.core.past_use import Ahead, PastUse, demand_of, drawn_weeks, expected_use, known_of
from stockroom.core.play import Counts, Rates
from stockroom.core.practice import Product
from stockroom.core.turns import Turn
from stockroom.core.usage import used_by
from stockroom.tasks.order_basis import SiteNow
from stockroom.tasks.still_ahead import StillAhead


@dataclass(frozen=True, slots=True, eq=False)
class Future:
    """Some runs of the time ahead: (days, runs) ``demand``, and of that ``known``: by (day, day) what is booked in the
    morning of the first for the days from it until the other, (runs,).
    """

    demand: Counts
    known: Callable[[int, int], Counts]


@dataclass(frozen=True, slots=True, eq=False)
class FromPast:
    """Past weeks drawn again, on top of what is booked today; orders expect what the order list would."""

    past: PastUse
    days: Ahead
    still: StillAhead

    @property
    def expected(self) -> Rates:
        """(days,): demand as expected."""
        return expected_use(self.past, self.days)

    def unbooked(
        self, turn: Turn, until: tuple[int, int], target: float, whole: tuple[int, int] | None = None
    ) -> Unbooked:
        """What is not booked yet when an order is decided, until a (day, instant); as a part of the time until ``whole``."""
        return self.still.unbooked(turn.at, until[1], target, None if whole is None else whole[1])

    def drawn(self, chance: np.random.Generator, periods: int, runs: int) -> Future:
        """One draw of so many runs."""
        weeks = int(self.days.week_of[-1]) + 1
        blocks = -(-weeks // self.past.block)
        starts = chance.integers(0, self.past.weeks, (blocks, runs), dtype=np.int32)
        week = drawn_weeks(starts, self.past, weeks)
        return Future(
            demand_of(self.past, self.days, week)[:periods],
            lambda day, until: known_of(self.past, self.days, week, day, until),
        )


@dataclass(frozen=True, slots=True, eq=False)
class FromFile:
    """Before there is history: Poisson numbers of each procedure around what the practice file expects, on top of what
    is booked today. Nothing is known of how long ahead people book, so nothing more is booked ahead.
    """

    days: Ahead
    procedures: tuple[tuple[int, Rates], ...]
    """(pieces that one uses, (days,) how many more are expected)."""

    @property
    def expected(self) -> Rates:
        """(days,): demand as expected."""
        drawn = sum((pieces * means for pieces, means in self.procedures), start=np.zeros(len(self.days.staffed)))
        return drawn + self.days.booked

    def unbooked(
        self, turn: Turn, until: tuple[int, int], target: float, whole: tuple[int, int] | None = None
    ) -> Unbooked:
        """What is not booked today for the days from the decision of an order until a (day, instant)."""
        numbers = [(poisson(float(means[turn.decided : until[0]].sum())), pieces) for pieces, means in self.procedures]
        return Unbooked((convolution([compound(pmf, pieces) for pmf, pieces in numbers]),))

    def drawn(self, chance: np.random.Generator, periods: int, runs: int) -> Future:
        """One draw of so many runs."""
        demand = np.repeat(self.days.booked[:, None], runs, axis=1)
        for pieces, means in self.procedures:
            demand += pieces * chance.poisson(means[:, None], demand.shape).astype(np.int32)
        return Future(demand[:periods], lambda day, until: np.full(runs, self.days.booked[day:until].sum(), np.int32))


def days_ahead(here: SiteNow, product: Product, days: int) -> Ahead:
    """The days from today on. What is booked for the past and not recorded yet counts for today, as on the order list."""
    opening, today = here.opening, here.opening.day(here.at)
    booked: Counts = np.zeros(days, np.int32)
    for start, pieces in known_pieces(product.code, here.bookings, here.procedures, here.products):
        day = max(0, (opening.day(start) - today).days)
        if day < days:
            booked[day] += pieces
    staffed = np.array([bool(opening.day_spans(today + timedelta(days=n))) for n in range(days)])
    staffed[0] = False
    return Ahead(today.weekday(), staffed, booked)


def from_file(here: SiteNow, product: Product, days: Ahead) -> FromFile:
    """What the practice file expects of each week, less what is booked in it, spread over its staffed time."""
    opening, today = here.opening, here.opening.day(here.at)
    time = [sum(b - a for a, b in opening.day_spans(today + timedelta(days=n))) for n in range(len(days.staffed))]
    staffed = np.where(days.staffed, np.array(time, np.float64), 0.0)
    found = []
    for procedure in here.practice.procedures:
        pieces = used_by(procedure, None, here.products).loose.get(product.code, 0)
        if pieces:
            starts = [b.start for b in here.bookings if b.procedure == procedure.code]
            means = np.zeros(len(staffed))
            for week in range(int(days.week_of[-1]) + 1):
                inside = np.flatnonzero(days.week_of == week)
                begin = max(here.at, opening.midnight(today + timedelta(days=int(inside[0]))))
                end = opening.midnight(today + timedelta(days=int(inside[-1]) + 1))
                mean = unbooked_mean_procedures(procedure, opening, begin, end, starts)
                part = staffed[inside]
                if part.sum() > 0:
                    means[inside] = mean * part / part.sum()
            found.append((pieces, means))
    return FromFile(days, tuple(found))


Source = FromPast | FromFile
