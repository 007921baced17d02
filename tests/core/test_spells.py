"""Spells, gaps and windows. Sources stand beside the checks; the laws are derived from the definitions."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.spells import Gap, Line, Spell, gaps, silence, spells, widened

WARM8 = Line("warm", 8000)
MAX_GAP = 3600


def ints(values):
    return np.array(list(values), dtype=np.int64)


def series(*pairs):
    return ints(t for t, _ in pairs), ints(m for _, m in pairs)


def every(minutes, *celsius, start=0):
    return ints(start + 60 * minutes * i for i in range(len(celsius))), ints(round(1000 * c) for c in celsius)


def only(found):
    assert len(found) == 1
    return found[0]


# --- worked cases ---------------------------------------------------------------------------------------------


def test_readings_every_five_minutes():
    # derived: crossings at 150 s (half way 7.9 -> 8.1) and 1200 + 300 x 4/6 = 1400 s; 1250 s = 20.83 min. Area in
    # °C s: .1/2 x 150 + (.1 + .6)/2 x 300 + (.6 + 1)/2 x 300 + (1 + .4)/2 x 300 + .4/2 x 200 = 602.5
    spell = only(spells(*every(5, 7.9, 8.1, 8.6, 9.0, 8.4, 7.8), WARM8, MAX_GAP, 3600))
    assert (spell.start, spell.end) == (150, 1400)
    assert spell.minutes == 20.83
    assert spell.minutes_at_most == 25
    assert spell.seconds == pytest.approx(1250, abs=1e-9)
    assert spell.degree_minutes == pytest.approx(602.5 / 60, abs=1e-12)
    assert spell.extreme == 9000
    assert (spell.anchor, spell.first_out, spell.last_out) == (300, 300, 1200)


def test_readings_every_ten_minutes():
    # derived: half way between 4 and 6 on both sides: 5 + 10 + 5 minutes; area 10 x 1 + 2 x (5 x 1 / 2) = 15
    spell = only(spells(*every(10, 4, 6, 6, 4), Line("warm", 5000), MAX_GAP, 3600))
    assert (spell.minutes, spell.minutes_at_most, spell.degree_minutes, spell.extreme) == (20, 30, 15, 6000)


def test_a_reading_at_the_limit_is_in_range():
    # derived: limits are inclusive
    assert spells(*every(10, 8, 8, 8), WARM8, MAX_GAP, 0) == []
    assert spells(*every(10, 2, 2, 2), Line("cold", 2000), MAX_GAP, 0) == []
    spell = only(spells(*every(10, 8, 8.001, 8), WARM8, MAX_GAP, 0))
    assert (spell.start, spell.end, spell.seconds, spell.extreme) == (0, 1200, 1200, 8001)


def test_the_cold_side():
    # derived: 3 -> 1 with limit 2 crosses half way
    spell = only(spells(*every(10, 3, 1, 3), Line("cold", 2000), MAX_GAP, 0))
    assert (spell.start, spell.end, spell.extreme, spell.degree_minutes) == (300, 900, 1000, 5)


def test_a_series_that_begins_out_of_range_starts_the_spell_at_its_first_reading():
    # derived: 9 -> 7 crosses half way, at 300 s; no reading before, so the first one out stands in for it
    spell = only(spells(*every(10, 9, 7), WARM8, MAX_GAP, 0))
    assert (spell.start, spell.end, spell.at_most_from, spell.at_most_to) == (0, 300, None, 600)
    assert (spell.minutes, spell.minutes_at_most) == (5, 10)


def test_a_spell_lasts_where_the_series_ends_out_of_range():
    # derived: 300 s from the crossing to the last reading
    spell = only(spells(*every(10, 7, 9), WARM8, MAX_GAP, 0))
    assert (spell.start, spell.end, spell.seconds) == (300, None, 300)
    assert spell.minutes_at_most is None


def test_a_lone_reading_out_of_range_lasts_no_time_and_is_a_spell():
    # derived: one reading is no interval
    spell = only(spells(*series((100, 9000)), WARM8, MAX_GAP, 0))
    assert (spell.start, spell.end, spell.seconds, spell.degree_minutes) == (100, None, 0, 0)


def test_a_gap_parts_two_spells_whatever_settles():
    # derived: readings at 0, 10 | gap of 61 min | 71, 81 min; the first ends at its last reading out of range, both
    # run from the last reading in range before (0) to the first in range after (81 min)
    at, milli = series((0, 7000), (600, 9000), (4260, 9500), (4860, 7500))
    first, second = spells(at, milli, WARM8, MAX_GAP, 10**9)
    assert (first.start, first.end, first.seconds) == (300, 600, 300)
    assert (second.start, second.end, second.seconds) == (4260, 4710, 450)
    assert (first.minutes_at_most, second.minutes_at_most) == (81, 81)
    assert gaps(at, MAX_GAP) == [Gap(600, 4260)]


def test_a_spell_that_a_gap_ended_is_over_even_if_no_reading_in_range_follows():
    # derived: the first spell ends at its last reading; nothing in range after brackets either
    first, second = spells(*series((0, 7000), (600, 9000), (9000, 9500)), WARM8, MAX_GAP, 0)
    assert (first.end, first.at_most_to, first.minutes_at_most) == (600, None, None)
    assert (second.end, second.at_most_from) == (None, 0)


def test_a_silence_of_exactly_the_largest_gap_is_none():
    # derived: longer than, not as long as
    at, milli = series((0, 7000), (3600, 9000), (7200, 7000))
    assert gaps(at, MAX_GAP) == []
    assert only(spells(at, milli, WARM8, MAX_GAP, 0)).seconds == 3600
    assert gaps(at, MAX_GAP - 1) == [Gap(0, 3600), Gap(3600, 7200)]
    assert silence(0, 3600, MAX_GAP) is None
    assert silence(0, 3601, MAX_GAP) == Gap(0, None)


def test_spells_less_than_settle_apart_are_one():
    # derived: crossings at 300 and 900 s, then at 1200 + 600 x 1/2.5 = 1440 and 1800 + 600 x 1.5/2.5 = 2160 s:
    # 600 + 720 s out of range, 540 s apart. Area 600 x 1 / 2 + 720 x 1.5 / 2 = 840 °C s
    at, milli = every(10, 7, 9, 7, 9.5, 7)
    assert [s.seconds for s in spells(at, milli, WARM8, MAX_GAP, 540)] == [600, 720]
    spell = only(spells(at, milli, WARM8, MAX_GAP, 541))
    assert (spell.start, spell.end, spell.minutes, spell.minutes_at_most) == (300, 2160, 22, 40)
    assert (spell.extreme, spell.degree_minutes) == (9500, 14)
    assert (spell.first_out, spell.last_out) == (600, 1800)


def test_spells_exactly_settle_apart_are_two():
    # derived: leaves at 100 x 200/300 = 66.67 s and comes back at 700 + 100 x 100/150 = 766.67 s, 700 s later;
    # in floats 2/3 from 2/3 need not be nothing
    at, milli = series((0, 8200), (100, 7900), (700, 7900), (800, 8050), (900, 7000))
    assert len(spells(at, milli, WARM8, MAX_GAP, 700)) == 2
    assert len(spells(at, milli, WARM8, MAX_GAP, 701)) == 1
    # derived: an hour between readings and hardly back in range: 2 x 3600 x 1/1001 = 7.19 s apart
    at, milli = every(60, 9, 7.999, 9)
    assert len(spells(at, milli, WARM8, MAX_GAP, 7)) == 2
    assert len(spells(at, milli, WARM8, MAX_GAP, 8)) == 1


def test_display_instants_round_halves_to_even():
    # derived: crossings at 0.5 and 2.5 s, then at 1.5 and 3.5 s
    for first, shown in ((0, (0, 2)), (1, (2, 4))):
        at, milli = every(1, 7, 9, 9, 7)
        spell = only(spells(first + at // 60, milli, WARM8, 60, 0))
        assert (spell.start, spell.end) == shown


def test_nothing_in_nothing_out():
    # derived
    none = ints([])
    assert spells(none, none, WARM8, MAX_GAP, 0) == []
    assert gaps(none, MAX_GAP) == []
    assert widened(5, 9, none, none, [WARM8], MAX_GAP, 0) == (5, 9)


# --- laws -----------------------------------------------------------------------------------------------------

steps = st.one_of(st.sampled_from([60, 300, 600, 3600, 3601, 9000]), st.integers(1, 4000))
values = st.one_of(st.sampled_from([7000, 7999, 8000, 8001, 9000]), st.integers(6500, 9500))
readings = st.lists(st.tuples(steps, values), min_size=1, max_size=40)
settles = st.sampled_from([0, 1, 300, 600, 3600, 20_000])


def laid_out(pairs):
    at = np.cumsum(ints(s for s, _ in pairs)) + 1_700_000_000
    return at, ints(m for _, m in pairs)


def reference(at, milli, limit, max_gap, settle):
    """The definition, walked through reading by reading in fractions: (start, end, seconds, area) of warm spells."""
    rows = [(int(t), int(m) - limit) for t, m in zip(at, milli, strict=True)]
    found = []  # [start, end, area, may the next one join]
    running = None

    def crossing(a, b):
        return a[0] + Fraction((b[0] - a[0]) * a[1], a[1] - b[1])

    for k, row in enumerate(rows):
        before = rows[k - 1] if k and row[0] - rows[k - 1][0] <= max_gap else None
        if before is None:
            if running:
                found.append([*running, False])
            elif found:
                found[-1][3] = False
            running = [Fraction(row[0]), Fraction(row[0]), Fraction(0)] if row[1] > 0 else None
        elif before[1] <= 0 < row[1]:
            cross = crossing(before, row)
            running = [cross, Fraction(row[0]), (row[0] - cross) * row[1] / 2]
        elif before[1] > 0:
            stop = Fraction(row[0]) if row[1] > 0 else crossing(before, row)
            running = [running[0], stop, running[2] + (stop - before[0]) * (before[1] + max(row[1], 0)) / 2]
            if row[1] <= 0:
                found.append([*running, True])
                running = None
    if running:
        found.append([*running, True])
    merged = []
    for start, stop, area, joins in found:
        if merged and merged[-1][4] and start - merged[-1][1] < settle:
            first, _, seconds, sofar, _ = merged[-1]
            merged[-1] = [first, stop, seconds + stop - start, sofar + area, joins]
        else:
            merged.append([start, stop, stop - start, area, joins])
    return merged


@given(readings, settles)
def test_figures_equal_the_definition_in_fractions(pairs, settle):
    at, milli = laid_out(pairs)
    found = spells(at, milli, WARM8, MAX_GAP, settle)
    expected = reference(at, milli, 8000, MAX_GAP, settle)
    assert len(found) == len(expected)
    for spell, (start, stop, seconds, area, _) in zip(found, expected, strict=True):
        assert spell.start == round(start)
        assert spell.end == (None if spell.last_out == at[-1] else round(stop))
        assert spell.seconds == pytest.approx(float(seconds), rel=1e-12, abs=1e-9)
        assert spell.degree_minutes == pytest.approx(float(area) / 60_000, rel=1e-12, abs=1e-9)


@given(st.lists(st.tuples(st.integers(1, 30), values), min_size=1, max_size=12))
def test_minutes_equal_a_count_of_tenths_of_seconds(pairs):
    at, milli = laid_out(pairs)
    counted = 0.0
    for (a, x), (b, y) in pairwise(zip(at.tolist(), milli.tolist(), strict=True)):
        if b - a <= 20:
            middles = (np.arange(10 * (b - a)) + 0.5) / 10
            counted += float(np.sum(x + (y - x) * middles / (b - a) > 8000)) / 10
    total = sum(s.seconds for s in spells(at, milli, WARM8, 20, 0))
    assert abs(total - counted) <= 0.1 * len(pairs)


@given(readings, settles)
def test_warm_is_cold_upside_down(pairs, settle):
    at, milli = laid_out(pairs)
    cold = spells(at, -milli, Line("cold", -8000), MAX_GAP, settle)
    assert [replace(s, extreme=-s.extreme) for s in cold] == spells(at, milli, WARM8, MAX_GAP, settle)


@given(readings, settles)
def test_brackets_hold_and_fit(pairs, settle):
    at, milli = laid_out(pairs)
    in_range = {int(t) for t, m in zip(at, milli, strict=True) if m <= 8000}
    found = spells(at, milli, WARM8, MAX_GAP, settle)
    for spell in found:
        assert spell.at_most_from == max((t for t in in_range if t < spell.first_out), default=None)
        assert spell.at_most_to == min((t for t in in_range if t > spell.last_out), default=None)
        assert spell.start <= spell.first_out <= spell.last_out
        inside = [int(m) for t, m in zip(at, milli, strict=True) if spell.first_out <= t <= spell.last_out]
        assert spell.extreme == max(inside)
        if spell.minutes_at_most is not None:
            assert spell.end is not None
            assert spell.minutes <= spell.minutes_at_most
    assert all(a.last_out < b.first_out for a, b in pairwise(found))


@given(readings)
def test_settle_zero_never_merges(pairs):
    at, milli = laid_out(pairs)
    runs = 0
    for k, (t, m) in enumerate(zip(at.tolist(), milli.tolist(), strict=True)):
        runs += m > 8000 and (k == 0 or milli[k - 1] <= 8000 or t - at[k - 1] > MAX_GAP)
    assert len(spells(at, milli, WARM8, MAX_GAP, 0)) == runs


@given(readings, settles, settles)
def test_settling_changes_neither_the_time_nor_the_area(pairs, one, other):
    at, milli = laid_out(pairs)
    a, b = (spells(at, milli, WARM8, MAX_GAP, settle) for settle in (one, other))
    assert sum(s.seconds for s in a) == pytest.approx(sum(s.seconds for s in b))
    assert sum(s.degree_minutes for s in a) == pytest.approx(sum(s.degree_minutes for s in b))


# --- windows --------------------------------------------------------------------------------------------------

LINES = (WARM8, Line("warm", 8500), Line("cold", 7000))


def on_lines(at, milli, settle):
    return [(line, spell) for line in LINES for spell in spells(at, milli, line, MAX_GAP, settle)]


def known(found: list[tuple[Line, Spell]], window, inside: bool):
    start, end = window
    return {(line, s) for line, s in found if (start <= s.first_out <= end) == inside}


crossing_steps = st.sampled_from([60, 300, 600, 3600, 3601])
crossing_values = st.one_of(st.sampled_from([6900, 7500, 8200, 8600]), st.integers(6800, 8700))
crossing = st.lists(st.tuples(crossing_steps, crossing_values), min_size=1, max_size=30)


@settings(max_examples=400)
@given(crossing, settles, st.data())
def test_recomputing_the_window_gives_what_the_whole_gives(pairs, settle, data):
    at, milli = laid_out(pairs)
    new = sorted(data.draw(st.sets(st.integers(0, at.size - 1), min_size=1, max_size=3)))
    window = widened(int(at[new[0]]), int(at[new[-1]]), at, milli, LINES, MAX_GAP, settle)
    within = (at >= window[0]) & (at <= window[1])
    now = on_lines(at, milli, settle)
    old = on_lines(np.delete(at, new), np.delete(milli, new), settle)
    # Inside: the same, to the last bit. Outside: as they were before the new readings came.
    assert set(on_lines(at[within], milli[within], settle)) == known(now, window, inside=True)
    assert known(old, window, inside=False) == known(now, window, inside=False)
    # No spell, and no gap, of either series sticks out of the window.
    for _, s in [*now, *old]:
        assert (window[0] <= s.first_out <= window[1]) == (window[0] <= s.last_out <= window[1])
    for rest in (at, np.delete(at, new)):
        for gap in gaps(rest, MAX_GAP):
            overlaps = gap.start < window[1] and window[0] < gap.end
            assert not overlaps or (window[0] <= gap.start and gap.end <= window[1])


@given(crossing, settles, st.randoms())
def test_any_split_and_order_of_readings_ends_in_the_same_spells(pairs, settle, dice):
    at, milli = laid_out(pairs)
    waiting = list(range(at.size))
    dice.shuffle(waiting)
    have: list[int] = []
    book: set[tuple[Line, Spell]] = set()
    while waiting:
        take = dice.randint(1, 8)
        batch, waiting = waiting[:take], waiting[take:]
        have = sorted([*have, *batch])
        t, m = at[have], milli[have]
        window = widened(int(at[min(batch)]), int(at[max(batch)]), t, m, LINES, MAX_GAP, settle)
        within = (t >= window[0]) & (t <= window[1])
        book = known(list(book), window, inside=False) | set(on_lines(t[within], m[within], settle))
        assert book == set(on_lines(t, m, settle))


def test_a_window_is_as_wide_as_it_needs_to_be_and_no_wider():
    # derived: readings every 10 min, in range throughout, settle an hour: on either side the nearest older reading
    # ends an hour in range, so it is the neighbour itself
    at, milli = every(10, *[5.0] * 1000)
    new = (300_000, 300_600)  # the readings 500 and 501
    assert widened(*new, at, milli, LINES[:1], MAX_GAP, 3600) == (299_400, 301_200)
    # derived: 8.2 at reading 492 leaves 493 to 499 in range, an hour: enough. At 493 it leaves 50 minutes: on to the
    # nearest reading before 493. The same on the other side with 509 and 508.
    for out_at, start in ((492, 299_400), (493, 295_200)):
        one = milli.copy()
        one[out_at] = 8200
        assert widened(*new, at, one, LINES[:1], MAX_GAP, 3600) == (start, 301_200)
    for out_at, end in ((509, 301_200), (508, 305_400)):
        one = milli.copy()
        one[out_at] = 8200
        assert widened(*new, at, one, LINES[:1], MAX_GAP, 3600) == (299_400, end)
    # derived: every line counts: below 2 °C is as good a reason, if it is asked about
    milli[493] = 1900
    assert widened(*new, at, milli, [WARM8], MAX_GAP, 3600) == (299_400, 301_200)
    assert widened(*new, at, milli, [WARM8, Line("cold", 2000)], MAX_GAP, 3600) == (295_200, 301_200)


def test_a_reading_in_range_beside_a_gap_ends_the_window():
    # derived: settle a day, which no stretch here reaches. Beside a gap a reading in range will do, because no spell
    # crosses a gap; one out of range will not, its bracket lies beyond.
    at = ints([0, 600, 9000, 9600, 18_000, 18_600])  # gaps between 600 and 9000, 9600 and 18,000

    def window(new, *celsius):
        return widened(new, new, at, ints(1000 * c for c in celsius), LINES[:1], MAX_GAP, 86_400)

    assert window(9000, 5, 5, 9, 9, 5, 5) == (600, 18_000)
    assert window(9000, 5, 9, 9, 9, 9, 5) == (0, 18_600)
    # derived: the reading behind the gap before, and the one before the gap after
    assert window(9600, 5, 9, 5, 9, 9, 5) == (9000, 18_600)
    assert window(9000, 5, 9, 9, 5, 9, 5) == (0, 9600)
