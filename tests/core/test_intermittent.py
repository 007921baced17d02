"""Use that comes now and then: TSB against a reference library's values, and its spread."""

import numpy as np
import pytest
from scipy import stats

from stockroom.core.counts import mean_of
from stockroom.core.intermittent import ALPHA, outside_bookings, tsb

J06 = (
    "11100131111121100200120100111100210001033241133104130125e20036222516"
    "33201100014c407021413106931317133356a5131112137ba5522103658911000122"
    "00001000211010000000000000101300000000000000000000000000000000000000"
)
"""Monthly scripts of immune sera, 1991-07 to 2008-06 (published: Forecasting: Principles and Practice 3e,
13.2), one base-20 digit a month.
"""
PARTX = [
    0, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 2, 1, 0, 0, 0, 2, 0, 3, 1, 0, 1, 0, 0, 0, 5, 3, 0, 4, 1, 1, 0,
    2, 0, 1, 0, 0, 1, 2, 0, 0, 0,
]  # fmt: skip
"""Monthly sales of a slow car part (published: Hyndman, Koehler, Ord & Snyder 2008)."""


@pytest.mark.parametrize(
    ("series", "same", "slow"),
    [
        (
            [0, 0, 3, 0, 0, 0, 2, 0, 1, 0, 0, 4, 0, 0, 0, 0, 2, 0, 0, 1],
            0.7465942774428055,
            0.4586579531036114,
        ),
        ([2, 3, 1, 4, 2, 3, 5, 2], 2.4763151000000008, 2.7587328),
        ([0, 0, 0, 5, 0, 0], 0.4050000000000001, 0.225625),
        ([int(digit, 20) for digit in J06], 0.015193591597992918, 0.10264768814549435),
    ],
)
def test_tsb(series, same, slow) -> None:
    # Teunter, Syntetos & Babai (2011); values from a reference forecasting library, recomputed by hand code
    assert tsb(series, 0.1, 0.1) == pytest.approx(same, abs=1e-12)
    assert tsb(series, 0.2, 0.05) == pytest.approx(slow, abs=1e-12)
    assert ALPHA == 0.1 and tsb(series) == tsb(series, 0.1, 0.1)


def test_tsb_on_a_slow_part() -> None:
    # value from a reference forecasting library
    assert tsb(PARTX) == pytest.approx(0.6823731229591443, abs=1e-12)


def test_the_series_of_scripts_is_whole() -> None:
    # counted in the published series: months, sum, months with any, longest run without, largest
    series = [int(digit, 20) for digit in J06]
    runs = "".join("0" if y == 0 else " " for y in series).split()
    assert (len(series), sum(series), sum(y > 0 for y in series)) == (204, 331, 114)
    assert (max(map(len, runs)), max(series)) == (38, 14)


def test_tsb_without_demand_or_with_a_constant_that_is_none() -> None:
    assert tsb([], 0.1, 0.1) == tsb([0, 0, 0], 0.1, 0.1) == 0
    with pytest.raises(ValueError, match="smoothing"):
        tsb([1], 1.1, 0.1)


def test_its_spread_over_some_weeks() -> None:
    # derived: variance (n - 1) over mean of the series, kept for any number of weeks; scipy's negative binomial
    series = [0, 0, 3, 0, 0, 0, 2, 0, 1, 0, 0, 4, 0, 0, 0, 0, 2, 0, 0, 1]
    ratio = np.var(series, ddof=1) / np.mean(series)
    for weeks in (0.5, 1, 2.4):
        mean = weeks * tsb(series)
        pmf = outside_bookings(series, weeks)
        assert mean_of(pmf) == pytest.approx(mean)
        want = stats.nbinom.pmf(np.arange(10), mean / (ratio - 1), 1 / ratio)
        assert pmf[:10] == pytest.approx(want, abs=1e-10)
    # a use that varies less than by chance is Poisson
    assert outside_bookings([1, 1, 1, 1, 1], 2)[:5] == pytest.approx(stats.poisson.pmf(np.arange(5), 2))
    for none in ([], [0, 0, 0, 0, 0], [3, 0, 0]):
        assert outside_bookings(none, 2).tolist() == [1]
    assert outside_bookings([1, 2, 1, 2], -1).tolist() == [1]
