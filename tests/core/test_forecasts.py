"""The spread of forecasts, their errors, and which one is used."""

import numpy as np
import pytest
from curve_cases import DAY, NEVER, books, grid
from scipy import stats

from stockroom.core.accuracy import errors, scaled
from stockroom.core.booking_curve import curve
from stockroom.core.counts import quantile
from stockroom.core.forecasts import EXPECTED, KNOWN, MEAN_10, PICKUP, PICKUP_10, Forecasts, around, chosen
from stockroom.core.net_counts import above_zero
from stockroom.core.replay import replay

WEEK = 7 * DAY


def test_the_predictive_quantile() -> None:
    # derived, scipy: 3 on the books, past pick-ups of the last week with mean 1.1 and variance .98889 (n - 1): Poisson,
    # quantiles .5, .9, .95, .98 of the final bookings are 4, 5, 6, 7
    past = np.array([1, 0, 2, 2, 1, 0, 3, 1, 0, 1.0])
    assert (past.mean(), past.var(ddof=1)) == (pytest.approx(1.1), pytest.approx(0.98889, abs=1e-5))
    net = around(1.1, past)
    assert [3 + quantile(above_zero(net), q) for q in (0.5, 0.9, 0.95, 0.98)] == [4, 5, 6, 7]
    assert net.mean == pytest.approx(1.1)


def test_pick_ups_that_vary_more_are_negative_binomial() -> None:
    # derived, scipy: mean 2, variance 6 (n - 1): r = 4 / 4 = 1, p = 1/3; for another mean the proportion stays
    past = np.array([0, 0, 6, 2, 1, 0, 5, 2.0])
    ratio = past.var(ddof=1) / past.mean()
    for mean in (past.mean(), 0.7, 4.0):
        net = around(mean, past)
        r = mean / (ratio - 1)
        assert net.pmf[:12] == pytest.approx(stats.nbinom.pmf(np.arange(12), r, 1 / ratio), abs=1e-10)
        assert net.mean == pytest.approx(mean)


def test_pick_ups_below_zero_are_a_difference() -> None:
    # derived: mean 0 and variance 2.2857: two Poisson counts of 1.1429; half a week of it has half the variance
    past = np.array([-2, 0, 2, -1, 1, -1, 2, -1.0])
    variance = past.var(ddof=1)
    for part in (1.0, 0.5):
        net = around(0.0, past, part)
        for value in range(-4, 5):
            want = stats.skellam.pmf(value, variance * part / 2, variance * part / 2)
            assert net.pmf[value - net.least] == pytest.approx(want, abs=1e-10)
        assert net.mean == pytest.approx(0, abs=1e-9)
    # a negative binomial with that mean would be zero for certain: 2 are needed for .95
    assert quantile(above_zero(around(0.0, past)), 0.95) == 2


def test_one_week_has_no_spread_of_its_own() -> None:
    assert around(2.0, np.array([9.0])).pmf[:5] == pytest.approx(stats.poisson.pmf(np.arange(5), 2))


def test_errors() -> None:
    # reference: a forecasting library's losses, and by hand: train 1 0 2 0 0 1 3 0 0 1 0 2, test 0 1 2 0, forecast .8
    train = np.array([1, 0, 2, 0, 0, 1, 3, 0, 0, 1, 0, 2.0])
    found = errors(np.full(4, 0.8), np.array([0, 1, 2, 0.0]))
    assert (found.mae, found.rmse, found.bias) == pytest.approx((0.75, 0.8306623862918076, 0.05))
    naive = errors(train[:-1], train[1:]).mae
    assert scaled(found.mae, naive) == pytest.approx(0.55)
    assert scaled(found.mae, 0) is None
    with pytest.raises(ValueError, match="no week"):
        errors(np.zeros(0), np.zeros(0))


def never(name: str) -> bool:
    return False


@pytest.mark.parametrize(
    ("root", "weeks", "used"),
    [
        ({PICKUP: 2, PICKUP_10: 2, MEAN_10: 3, EXPECTED: 3, KNOWN: 4}, 20, PICKUP),
        # a simpler one with a smaller error wins, however little smaller
        ({PICKUP: 2, PICKUP_10: 2.5, MEAN_10: 1.99, KNOWN: 4}, 20, MEAN_10),
        # what the practice file says is for the time before there is a history
        ({PICKUP: 2, PICKUP_10: 2, MEAN_10: 1.99, EXPECTED: 1.98, KNOWN: 4}, 20, MEAN_10),
        ({PICKUP: 2, PICKUP_10: 2, MEAN_10: 3, EXPECTED: 1, KNOWN: 4}, 20, PICKUP),
        ({PICKUP: 2, PICKUP_10: 2, MEAN_10: 2, KNOWN: 2}, 20, PICKUP),
        # the last ten weeks are no simpler: only where they are clearly better
        ({PICKUP: 2, PICKUP_10: 1.81, MEAN_10: 3, KNOWN: 4}, 20, PICKUP),
        ({PICKUP: 2, PICKUP_10: 1.79, MEAN_10: 3, KNOWN: 4}, 20, PICKUP_10),
        # where pick-up over all weeks has lost anyway, the best is used
        ({PICKUP: 2, PICKUP_10: 1.85, MEAN_10: 1.9, KNOWN: 4}, 20, PICKUP_10),
        # of equals the simpler
        ({PICKUP: 2, PICKUP_10: 1.5, MEAN_10: 1.5, KNOWN: 1.5}, 20, KNOWN),
        # few weeks decide nothing
        ({PICKUP: 2, PICKUP_10: 1, MEAN_10: 1, KNOWN: 1}, 7, PICKUP),
        ({}, 0, PICKUP),
    ],
)
def test_which_forecast_is_used(root, weeks, used) -> None:
    # decided here: see docs/decisions.md
    assert chosen(root, weeks, never) == used


def test_a_smaller_error_is_not_enough_where_the_quantile_fails() -> None:
    root = {PICKUP: 2.0, PICKUP_10: 2.0, MEAN_10: 1.8, EXPECTED: 3.0, KNOWN: 1.5}
    assert chosen(root, 20, lambda name: name == KNOWN) == MEAN_10
    assert chosen(root, 20, lambda name: True) == PICKUP


def bookings(weeks: int, late: list[int]) -> list[tuple[int, int, int]]:
    """Two a week, known a week before; besides as many as ``late`` says in turn, in the week itself."""
    rows = []
    for n in range(weeks):
        rows += [(max(0, WEEK * (n - 1) - 9), NEVER, WEEK * n + DAY)] * 2
        rows += [(WEEK * n + 60, NEVER, WEEK * n + 2 * DAY)] * late[n % len(late)]
    return rows


def test_the_replay_by_hand() -> None:
    # derived: 3 and 5 in turn, 2 of them known: pick-up over all weeks says 2 + the mean of what came late before
    late = [1, 3]
    f = Forecasts(curve(books(bookings(16, late)), grid(16, 3)), 1, np.full(17, 4.0))
    found = replay(f, 99)
    assert found.origins.tolist() == list(range(4, 16))
    totals = [2 + late[n % 2] for n in range(16)]
    assert found.came.tolist() == totals[4:] and found.known.tolist() == [2.0] * 12
    want = [2 + np.mean([late[n % 2] for n in range(i)]) for i in range(4, 16)]
    assert found.forecast[PICKUP] == pytest.approx(want)
    assert found.forecast[MEAN_10] == pytest.approx([np.mean(totals[max(0, i - 10) : i]) for i in range(4, 16)])
    assert found.forecast[EXPECTED].tolist() == [4.0] * 12 and found.forecast[KNOWN].tolist() == [2.0] * 12
    assert found.naive.tolist() == totals[3:15]
    assert found.mase(1.0) == 0.5  # last week's number is off by two each week
    # 3 and 5 against quantiles of 2 + Poisson or negative binomial with a mean near 2: .95 reaches 4 at least
    assert (found.covered(PICKUP, 0.95), found.covered(KNOWN, 0.95)) == (12, 0)
    assert replay(f, 5).origins.tolist() == list(range(11, 16))


def test_a_replay_reaches_as_far_ahead_as_the_forecast() -> None:
    f = Forecasts(curve(books(bookings(16, [1])), grid(16, 3)), 3, np.zeros(17))
    found = replay(f)
    assert found.origins.tolist() == list(range(4, 14))
    assert found.came.tolist() == [9.0] * 10
    assert EXPECTED not in found.forecast  # the practice file never said any
    # two known for the week that begins, two for the one after it
    assert found.known.tolist() == [4.0] * 10
    assert found.forecast[PICKUP] == pytest.approx([9.0] * 10)


def test_a_record_that_chooses_by_error_and_by_coverage() -> None:
    # derived: in most weeks nothing comes late, in one of ten two do. Known only has the smaller absolute error, but its
    # quantile is enough in too few weeks
    late = [0, 0, 0, 0, 2, 0, 0, 0, 0, 2]
    f = Forecasts(curve(books(bookings(60, late)), grid(60, 2)), 1, np.zeros(61))
    found = replay(f)
    by = found.errors()
    assert by[KNOWN].mae < by[PICKUP].mae and by[KNOWN].rmse > by[PICKUP].rmse
    assert found.used(0.95) == MEAN_10  # the same forecast where what is known never changes, by fewer weeks
    assert found.fails(KNOWN, 0.95) and not found.fails(KNOWN, 0.7)
    assert found.reason(MEAN_10, 0.95).startswith(f"its error {by[MEAN_10].rmse:.3g} is smaller")
