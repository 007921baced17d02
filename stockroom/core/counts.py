"""Exact distributions of counts as vectors: entry k of a vector is the chance of exactly k pieces.

A vector stops where less than ``TAIL`` of the chance is left, and is not scaled up for what was cut off:
every chance read from it is a little too low, never too high, by at most ``TAIL`` for each vector that went
into it. Written out here because the demand of a practice is a handful of pieces, for which a normal curve is
wrong and a statistics library a heavy thing to load.
"""

import math
from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from stockroom.errors import Refused

Pmf = npt.NDArray[np.float64]
TAIL = 1e-12
MOST = 1 << 20
"""Longer vectors are refused: nobody keeps a million kits, and a slip must not fill the memory."""


def poisson(mean: float) -> Pmf:
    """Poisson: p(k) / p(k-1) = mean / k.

    Raises: ValueError for a mean below zero or not a number; Refused where it is beyond a million pieces.
    """
    _checked(mean)
    if mean < TAIL:
        return np.ones(1)
    return _from_steps(lambda k: math.log(mean) - np.log(k), -math.inf)


def negative_binomial(mean: float, variance: float) -> Pmf:
    """Negative binomial by its moments, r = m^2 / (v - m), q = 1 - m / v: p(k) / p(k-1) = (k - 1 + r) q / k.

    Poisson where the variance does not exceed the mean (the limit of the family). The sum over w weeks is the
    one with mean w m and variance w v: r grows with w, q stays.

    Raises: as ``poisson``.
    """
    _checked(mean)
    _checked(variance)
    if variance <= mean or mean < TAIL:
        return poisson(mean)
    q = 1 - mean / variance
    rq = mean * (mean / variance)
    return _from_steps(lambda k: np.log((rq + (k - 1) * q) / k), math.log(q))


def convolution(pmfs: Sequence[Pmf]) -> Pmf:
    """The sum of independent counts; of none: zero for certain."""
    total = np.ones(1)
    for pmf in pmfs:
        total = trimmed(np.convolve(total, pmf))
    return total


def compound(pmf: Pmf, pieces: int) -> Pmf:
    """``pieces`` for each of a number of procedures: the chance of k procedures is that of k x pieces.

    Raises: ValueError for pieces below zero; Refused where it is beyond a million pieces.
    """
    if pieces < 0:
        raise ValueError(f"{pieces} pieces for each")
    if pieces == 0:
        return np.ones(1)
    if len(pmf) * pieces > MOST:
        raise too_large()
    out = np.zeros((len(pmf) - 1) * pieces + 1)
    out[::pieces] = pmf
    return out


def mixture(weights: Sequence[float], pmfs: Sequence[Pmf]) -> Pmf:
    """One of several distributions, each with its chance (lead times that vary, say).

    Raises: ValueError where the weights are no chances that add up to 1, or their number differs.
    """
    if len(weights) != len(pmfs) or min(weights) < 0 or abs(sum(weights) - 1) > 1e-9:
        raise ValueError(f"weights {list(weights)} for {len(pmfs)} distributions")
    out = np.zeros(max(len(p) for p in pmfs))
    for weight, pmf in zip(weights, pmfs, strict=True):
        out[: len(pmf)] += weight * pmf
    return trimmed(out)


def trimmed(pmf: Pmf) -> Pmf:
    """The vector without its end, where that holds less than TAIL of the chance."""
    tails = np.cumsum(pmf[::-1])[::-1]
    return pmf[: max(1, int(np.count_nonzero(tails >= TAIL)))]


def mean_of(pmf: Pmf) -> float:
    """The expected count."""
    return float(np.arange(len(pmf)) @ pmf)


def chance_at_most(pmf: Pmf, level: int) -> float:
    """P(X <= level); zero below zero."""
    return min(1.0, float(pmf[: max(0, level + 1)].sum()))


def quantile(pmf: Pmf, target: float) -> int:
    """The smallest u with P(X <= u) >= target.

    Compared with TAIL to spare, downwards: the vector's chances are too low by about that much (see above),
    and a target that is met exactly (three chances of a third for two thirds) must not cost a piece for a
    rounding.

    Raises: ValueError where the target is not between 0 and 1.
    """
    _checked_target(target)
    return min(int(np.searchsorted(np.cumsum(pmf), target - TAIL)), len(pmf) - 1)


def certain(pmf: Pmf, chance: float) -> int:
    """The largest u with P(X >= u) >= chance: what at least so surely comes.

    Compared as in ``quantile``: a chance that is met exactly must not cost a piece for a rounding.

    Raises: ValueError where the chance is not between 0 and 1.
    """
    _checked_target(chance)
    return int(np.searchsorted(np.cumsum(pmf), 1 - chance + TAIL, side="right"))


def excess(pmf: Pmf, level: int) -> float:
    """E(X - level)+: how many pieces a stock of ``level`` is short on average (a debt where below zero)."""
    if level < 0:
        return mean_of(pmf) - level
    over = pmf[level + 1 :]
    return float(np.arange(1, len(over) + 1) @ over)


def fill_rate(protection: Pmf, lead: Pmf, review_mean: float, level: int) -> float:
    """The part of demand served from the shelf when ordering up to ``level``; what is short is served later.

    1 - [E(D_protection - S)+ - E(D_lead - S)+] / E(D_review) (Hadley & Whitin 1963; Silver, Pyke & Thomas
    2017): ``protection`` is the demand over review and lead time, ``lead`` over the lead time alone. Without
    any demand all of it is served.
    """
    if review_mean <= 0:
        return 1.0
    return min(1.0, max(0.0, 1 - (excess(protection, level) - excess(lead, level)) / review_mean))


def fill_level(protection: Pmf, lead: Pmf, review_mean: float, target: float) -> int:
    """The smallest level whose ``fill_rate`` reaches the target, compared as in ``quantile``.

    The rate never falls as the level grows, since demand over the longer time is the larger one.

    Raises: ValueError where the target is not between 0 and 1.
    """
    _checked_target(target)
    low, high = 0, len(protection) - 1
    while low < high:
        middle = (low + high) // 2
        if fill_rate(protection, lead, review_mean, middle) >= target - TAIL:
            high = middle
        else:
            low = middle + 1
    return low


def _from_steps(steps_at: Callable[[Pmf], Pmf], limit: float) -> Pmf:
    """The distribution whose log p(k) - log p(k-1) is ``steps_at(k)``, tending to ``limit``, summed to 1.

    Summing logarithms and scaling at the end keeps large means from underflowing at zero. The vector grows
    until a geometric bound on what follows its end is far below TAIL.
    """
    size = 64
    while size <= MOST:
        steps = steps_at(np.arange(1, size + 1, dtype=np.float64))
        logs = np.concatenate((np.zeros(1), np.cumsum(steps)))
        weights = np.exp(logs - logs.max())
        total = float(weights.sum())
        ratio = math.exp(max(float(steps[-1]), limit))
        if ratio < 1 and float(weights[-1]) * ratio / (1 - ratio) < TAIL / 1000 * total:
            return trimmed(weights / total)
        size *= 2
    raise too_large()


def _checked(moment: float) -> None:
    if not (math.isfinite(moment) and moment >= 0):
        raise ValueError(f"a mean or variance of {moment}")


def _checked_target(target: float) -> None:
    if not 0 < target < 1:
        raise ValueError(f"a target of {target} is not between 0 and 1")


def too_large() -> Refused:
    """What is raised where a distribution would not fit."""
    return Refused(
        "demand-too-large",
        "the expected demand is beyond a million pieces",
        "check expected_per_week and what the procedures use",
    )
