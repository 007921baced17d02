"""The past replayed: what each forecast said, boundary by boundary, and what came."""

from dataclasses import dataclass

import numpy as np

from stockroom.core.accuracy import Errors, errors, scaled
from stockroom.core.booking_curve import Floats, Ints
from stockroom.core.counts import quantile
from stockroom.core.forecasts import (
    EXPECTED,
    LEAST_REPLAYED,
    PICKUP,
    PICKUP_10,
    SIMPLEST_FIRST,
    WINDOW,
    WORDS,
    Forecasts,
    chosen,
)
from stockroom.core.net_counts import above_zero

REPLAYED = 52
"""So many weeks are replayed unless told otherwise: what a forecast did years ago says little of it."""


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """Totals of ``forecasts.ahead`` blocks from each of some boundaries on. ``known`` of them were on the books, ``came``
    is what they came to, ``naive`` what the last block before them would make of them; ``forecast`` by name.
    """

    forecasts: Forecasts
    origins: Ints
    known: Floats
    came: Floats
    naive: Floats
    forecast: dict[str, Floats]

    def errors(self) -> dict[str, Errors]:
        """By name; none where no week was replayed."""
        return {name: errors(said, self.came) for name, said in self.forecast.items()} if len(self.origins) else {}

    def mase(self, mae: float) -> float | None:
        """A mean absolute error over that of the naive forecast for the same weeks."""
        return scaled(mae, errors(self.naive, self.came).mae)

    def covered(self, name: str, target: float) -> int:
        """How often no more came than the quantile of a forecast said."""
        levels = [quantile(above_zero(self.forecasts.whole(name, int(i))), target) for i in self.origins]
        return int(np.count_nonzero(self.came - self.known <= np.array(levels, dtype=np.float64)))

    @property
    def decides(self) -> bool:
        """True where enough weeks were replayed for the record to choose."""
        return len(self.origins) >= LEAST_REPLAYED

    def fails(self, name: str, target: float) -> bool:
        """True where the quantile of a forecast was enough in fewer weeks than it promises, and in no more than pick-up's."""
        covered = self.covered(name, target)
        return covered < target * len(self.origins) and covered <= self.covered(PICKUP, target)

    def used(self, target: float) -> str:
        """The forecast that has not lost (core/forecasts.py)."""
        root = {name: found.rmse for name, found in self.errors().items()}
        return chosen(root, len(self.origins), lambda name: self.fails(name, target))

    def reason(self, used: str, target: float) -> str:
        """Why that forecast is used, in words."""
        if not self.decides:
            return f"{len(self.origins)} replayed weeks, fewer than {LEAST_REPLAYED}, decide nothing"
        root = {name: found.rmse for name, found in self.errors().items()}
        if used != PICKUP:
            return f"its error {root[used]:.3g} is smaller than that of pick-up over all weeks, {root[PICKUP]:.3g}"
        smaller = [name for name in SIMPLEST_FIRST if root.get(name, root[PICKUP]) < root[PICKUP] and name != PICKUP_10]
        if not smaller:
            return "no simpler forecast has a smaller error"
        said = []
        if EXPECTED in smaller:
            said.append(f"{WORDS[EXPECTED]}: a smaller error, but it is used only before there is a history")
        if listed := ", ".join(WORDS[name].format(WINDOW) for name in smaller if name != EXPECTED):
            said.append(f"{listed}: a smaller error, but enough too seldom for {100 * target:.4g} %")
        return "; ".join(said)


def replay(forecasts: Forecasts, weeks: int = REPLAYED) -> Replay:
    """The last so many boundaries whose blocks are over and at which there was a history to forecast from.

    expected_per_week is left out where the practice file never had one.
    """
    grid, ahead = forecasts.curve.grid, forecasts.ahead
    last = grid.past - ahead
    origins = np.arange(max(forecasts.begun, last + 1 - weeks), last + 1)
    blocks = origins[:, None] + np.arange(ahead)[None, :]
    came = forecasts.curve.totals(grid.past)[blocks].sum(axis=1).astype(np.float64)
    known = forecasts.known[origins].sum(axis=1).astype(np.float64)
    before = np.array([forecasts.curve.totals(int(i))[i - 1] for i in origins], dtype=np.float64)
    names = [n for n in SIMPLEST_FIRST if n != EXPECTED or forecasts.expected.any()]
    said = {name: known + forecasts.still(name)[origins].sum(axis=1) for name in names}
    return Replay(forecasts, origins, known, came, ahead * before, said)
