"""Envelopes of a series and the time nobody watched. Sources stand beside the checks; the laws are the definitions."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.envelope import Step, envelope, step_of, unwatched_seconds
from stockroom.core.spells import Gap, gaps

DAY = 86_400


def ints(values):
    return np.array(list(values), dtype=np.int64)


def test_each_step_has_the_lowest_and_the_highest_of_its_part():
    # derived: a window of 100 s in two parts: [0, 50) has 1, 5 and [50, 100] has 3, 2
    found = envelope(ints([0, 40, 50, 100]), ints([1, 5, 3, 2]), 0, 100, 2, [])
    assert found == [Step(0, 40, 1, 5, False), Step(50, 100, 2, 3, True)]


def test_a_spike_of_ten_minutes_stands_in_a_week_and_in_a_year():
    # derived: one reading of 12 °C among readings of 4 °C every ten minutes
    for days in (7, 365):
        at = ints(range(0, days * DAY, 600))
        milli = np.full(at.size, 4000)
        milli[at.size // 3] = 12_000
        found = envelope(at, milli, 0, days * DAY, 140, [])
        assert len(found) == 140
        assert [s.high for s in found].count(12_000) == 1
        assert all(s.low == 4000 for s in found)


def test_a_silence_within_a_part_makes_two_steps_of_it():
    found = envelope(ints([0, 10, 80, 90]), ints([1, 2, 3, 4]), 0, 100, 1, [Gap(10, 80)])
    assert found == [Step(0, 10, 1, 2, False), Step(80, 90, 3, 4, False)]


def test_a_silence_that_lasts_cuts_nothing_before_it():
    assert len(envelope(ints([0, 10]), ints([1, 2]), 0, 100, 1, [Gap(10, None)])) == 1


def test_nothing_in_the_window_is_nothing():
    assert envelope(ints([]), ints([]), 0, 100, 5, []) == []
    assert envelope(ints([200]), ints([1]), 0, 100, 5, []) == []


@st.composite
def windows(draw):
    at = np.cumsum(ints(draw(st.lists(st.integers(1, 5000), min_size=1, max_size=60))))
    milli = ints(draw(st.lists(st.integers(-20_000, 40_000), min_size=at.size, max_size=at.size)))
    start = draw(st.integers(0, int(at[-1])))
    end = draw(st.integers(start + 1, int(at[-1]) + 4000))
    return at, milli, start, end, draw(st.integers(1, 40)), draw(st.integers(60, 4000))


@given(windows())
@settings(max_examples=300, deadline=None)
def test_the_envelope_keeps_every_reading_and_bridges_no_silence(case):
    at, milli, start, end, parts, most = case
    silent = gaps(at, most)
    found = envelope(at, milli, start, end, parts, silent)
    inside = (at >= start) & (at <= end)
    assert min((s.low for s in found), default=None) == (int(milli[inside].min()) if inside.any() else None)
    assert max((s.high for s in found), default=None) == (int(milli[inside].max()) if inside.any() else None)
    for when, value in zip(at[inside].tolist(), milli[inside].tolist(), strict=True):
        (home,) = [s for s in found if s.start <= when <= s.end]
        assert home.low <= value <= home.high
    for one, other in pairwise(found):
        assert one.end < other.start
        parted = any(one.end <= g.start < other.start for g in silent)
        assert other.joined != parted
    for s in found:
        assert not any(s.start <= g.start < s.end for g in silent)
        assert step_of(s.start, start, end, parts) == step_of(s.end, start, end, parts)
    assert len(found) <= parts + len(silent)


@pytest.mark.parametrize(
    ("readings", "start", "end", "unwatched"),
    [
        # derived: a stretch is watched where its readings lie at most 100 s apart
        ([0, 100, 200], 0, 200, 0),
        ([0, 100, 301, 400], 0, 400, 201),
        ([0, 100, 301, 400], 150, 250, 100),  # inside the silence
        ([50, 150], 0, 200, 100),  # before the first and after the last nobody watched
        ([50], 0, 200, 200),
        ([], 0, 200, 200),
        ([0, 100], 100, 100, 0),
    ],
)
def test_seconds_that_nobody_watched(readings, start, end, unwatched):
    assert unwatched_seconds(ints(readings), start, end, 100) == unwatched


@given(windows(), st.integers(1, 5000))
@settings(max_examples=100, deadline=None)
def test_watched_and_unwatched_add_up_over_two_parts_of_a_span(case, cut):
    at, _, start, end, _, most = case
    middle = min(end, start + cut)
    whole = unwatched_seconds(at, start, end, most)
    assert whole == unwatched_seconds(at, start, middle, most) + unwatched_seconds(at, middle, end, most)
    assert 0 <= whole <= end - start
