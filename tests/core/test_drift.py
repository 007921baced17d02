"""The EWMA chart and drift. Sources stand beside the checks."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.drift import drift, ewma, limits

# published: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (data and figures from memory of that page; the
# averages are recomputed by the rule and agree to the two decimals given). Target 50, s 2.0539, lambda 0.3.
DATA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
AVERAGES = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip
FIRST = date(2026, 1, 1)


def days(means, first=FIRST):
    return [(first + timedelta(days=n), mean) for n, mean in enumerate(means)]


def after(means):
    return FIRST + timedelta(days=len(means))


def steady(n):
    return [5 + (0.1, -0.1, 0.2, -0.2)[k % 4] for k in range(n)]


def test_the_published_chart():
    assert ewma(DATA, 50) == pytest.approx(AVERAGES, abs=0.0051)
    low, high = limits(50, 2.0539)
    # derived: 3 x 2.0539 x sqrt(.3/1.7) = 2.588432; the page cuts 47.411568 to 47.4115
    assert (low, high) == (pytest.approx(47.411568, abs=1e-6), pytest.approx(52.588432, abs=1e-6))
    assert (low, high) == (pytest.approx(47.4115, abs=1e-4), pytest.approx(52.5884, abs=1e-4))
    assert all(low < z < high for z in ewma(DATA, 50))


def test_other_settings():
    # derived: lambda 1 is the value itself, limits are k s
    assert ewma([1, 2, 3], 9, lam=1) == [1, 2, 3]
    assert limits(10, 2, lam=1, k=2) == (6, 14)


def test_a_steady_fridge_does_not_drift():
    means = steady(90)
    assert drift(days(means), after(means)) is None


def test_a_step_of_half_a_degree_is_a_drift():
    # derived: baseline mean 5, s = sqrt(28 x .025 / 27) = .16102, limit 5 + 3 s sqrt(.3/1.7) = 5.20292; averages
    # after days at 5.5: 5.15, 5.255, 5.3285: beyond since the second
    means = steady(28) + [5.5] * 3
    found = drift(days(means), after(means))
    assert found is not None
    assert (found.direction, found.since) == ("warm", FIRST + timedelta(days=29))
    assert found.ewma == pytest.approx(5.3285, abs=1e-9)
    assert found.limit == pytest.approx(5.20292, abs=1e-5)
    assert drift(days(means[:-2]), after(means[:-2])) is None


def test_a_slow_rise_is_a_drift_long_before_it_is_out_of_range():
    # derived: 0.05 °C a day from 5 °C on; 8 °C would be reached after 60 days
    means = steady(28) + [value + 0.05 * (k + 1) for k, value in enumerate(steady(28))]
    found = drift(days(means), after(means))
    assert found is not None
    assert found.direction == "warm"
    assert found.since < FIRST + timedelta(days=28 + 14)


def test_what_came_back_is_no_drift():
    means = steady(28) + [6.0] * 5 + steady(15)
    assert drift(days(means[:33]), after(means[:33])) is not None
    assert drift(days(means), after(means)) is None


def test_all_twenty_eight_days_are_needed():
    means = [*steady(27), 9.0]
    assert drift(days(means), after(means)) is None
    means = [*steady(28), 9.0]
    assert drift(days(means), after(means)) is not None
    assert drift([], FIRST) is None


def test_today_is_left_out_because_it_is_not_over():
    means = [*steady(28), 9.0]
    assert drift(days(means), FIRST + timedelta(days=28)) is None
    assert drift(days(means), FIRST + timedelta(days=29)) is not None


def test_unmonitored_days_are_passed_over():
    # derived: the days are counted as they come, whatever lies between
    means = steady(28) + [5.5] * 3
    every_other = [(FIRST + timedelta(days=2 * n), mean) for n, mean in enumerate(means)]
    found = drift(every_other, FIRST + timedelta(days=90))
    assert found is not None
    assert found.since == FIRST + timedelta(days=2 * 29)


def test_a_flat_baseline_does_not_make_a_drift_of_a_hair():
    # derived: least spread .05 °C, limit .05 x 3 x sqrt(.3/1.7) = .06301 °C from the target
    for shift, expected in ((0.06, None), (0.07, "warm"), (-0.07, "cold")):
        means = [5.1] * 28 + [5.1 + shift] * 20
        found = drift(days(means), after(means))
        assert (found.direction if found else None) == expected


def test_the_baseline_is_the_28_days_before_the_last_28():
    # derived: a wild month long ago widens nothing; one in the baseline does
    wild = [0.0, 10.0] * 14
    step = [5.5] * 10
    assert drift(days(wild + steady(46) + step), FIRST + timedelta(days=200)) is not None
    assert drift(days(wild + steady(18) + step), FIRST + timedelta(days=200)) is None


@given(st.lists(st.floats(-5, 15), max_size=70))
def test_cold_is_warm_upside_down(means):
    one, other = drift(days(means), after(means)), drift(days([-m for m in means]), after(means))
    assert (one is None) == (other is None)
    if one is not None and other is not None:
        assert {one.direction, other.direction} == {"warm", "cold"}
        assert (one.since, one.ewma, one.limit) == (other.since, -other.ewma, -other.limit)


@given(st.lists(st.floats(-60, 60), min_size=1), st.floats(-60, 60), st.floats(0.01, 1))
def test_the_average_stays_within_its_values(values, start, lam):
    low, high = min(start, *values), max(start, *values)
    assert all(low - 1e-9 <= z <= high + 1e-9 for z in ewma(values, start, lam))
