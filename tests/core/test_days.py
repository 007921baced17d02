"""Day summaries: each equals the exposure of its day, and a stay is the sum of its days."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.days import DAY, days_of
from stockroom.core.exposure import Part, combined, exposure_of

GAP = 3600


def series(steps: list[int], values: list[int], start: int) -> tuple[np.ndarray, np.ndarray]:
    n = min(len(steps), len(values))
    at = start + np.cumsum(np.array(steps[:n], dtype=np.int64))
    return at, np.array(values[:n], dtype=np.int64)


many = st.lists(st.sampled_from([60, 599, 1800, 3600, 3601, 7200, 43_200, 90_000]), min_size=1, max_size=120)
temps = st.lists(st.integers(-20_000, 30_000), min_size=1, max_size=120)


@settings(max_examples=200, deadline=None)
@given(many, temps, st.sampled_from([0, 86_400, 86_399, 50_000]), st.sampled_from([600, 3600, 200_000]))
def test_each_day_is_the_exposure_of_its_day(steps: list[int], values: list[int], start: int, gap: int) -> None:
    # derived: the definition of a day's summary
    at, milli = series(steps, values, start)
    first, last = int(at[0]) // DAY, int(at[-1]) // DAY
    found = {d.number: d for d in days_of(at, milli, gap, first, last)}
    for number in range(first, last + 1):
        wanted = exposure_of(at, milli, number * DAY, (number + 1) * DAY, None, gap)
        readings = int(((at >= number * DAY) & (at < (number + 1) * DAY)).sum())
        if not readings and not wanted.seconds_logged:
            assert number not in found
            continue
        got = found[number]
        assert got.readings == readings
        assert got.part.seconds_logged == wanted.seconds_logged
        assert abs(got.part.integral - wanted.integral) <= 1e-9 * max(1.0, wanted.integral)
        assert (got.part.min_milli, got.part.max_milli) == (wanted.min_milli, wanted.max_milli)


@settings(max_examples=60, deadline=None)
@given(many, temps)
def test_days_of_a_part_are_the_days_of_the_whole(steps: list[int], values: list[int]) -> None:
    # derived: a day depends on its readings and one neighbour on either side, to the last bit
    at, milli = series(steps, values, 0)
    first, last = int(at[0]) // DAY, int(at[-1]) // DAY
    whole = {d.number: d for d in days_of(at, milli, GAP, first, last)}
    for number in range(first, last + 1):
        a = max(int(np.searchsorted(at, number * DAY)) - 1, 0)
        b = int(np.searchsorted(at, (number + 1) * DAY)) + 1
        for d in days_of(at[a:b], milli[a:b], GAP, number, number):
            assert whole[number] == d


def test_a_stay_is_the_sum_of_its_days() -> None:
    # derived: 12 h at 5 °C and 12 h at 15 °C twice over, half-hourly; the worked case of one day is 11.386730
    at = np.arange(0, 2 * DAY + 1, 1800)
    milli = np.where((at % DAY) < DAY // 2, 5000, 15_000)
    days = days_of(at, milli, GAP, 0, 1)
    total = combined(d.part for d in days)
    whole = exposure_of(at, milli, 0, 2 * DAY, None, GAP)
    assert total.seconds_logged == 2 * DAY
    assert total.exposure.mkt_celsius is not None
    assert whole.exposure.mkt_celsius is not None
    assert abs(total.exposure.mkt_celsius - whole.exposure.mkt_celsius) < 1e-9
    assert days_of(np.array([], dtype=np.int64), np.array([], dtype=np.int64), GAP, 0, 0) == []
    assert combined([]) == Part()
