"""Forecasts until an instant: whole weeks, parts of weeks, and that more time never needs less."""

from itertools import pairwise

import numpy as np
import pytest
from curve_cases import DAY, NEVER, books, grid, of_triangle, stretches
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.booking_curve import curve
from stockroom.core.forecasts import EXPECTED, KNOWN, MEAN_10, PICKUP, PICKUP_10, Forecasts
from stockroom.core.span_forecast import blocks_until, still_booked

WEEK = 7 * DAY
TRIANGLE = [[1, 2, 4, 5], [0, 1, 3, 3], [2, 3, 4, 6], [1, 1, 2, 4], [0, 2, 3], [1, 2], [1]]


def until(found, g, name, end):
    f = Forecasts(curve(found, g), blocks_until(g, end), np.zeros(g.past + 1))
    return still_booked(f, name, found, end)


def test_whole_weeks_add_up() -> None:
    found, g = of_triangle(TRIANGLE)
    now = WEEK * g.past
    for weeks, mean in ((1, 1.25), (2, 1.25 + 2.65), (3, 1.25 + 2.65 + 3.65)):
        got, net = until(found, g, PICKUP, now + weeks * WEEK)
        assert (got, net.mean) == (pytest.approx(mean), pytest.approx(mean))
    # all of them begin on the sixth day at 6: until then there is nothing, from then on all of it
    assert until(found, g, PICKUP, now + 6 * DAY)[0] == 0
    assert until(found, g, PICKUP, now + 6 * DAY + 6 * 3600)[0] == 0
    assert until(found, g, PICKUP, now + 6 * DAY + 6 * 3600 + 1)[0] == pytest.approx(1.25)


def test_how_many_weeks_a_time_touches() -> None:
    g = grid(3, 4)
    now = 3 * WEEK
    ends = (now - 5, now, now + 1, now + WEEK, now + WEEK + 1, now + 4 * WEEK)
    assert [blocks_until(g, end) for end in ends] == [0, 0, 1, 1, 2, 4]


def test_a_part_of_a_week_is_compared_with_the_same_part_of_past_weeks() -> None:
    # derived: in each week three come late for its second day, at 1, 2 and 3 o'clock, and one for its fifth
    rows = []
    for n in range(6):
        rows += [(WEEK * n + 60, NEVER, WEEK * n + DAY + h * 3600) for h in (1, 2, 3)]
        rows += [(WEEK * n + 60, NEVER, WEEK * n + 4 * DAY)]
    found, g = books(rows), grid(6, 3)
    now = 6 * WEEK
    parts = {DAY: 0, DAY + 3600: 0, DAY + 3601: 1, DAY + 2 * 3600 + 1: 2, 2 * DAY: 3, 4 * DAY: 3, 4 * DAY + 1: 4}
    for part, mean in parts.items():
        for name in (PICKUP, PICKUP_10, MEAN_10):
            got, net = until(found, g, name, now + part)
            assert (got, net.mean) == (pytest.approx(mean), pytest.approx(mean)), (part, name)
    assert until(found, g, KNOWN, now + WEEK)[0] == until(found, g, EXPECTED, now + WEEK)[0] == 0


def test_the_mean_of_ten_weeks_less_what_is_known() -> None:
    # derived: four a week; five are known for the week that begins, one for the next: 0 and 3 more
    rows = [(WEEK * n + 60, NEVER, WEEK * n + DAY) for n in range(12) for _ in range(4)]
    rows += [(11 * WEEK, NEVER, 12 * WEEK + DAY)] * 5 + [(11 * WEEK, NEVER, 13 * WEEK + DAY)]
    found, g = books(rows), grid(12, 3)
    assert until(found, g, MEAN_10, 14 * WEEK)[0] == pytest.approx(3)
    assert until(found, g, MEAN_10, 13 * WEEK + DAY // 2)[0] == 0
    f = Forecasts(curve(found, g), 2, np.zeros(13))
    got, net = still_booked(f, MEAN_10, found, 14 * WEEK, most=2.0)
    assert (got, net.mean) == (pytest.approx(2), pytest.approx(2))


@settings(max_examples=150, deadline=None)
@given(
    stretches,
    st.sampled_from([PICKUP, PICKUP_10]),
    st.integers(0, 5),
    st.lists(st.integers(1, 28 * 24), min_size=2, max_size=6),
)
def test_a_longer_time_never_has_less_to_come(rows, name, closed, hours) -> None:
    # a law, with cancellations and closed days
    share = np.ones((12, 7))
    share[6:9, closed] = 0
    found, g = books(rows), grid(8, 4, share)
    means = [until(found, g, name, 8 * WEEK + h * 3600)[0] for h in sorted(hours)]
    assert all(a <= b + 1e-9 for a, b in pairwise(means))


@settings(max_examples=60, deadline=None)
@given(stretches, st.sampled_from([PICKUP, PICKUP_10, MEAN_10]), st.integers(1, 28 * 24))
def test_the_spread_has_the_mean_that_is_said(rows, name, hours) -> None:
    mean, net = until(books(rows), grid(8, 4), name, 8 * WEEK + hours * 3600)
    assert net.mean == pytest.approx(mean, abs=1e-7)
    assert net.pmf.sum() == pytest.approx(1, abs=1e-9)
