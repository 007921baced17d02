"""Counts that may be below zero: what comes to be booked less what is cancelled, what is used less what was planned.

Exact like the vectors of core/counts.py, with the value at which the vector begins.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from stockroom.core.counts import MOST, TAIL, Pmf, compound, mean_of, too_large, trimmed


@dataclass(frozen=True, slots=True, eq=False)
class Net:
    """``pmf[k]`` is the chance of exactly ``least + k``."""

    least: int
    pmf: Pmf

    @property
    def mean(self) -> float:
        """The expected value, below zero where less is expected."""
        return self.least * float(self.pmf.sum()) + mean_of(self.pmf)


NOTHING = Net(0, np.ones(1))


def gain(pmf: Pmf, loss: Pmf | None = None) -> Net:
    """What is gained less what is lost, each on its own."""
    if loss is None:
        return Net(0, pmf)
    return _cut(Net(1 - len(loss), np.convolve(pmf, loss[::-1])))


def of_chances(chances: Iterable[tuple[int, float]]) -> Net:
    """Values with their chances, which add up to 1.

    Raises: ValueError where there is none.
    """
    found = list(chances)
    least = min(value for value, _ in found)
    pmf = np.zeros(max(value for value, _ in found) - least + 1)
    for value, chance in found:
        pmf[value - least] += chance
    return Net(least, pmf if len(pmf) > 1 else np.ones(1))


def total(nets: Iterable[Net]) -> Net:
    """The sum of independent ones; of none: zero for certain."""
    found = NOTHING
    for net in nets:
        found = net if found is NOTHING else _cut(Net(found.least + net.least, np.convolve(found.pmf, net.pmf)))
    return found


def repeated(net: Net, times: int) -> Net:
    """The sum of so many independent ones alike, by doubling."""
    found, power = NOTHING, net
    while times > 0:
        if times & 1:
            found = total((found, power))
        times >>= 1
        if times:
            power = total((power, power))
    return found


def for_each(number: Net, each: Pmf) -> Net:
    """Pieces where each of a number of procedures uses ``each`` of them, and each of those lost frees as many.

    Raises: Refused where it is beyond a million pieces.
    """
    if len(each) == 1:
        return NOTHING
    if number.least >= 0:
        return Net(0, compounded(np.concatenate((np.zeros(number.least), number.pmf)), each))
    pmf = np.concatenate((number.pmf, np.zeros(max(0, 1 - number.least - len(number.pmf)))))
    more, less = pmf[-number.least :].copy(), pmf[-number.least :: -1].copy()
    less[0] = 0.0  # what is neither gained nor lost stands once
    up, down = compounded(more, each), compounded(less, each)
    found = np.zeros(len(down) - 1 + len(up))
    found[len(down) - 1 :] += up
    found[len(down) - 1 :: -1] += down
    return _cut(Net(1 - len(down), found))


def compounded(pmf: Pmf, each: Pmf) -> Pmf:
    """The sum of a random number of independent counts alike (a compound distribution), exact to rounding.

    Its generating function is that of the number, of that of one; the values are read off it by the discrete
    Fourier transform, which is long enough for nothing to wrap around.

    Raises: Refused where it is beyond a million pieces.
    """
    if np.count_nonzero(each) == 1:
        return compound(pmf, int(np.argmax(each)))
    size = (len(pmf) - 1) * (len(each) - 1) + 1
    if size > MOST:
        raise too_large()
    length = 1 << (size - 1).bit_length()
    wave = np.fft.rfft(each, length)
    found = np.zeros_like(wave)
    for chance in pmf[::-1]:
        found = found * wave + chance
    return trimmed(np.maximum(np.fft.irfft(found, length)[:size], 0.0))


def above_zero(net: Net) -> Pmf:
    """The same where what is below zero counts as zero: what stock must be there for."""
    if net.least >= 0:
        return np.concatenate((np.zeros(net.least), net.pmf))
    split = min(1 - net.least, len(net.pmf))
    return np.concatenate(((float(net.pmf[:split].sum()),), net.pmf[split:]))


def _cut(net: Net) -> Net:
    """Without the ends that hold less than TAIL of the chance."""
    pmf = trimmed(net.pmf)
    first = min(int(np.searchsorted(np.cumsum(pmf), TAIL)), len(pmf) - 1)
    return Net(net.least + first, pmf[first:])
