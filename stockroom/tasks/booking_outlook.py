"""How many of each procedure are still to be booked at a site: the forecasts, how they did, and the one that is used."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from stockroom.core.block_grid import Ruled, block_grid
from stockroom.core.booking_curve import Curve, Floats, Grid, OnTheBooks, curve
from stockroom.core.counts import poisson
from stockroom.core.demand import unbooked_mean_procedures
from stockroom.core.forecasts import COMPLETE_WEEKS, EXPECTED, WORDS, Forecasts
from stockroom.core.net_counts import NOTHING, Net, gain
from stockroom.core.practice import Practice, Procedure
from stockroom.core.replay import REPLAYED, Replay, replay
from stockroom.core.span_forecast import blocks_until, still_booked
from stockroom.tasks.booking_history import BookingHistory
from stockroom.tasks.order_basis import SiteNow
from stockroom.tasks.rules import practice_at

WEEK = 7 * 86_400
AHEAD = 12
"""Blocks to come that are laid out at first; twice as many as often as that is too few."""


@dataclass(frozen=True, slots=True, eq=False)
class StillBooked:
    """What is still to be booked of a procedure: the mean and the spread, by which forecast, the complete weeks that it
    stands on, and the replayed weeks that chose it (0: the rule did).
    """

    mean: float
    spread: Net
    forecast: str
    weeks: int
    replayed: int

    @property
    def words(self) -> str:
        """The forecast in words, with what it stands on."""
        if self.forecast == EXPECTED and not self.replayed:
            return f"{WORDS[EXPECTED]} (under {COMPLETE_WEEKS} weeks of bookings)"
        chosen = f", by its record of {self.replayed} weeks" if self.replayed else ""
        return WORDS[self.forecast].format(self.weeks) + chosen


@dataclass(slots=True, eq=False)
class Outlook:
    """The bookings that a site expects at an instant; what was computed once is kept.

    ``hours`` are its opening hours by the time that they ruled, ``practices`` the practice files, ``since`` the first
    instant of which anything is on record.
    """

    here: SiteNow
    history: BookingHistory
    hours: Sequence[Ruled]
    practices: Sequence[tuple[int, int, Practice]]
    since: int
    _grids: dict[int, Grid] = field(default_factory=dict)
    _curves: dict[tuple[str, int], Curve] = field(default_factory=dict)
    _forecasts: dict[tuple[str, int], Forecasts] = field(default_factory=dict)
    _replays: dict[tuple[str, int, int], Replay] = field(default_factory=dict)
    _used: dict[tuple[str, int, float], str] = field(default_factory=dict)
    _still: dict[tuple[str, int, float, int | None], StillBooked] = field(default_factory=dict)

    def grid(self, end: int) -> Grid:
        """Weeks back to the beginning of the record and on to an instant."""
        ahead = AHEAD
        while self.here.at + (ahead - 1) * WEEK < end:
            ahead *= 2
        if ahead not in self._grids:
            self._grids[ahead] = block_grid(self.here.at, self.since, ahead, self.here.opening, self.hours)
        return self._grids[ahead]

    def books(self, procedure: Procedure) -> OnTheBooks:
        """What was on the books when."""
        return self.history.of(self.here.name, procedure.code)

    def blocks(self, end: int) -> int:
        """How many weeks to come the time until an instant touches."""
        return blocks_until(self.grid(end), end)

    def forecasts(self, procedure: Procedure, end: int) -> Forecasts:
        """The forecasts for the weeks until an instant."""
        grid, code = self.grid(end), procedure.code
        ahead = blocks_until(grid, end)
        if (code, ahead) not in self._forecasts:
            if (code, grid.ahead) not in self._curves:
                self._curves[code, grid.ahead] = curve(self.books(procedure), grid)
            found = Forecasts(self._curves[code, grid.ahead], ahead, self._expected(code, grid))
            self._forecasts[code, ahead] = found
        return self._forecasts[code, ahead]

    def _expected(self, code: str, grid: Grid) -> Floats:
        """expected_per_week as it ruled at each boundary; zero where the procedure was not known then."""
        found = [practice_at(self.practices, int(at)).procedure(code) for at in grid.bounds]
        return np.array([0.0 if p is None else p.expected_per_week for p in found], dtype=np.float64)

    def replay(self, procedure: Procedure, end: int, weeks: int = REPLAYED) -> Replay:
        """How the forecasts for so many weeks ahead did in the past."""
        key = (procedure.code, self.blocks(end), weeks)
        if key not in self._replays:
            self._replays[key] = replay(self.forecasts(procedure, end), weeks)
        return self._replays[key]

    def used(self, procedure: Procedure, end: int, target: float) -> str:
        """The forecast that is used until an instant: expected_per_week until there is a history, then by the record."""
        key = (procedure.code, self.blocks(end), target)
        if key not in self._used:
            found = self.forecasts(procedure, end)
            begun = found.ahead > 0 and found.begun <= found.curve.grid.past
            self._used[key] = self.replay(procedure, end).used(target) if begun else EXPECTED
        return self._used[key]

    def still(self, procedure: Procedure, end: int, target: float, whole: int | None = None) -> StillBooked:
        """What is still to be booked until an instant. As a part of the time until ``whole`` it is never more than that of
        the whole: bookings late in a week may leave less for the week than for its beginning.
        """
        key = (procedure.code, end, target, whole)
        if key not in self._still:
            self._still[key] = self._computed(procedure, end, target, whole)
        return self._still[key]

    def _computed(self, procedure: Procedure, end: int, target: float, whole: int | None) -> StillBooked:
        if self.blocks(end) == 0:
            return StillBooked(0.0, NOTHING, EXPECTED, 0, 0)
        longest = end if whole is None else max(end, whole)
        name, most = self.used(procedure, longest, target), float("inf")
        if whole is not None:
            most = self.still(procedure, longest, target).mean
        found, replayed = self.forecasts(procedure, end), self.replay(procedure, longest)
        if name == EXPECTED:
            starts = [b.start for b in self.here.bookings if b.procedure == procedure.code]
            expected = unbooked_mean_procedures(procedure, self.here.opening, self.here.at, end, starts)
            mean = min(most, expected)
            spread = gain(poisson(mean))
        else:
            mean, spread = still_booked(found, name, self.books(procedure), end, most)
        decided = len(replayed.origins) if replayed.decides else 0
        return StillBooked(mean, spread, name, found.weeks_seen(name), decided)

    def per_week(self, procedure: Procedure, end: int, target: float) -> float:
        """How many a usual week comes to in the long run, booked or not, by what the forecast that is used stands on."""
        name = self.used(procedure, end, target)
        return procedure.expected_per_week if name == EXPECTED else self.forecasts(procedure, end).per_week(name)
