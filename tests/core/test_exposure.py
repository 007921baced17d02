"""Mean kinetic temperature and exposure. Sources stand beside the checks."""

from dataclasses import astuple
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.exposure import Part, combined, exposure_of, mkt, mkt_weighted, unmonitored
from stockroom.core.handchecks import Covered
from stockroom.core.practice import Keep
from stockroom.core.spells import Line, spells

HOUR = 3600
MAX_GAP = HOUR
KEEP = Keep(2000, 8000)


def ints(values):
    return np.array(list(values), dtype=np.int64)


# Formula published: USP <1160>, Haynes 1971, dH/R = 10000 K. Values derived from it, e.g. 5 and 15 °C, half a day
# each: exp(-10000/278.15) = 2.43400e-16, exp(-10000/288.15) = 8.47579e-16, mean 5.45490e-16;
# 10000 / -ln(5.45490e-16) = 284.53673 K = 11.38673 °C
@pytest.mark.parametrize(
    ("temps", "weights", "expected"),
    [
        ([5], [24], 5.0),
        ([5, 5, 5], [1, 2, 3], 5.0),
        ([5, 15], [12, 12], 11.386730),
        ([5, 15], [20, 4], 7.704628),
        ([4, 4, 4, 4, 16], [1, 1, 1, 1, 1], 8.108857),
        # An hour at -2 °C hardly shows: it cannot see freezing (published: USP <1079.2> on what the mean is for)
        ([5, -2], [23, 1], 4.802706),
    ],
)
def test_weighted_mean_kinetic_temperature(temps, weights, expected):
    assert mkt_weighted(temps, weights) == pytest.approx(expected, abs=1e-6)


def test_trapezoids_on_the_exponentials_where_intervals_differ():
    # derived: t = 0, 1, 3, 4 h; each interval weighs the mean of the exponentials at its ends by its length
    at, milli = ints([0, HOUR, 3 * HOUR, 4 * HOUR]), ints([4000, 10_000, 10_000, 15_000])
    assert mkt(at, milli) == pytest.approx(10.306261, abs=1e-6)
    # derived: the same trapezoids as weights on the readings, half of every interval to either end
    assert mkt(at, milli) == pytest.approx(mkt_weighted([4, 10, 10, 15], [0.5, 1.5, 1.5, 0.5]), abs=1e-9)


def test_one_reading_and_none():
    assert mkt(ints([7]), ints([4321])) == 4.321
    with pytest.raises(ValueError, match="no mean"):
        mkt(ints([]), ints([]))
    with pytest.raises(ValueError, match="no mean"):
        mkt_weighted([5], [0])


def test_a_constant_temperature_is_its_own_mean_to_the_last_bit():
    # derived: the mean of equal terms; rounding alone would miss it by about 1e-13
    for milli in range(-2000, 12_000, 7):
        assert mkt(ints([0, 600, 1800]), ints([milli] * 3)) == milli / 1000
        assert mkt_weighted([milli / 1000] * 3, [0.1, 0.2, 0.3]) == milli / 1000


milli_values = st.integers(-60_000, 60_000)


@given(st.lists(st.tuples(st.integers(1, 10**5), milli_values), min_size=1, max_size=30))
def test_the_mean_lies_within_what_was_measured(pairs):
    at, milli = np.cumsum(ints(s for s, _ in pairs)), ints(m for _, m in pairs)
    assert milli.min() / 1000 <= mkt(at, milli) <= milli.max() / 1000
    celsius = [m / 1000 for _, m in pairs]
    assert min(celsius) <= mkt_weighted(celsius, [s for s, _ in pairs]) <= max(celsius)


@given(st.lists(st.tuples(st.integers(1, 10**5), st.integers(-10_000, 30_000)), min_size=2, max_size=20))
def test_the_mean_is_no_lower_than_the_plain_one(pairs):
    # derived: exp(-10000/T) is convex below 5000 K and rising, so its mean lies on the warm side (Jensen)
    celsius, weights = [m / 1000 for _, m in pairs], [s for s, _ in pairs]
    assert mkt_weighted(celsius, weights) >= np.average(celsius, weights=weights) - 1e-9


# --- stays ----------------------------------------------------------------------------------------------------


def test_a_stay_within_a_series():
    # derived: 4 -> 10 -> 10 -> 4 every 10 min: above 8 from 400 s to 1400 s
    at, milli = ints([0, 600, 1200, 1800]), ints([4000, 10_000, 10_000, 4000])
    part = exposure_of(at, milli, 0, 1800, KEEP, MAX_GAP)
    assert (part.seconds_warm, part.seconds_cold, part.seconds_unmonitored) == (pytest.approx(1000), 0, 0)
    assert (part.min_milli, part.max_milli, part.seconds_logged) == (4000, 10_000, 1800)
    assert part.exposure.mkt_celsius == pytest.approx(mkt(at, milli), abs=1e-9)
    # derived: a stay from 500 to 700 s sees 9 °C at its first edge, and is warm throughout
    inner = exposure_of(at, milli, 500, 700, KEEP, MAX_GAP)
    assert (inner.seconds_warm, inner.min_milli, inner.max_milli) == (200, 9000, 10_000)


def test_limits_are_inclusive_and_may_be_absent():
    # derived
    at, milli = ints([0, 600, 1200]), ints([8000, 8000, 2000])
    assert exposure_of(at, milli, 0, 1200, KEEP, MAX_GAP).seconds_warm == 0
    assert exposure_of(at, milli, 0, 1200, Keep(None, 5000), MAX_GAP).seconds_warm == pytest.approx(900)
    assert exposure_of(at, milli, 0, 1200, Keep(5000, None), MAX_GAP).seconds_cold == pytest.approx(300)
    assert exposure_of(at, milli, 0, 1200, None, MAX_GAP).seconds_warm == 0


def test_gaps_and_the_time_before_and_after_are_unmonitored():
    # derived: readings at 10 and 20 min, a gap of two hours, then 140 and 150 min; stay 0 to 160 min
    at, milli = ints([600, 1200, 8400, 9000]), ints([5000, 5000, 6000, 6000])
    part = exposure_of(at, milli, 0, 9600, KEEP, MAX_GAP)
    assert part.seconds_unmonitored == 600 + 7200 + 600
    assert part.seconds_logged == 1200
    # A lone reading vouches for no time, but its value was met
    lone = exposure_of(ints([600]), ints([9000]), 0, 1200, KEEP, MAX_GAP)
    assert (lone.seconds_unmonitored, lone.max_milli, lone.exposure.mkt_celsius) == (1200, 9000, None)
    # Stock that left at that second did not meet it, stock that came then did
    assert exposure_of(ints([600]), ints([9000]), 0, 600, KEEP, MAX_GAP).max_milli is None
    assert exposure_of(ints([600]), ints([9000]), 600, 1200, KEEP, MAX_GAP).max_milli == 9000


def test_checks_in_range_cover_what_the_logger_did_not():
    # derived: logger 0 to 1 h, checks with min and max from 0 to 3 h and 3 to 5 h, stay 0 to 6 h
    at, milli = ints([0, HOUR]), ints([5000, 5000])
    fine, warm = Covered(0, 3 * HOUR, 3000, 8000), Covered(3 * HOUR, 5 * HOUR, 3000, 8100)
    part = exposure_of(at, milli, 0, 6 * HOUR, KEEP, MAX_GAP, [fine, warm])
    assert part.seconds_unmonitored == 3 * HOUR
    assert (part.min_milli, part.max_milli) == (3000, 8100)
    # A product kept to 6 °C is not covered by a check that shows 8
    assert exposure_of(at, milli, 0, 6 * HOUR, Keep(2000, 6000), MAX_GAP, [fine, warm]).seconds_unmonitored == 5 * HOUR
    # One kept from 3 to 8 is, by the check that shows just that
    assert exposure_of(at, milli, 0, 6 * HOUR, Keep(3000, 8000), MAX_GAP, [fine, warm]).seconds_unmonitored == 3 * HOUR
    # Where the logger covers the span, the logger's values stand
    logged = exposure_of(at, milli, 0, HOUR, KEEP, MAX_GAP, [fine])
    assert (logged.min_milli, logged.max_milli, logged.seconds_unmonitored) == (5000, 5000, 0)
    # Checks alone: covered time, extremes, no mean
    alone = exposure_of(ints([]), ints([]), 0, 3 * HOUR, KEEP, MAX_GAP, [fine])
    assert (alone.seconds_unmonitored, alone.min_milli, alone.exposure.mkt_celsius) == (0, 3000, None)


def test_two_checks_at_one_instant_show_nothing_of_a_stay():
    # derived: a span without length holds no time, and a stay may be split right at it
    point = Covered(600, 600, 1000, 12_000)
    none = ints([])
    parts = [exposure_of(none, none, a, b, KEEP, MAX_GAP, [point]) for a, b in ((0, 1200), (0, 600), (600, 1200))]
    assert [(p.min_milli, p.max_milli) for p in parts] == [(None, None)] * 3
    assert combined(parts[1:]) == parts[0]


def test_no_stay_no_exposure():
    assert exposure_of(ints([0, 600]), ints([9000, 9000]), 300, 300, KEEP, MAX_GAP) == Part()
    assert unmonitored(100, 700).exposure.seconds_unmonitored == 600
    assert unmonitored(700, 100) == Part()
    assert combined([]) == Part()


def test_places_add_up():
    # derived: a fridge for half an hour at 5 °C, then an hour on a shelf that nobody measures
    fridge = exposure_of(ints([0, 1800]), ints([5000, 5000]), 0, 1800, KEEP, MAX_GAP)
    whole = combined([fridge, unmonitored(1800, 5400)]).exposure
    assert (whole.seconds_unmonitored, whole.min_milli, whole.max_milli) == (3600, 5000, 5000)
    assert whole.mkt_celsius == 5.0


steps = st.one_of(st.sampled_from([600, 3600, 3601]), st.integers(1, 5000))
readings = st.lists(st.tuples(steps, st.integers(500, 9500)), max_size=25)
spans = st.lists(
    st.tuples(st.integers(-5000, 50_000), st.integers(0, 20_000), st.integers(0, 9000), st.integers(0, 2000)),
    max_size=5,
)


def close(one, other):
    near = pytest.approx
    return all(a == b if None in (a, b) else a == near(b, rel=1e-9, abs=1e-6) for a, b in zip(one, other, strict=True))


@given(readings, spans, st.lists(st.integers(-2000, 60_000), min_size=3, max_size=6, unique=True))
def test_a_stay_may_be_split_at_any_instant(pairs, drawn, cuts):
    at, milli = np.cumsum(ints(s for s, _ in pairs)), ints(m for _, m in pairs)
    shown = [Covered(a, a + n, low, low + more) for a, n, low, more in drawn]
    cuts = sorted(cuts)
    whole = exposure_of(at, milli, cuts[0], cuts[-1], KEEP, MAX_GAP, shown)
    parts = [exposure_of(at, milli, a, b, KEEP, MAX_GAP, shown) for a, b in pairwise(cuts)]
    assert close(astuple(combined(parts)), astuple(whole))
    assert combined(parts) == combined(reversed(parts))
    assert 0 <= whole.seconds_unmonitored + whole.seconds_logged <= cuts[-1] - cuts[0]
    if not shown:
        assert whole.seconds_unmonitored + whole.seconds_logged == cuts[-1] - cuts[0]
    mean = whole.exposure.mkt_celsius
    assert mean is None or whole.min_milli <= 1000 * mean + 1e-9 <= whole.max_milli + 2e-9


@given(readings)
def test_a_stay_through_a_whole_series_agrees_with_its_spells(pairs):
    at, milli = np.cumsum(ints(s for s, _ in pairs)), ints(m for _, m in pairs)
    part = exposure_of(at, milli, 0, 200_000, KEEP, MAX_GAP)
    for line, seconds in ((Line("warm", 8000), part.seconds_warm), (Line("cold", 2000), part.seconds_cold)):
        assert sum(s.seconds for s in spells(at, milli, line, MAX_GAP, 0)) == pytest.approx(seconds, abs=1e-6)
