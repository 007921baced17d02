"""Use that comes now and then, outside bookings: dropped, training, a walk-in."""

from collections.abc import Sequence

import numpy as np

from stockroom.core.counts import Pmf
from stockroom.core.forecasts import COMPLETE_WEEKS, around

ALPHA = 0.1
"""Both smoothing constants (a common choice, no source): one dropped kit weighs little, and what was a habit and is
none any more is all but forgotten after half a year without it.
"""


def tsb(series: Sequence[float], alpha_d: float = ALPHA, alpha_p: float = ALPHA) -> float:
    """Expected demand of the next period where many are empty (Teunter, Syntetos & Babai 2011).

    The chance of a demand, smoothed every period with alpha_p from the first period's 0 or 1 on, times the
    size of a demand, smoothed with alpha_d over the periods that had one, from the first of these on. Zero
    where there was none.

    Raises: ValueError where a smoothing constant is not between 0 and 1.
    """
    if not (0 <= alpha_d <= 1 and 0 <= alpha_p <= 1):
        raise ValueError(f"smoothing constants {alpha_d} and {alpha_p}")
    sizes = [y for y in series if y > 0]
    if not sizes:
        return 0.0
    return _smoothed(sizes, alpha_d) * _smoothed([float(y > 0) for y in series], alpha_p)


def outside_bookings(series: Sequence[int], weeks: float) -> Pmf:
    """Pieces used outside bookings in so many weeks to come, from those of past weeks, oldest first.

    The mean is ``weeks`` times TSB's, the spread Poisson, or negative binomial where the weeks' variance exceeds their
    mean. Of fewer than four weeks nothing is expected.
    """
    if len(series) < COMPLETE_WEEKS:
        return np.ones(1)
    return around(max(0.0, weeks) * tsb(series), np.array(series, dtype=np.float64)).pmf


def _smoothed(values: Sequence[float], alpha: float) -> float:
    level = float(values[0])
    for value in values[1:]:
        level += alpha * (value - level)
    return level
