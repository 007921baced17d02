"""How sure a mean is that comes from independent runs, and how far apart single runs lie."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]
NORMAL_95 = 1.959964
BATCHES = 20
STUDENT_95 = 2.093024
"""Two-sided 95 % of Student's t with BATCHES - 1 degrees of freedom."""


@dataclass(frozen=True, slots=True)
class Band:
    """A mean, the 95 % band in which it lies, and between what nine of ten single runs lie."""

    mean: float
    low: float
    high: float
    run_low: float
    run_high: float

    def scaled(self, by: float) -> "Band":
        """The same in another unit (``by`` is not below zero)."""
        return Band(self.mean * by, self.low * by, self.high * by, self.run_low * by, self.run_high * by)

    def rest(self) -> "Band":
        """What is left to 1, of a part."""
        return Band(1 - self.mean, 1 - self.high, 1 - self.low, 1 - self.run_high, 1 - self.run_low)


def ratio_band(tops: npt.ArrayLike, bottoms: npt.ArrayLike) -> Band:
    """The band of sum(tops) / sum(bottoms), both counted in each of n runs and never below zero; bottoms may be one
    number for all.

    The standard error is that of the ratio estimator (linearised: residuals top - ratio x bottom over the mean bottom;
    Cochran 1977, 2.11). The band is symmetric for the logarithm, which keeps it above zero and suits counts that are
    rare. Where nothing was counted at all, the upper end is three in n runs (rule of three; Hanley & Lippman-Hand 1983).

    Raises: ValueError for fewer than two runs.
    """
    top = np.asarray(tops, np.float64)
    bottom = np.broadcast_to(np.asarray(bottoms, np.float64), top.shape)
    n = len(top)
    if n < 2:
        raise ValueError(f"{n} runs have no band")
    mean_bottom = float(bottom.mean())
    if mean_bottom == 0:
        return Band(0.0, 0.0, 0.0, 0.0, 0.0)
    ratio = float(top.mean()) / mean_bottom
    if ratio == 0:
        return Band(0.0, 0.0, 3 / n / mean_bottom, 0.0, 0.0)
    error = float((top - ratio * bottom).std(ddof=1)) / math.sqrt(n) / mean_bottom
    factor = math.exp(NORMAL_95 * error / ratio)
    single = top / np.where(bottom > 0, bottom, 1)
    few, many = np.quantile(single, (0.05, 0.95))
    return Band(ratio, ratio / factor, ratio * factor, float(few), float(many))


def saved_band(
    lost: npt.ArrayLike, wasted: npt.ArrayLike, lost_by_level: npt.ArrayLike, wasted_by_level: npt.ArrayLike
) -> Band | None:
    """How much less a policy wastes than a family of others that loses as much demand: more than zero is better.

    ``lost`` and ``wasted`` are (runs,) of the policy, the others (levels, runs), levels rising. Between two levels the
    family's waste is interpolated (some weeks at the one, some at the other). The runs go in batches, so that the band
    holds what the interpolation adds. None where the policy loses nothing, or the family never as much or as little.
    """
    by_batch = [_batched(values) for values in (lost, wasted, lost_by_level, wasted_by_level)]
    lost_b, wasted_b, losts, wastes = by_batch
    overall = losts.mean(axis=1)
    if not (lost_b.mean() > 0 and overall.min() <= lost_b.mean() <= overall.max()):
        return None
    # A level that loses as much as the one below it by chance must not turn the line back.
    falling = np.minimum.accumulate(losts, axis=0)
    likened = [np.interp(-x, -falling[:, b], wastes[:, b]) for b, x in enumerate(lost_b)]
    gain = np.array(likened) - wasted_b
    error = STUDENT_95 * float(gain.std(ddof=1)) / math.sqrt(BATCHES)
    mean = float(gain.mean())
    return Band(mean, mean - error, mean + error, float(gain.min()), float(gain.max()))


def _batched(values: npt.ArrayLike) -> Values:
    """Means over BATCHES equal batches of the last axis; runs that are left over go without."""
    found = np.asarray(values, np.float64)
    size = found.shape[-1] // BATCHES
    cut = found[..., : size * BATCHES]
    means: Values = cut.reshape(*found.shape[:-1], BATCHES, size).mean(axis=-1)
    return means
