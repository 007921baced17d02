"""Hand checks. All cases derived from the definitions; a check is written (hour, current, min, max) in °C."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.handchecks import Covered, HandSpell, covered, hand_spells, uncovered, uncovered_seconds
from stockroom.core.records import HandCheck
from stockroom.core.spells import Line

WARM8 = Line("warm", 8000)
COLD2 = Line("cold", 2000)
HOUR = 3600


def milli(celsius):
    return None if celsius is None else round(1000 * celsius)


def checks(*rows, doubtful=False):
    return [
        HandCheck(k, k, "F", hour * HOUR, milli(now), milli(low), milli(high), doubtful)
        for k, (hour, now, low, high) in enumerate(rows)
    ]


def spell(start, end, anchor, extreme, at_most):
    hours = [None if h is None else h * HOUR for h in (start, end, anchor, at_most)]
    return HandSpell(hours[0], hours[1], hours[2], milli(extreme), hours[3])


def test_nothing_out_nothing_told():
    assert hand_spells(checks((9, 5, 3, 8), (33, 8, 2, 8)), WARM8) == []
    assert hand_spells(checks((9, 5, 3, 8), (33, 8, 2, 8)), COLD2) == []


def test_a_max_out_of_range_spans_back_to_the_last_reset():
    # The check at 20 shows no min and max, so it reset nothing: 24 hours, not 13
    rows = checks((9, 5, 4, 6), (20, 5, None, None), (33, 6, 4, 9.5))
    assert hand_spells(rows, WARM8) == [spell(9, 33, 33, 9.5, 24)]
    assert hand_spells(rows, WARM8)[0].minutes_at_most == 1440
    assert hand_spells(rows, COLD2) == []


def test_a_min_out_of_range_on_the_cold_side():
    assert hand_spells(checks((9, 5, 4, 6), (33, 3, -0.5, 6)), COLD2) == [spell(9, 33, 33, -0.5, 24)]


def test_without_a_reset_before_it_spans_back_to_the_last_check_of_any_kind():
    assert hand_spells(checks((9, 5, None, None), (33, 6, 4, 9)), WARM8) == [spell(9, 33, 33, 9, 24)]


def test_a_check_that_shows_only_one_of_them_resets_nothing():
    rows = checks((9, 5, 4, 6), (20, 5, None, 6), (21, 5, 4, None), (33, 6, 4, 9.5))
    assert hand_spells(rows, WARM8) == [spell(9, 33, 33, 9.5, 24)]
    assert covered(rows) == [Covered(9 * HOUR, 33 * HOUR, 4000, 9500)]


def test_without_a_check_before_it_nothing_brackets_it():
    assert hand_spells(checks((9, 6, 4, 9)), WARM8) == [replace(spell(9, 9, 9, 9, None), since_check=False)]


def test_a_current_reading_alone_spans_back_to_the_last_check_which_was_in_range():
    # At 12 it was 5: what shows at 15 began after that. A max would reach back to the reset at 9.
    assert hand_spells(checks((9, 5, 4, 6), (12, 5, None, None), (15, 9, None, None), (16, 7, None, None)), WARM8) == [
        spell(12, 16, 15, 9, 4)
    ]
    assert hand_spells(checks((9, 5, 4, 6), (12, 5, None, None), (15, 9, 5, 9), (16, 7, None, None)), WARM8) == [
        spell(9, 16, 15, 9, 7)
    ]


def test_it_lasts_until_a_current_reading_is_in_range():
    rows = [(9, 5, 4, 6), (33, 9, 4, 10)]
    assert hand_spells(checks(*rows), WARM8) == [spell(9, None, 33, 10, None)]
    assert hand_spells(checks(*rows, (34, 9.5, None, None)), WARM8) == [spell(9, None, 33, 10, None)]
    # The check that ends it still shows the max of the hours before: the same spell, and its worst
    rows += [(34, 9.5, None, None), (57, 6, 5, 11)]
    assert hand_spells(checks(*rows), WARM8) == [spell(9, 57, 33, 11, 48)]
    # The next day's is another
    rows += [(81, 6, 5, 8.5)]
    assert hand_spells(checks(*rows), WARM8) == [spell(9, 57, 33, 11, 48), spell(57, 81, 81, 8.5, 24)]


def test_a_max_shown_later_in_the_same_spell_may_reach_further_back():
    # 15 h alone would bracket it from 12; the max shown at 16 is since the reset at 9
    rows = checks((9, 5, 4, 6), (12, 5, None, None), (15, 9, None, None), (16, 7, 4, 9.2))
    assert hand_spells(rows, WARM8) == [spell(9, 16, 15, 9.2, 7)]


def test_a_first_check_out_that_goes_on_has_no_bracket():
    assert hand_spells(checks((9, 9, None, None), (10, 9.5, 5, 9.6), (11, 5, 5, 9.6)), WARM8) == [
        replace(spell(9, 11, 9, 9.6, None), since_check=False)
    ]


def test_the_limit_itself_and_zero_degrees():
    # A min of exactly 0 °C is a value, not an absent one
    assert hand_spells(checks((9, 5, 4, 6), (33, 3, 0, 8)), COLD2) == [spell(9, 33, 33, 0, 24)]


def test_a_doubtful_check_counts_just_the_same():
    rows = ((9, 5, 4, 6), (33, 41, 4, 41))
    assert hand_spells(checks(*rows, doubtful=True), WARM8) == hand_spells(checks(*rows), WARM8) != []


temperatures = st.integers(-5, 15)
rows_of_checks = st.lists(
    st.tuples(st.integers(0, 48), temperatures, st.booleans(), st.integers(0, 5), st.integers(0, 5)), max_size=12
)


def drawn(rows):
    hour, made = 0, []
    for step, now, both, below, above in rows:
        hour += step
        made.append((hour, now, now - below if both else None, now + above if both else None))
    return made


@given(rows_of_checks)
def test_warm_is_cold_upside_down(rows):
    made = drawn(rows)
    upside = [(h, -now, None if high is None else -high, None if low is None else -low) for h, now, low, high in made]
    warm, cold = hand_spells(checks(*made), WARM8), hand_spells(checks(*upside), Line("cold", -8000))
    assert [(s.start, s.end, s.anchor_at, s.extreme, s.at_most_seconds) for s in warm] == [
        (s.start, s.end, s.anchor_at, -s.extreme, s.at_most_seconds) for s in cold
    ]


@given(rows_of_checks)
def test_every_value_out_of_range_is_told_by_one_spell(rows):
    made = checks(*drawn(rows))
    found = hand_spells(made, WARM8)
    out = [c for c in made if c.milli > 8000 or (c.high or 0) > 8000]
    assert (not found) == (not out)
    assert all(any(s.anchor_at <= c.at and (s.end is None or c.at <= s.end) for s in found) for c in out)
    if out:
        assert max(s.extreme for s in found) == max(max(c.milli, c.high or c.milli) for c in out)
    assert all(s.end is not None for s in found[:-1])
    assert all(s.start <= s.anchor_at for s in found)


def test_covered_reaches_from_reset_to_reset():
    rows = checks((9, 5, 4, 6), (12, 5, None, None), (33, 5, 3, 7), (57, 4, 2, 6))
    assert covered(rows) == [Covered(9 * HOUR, 33 * HOUR, 3000, 7000), Covered(33 * HOUR, 57 * HOUR, 2000, 6000)]
    assert covered(rows[:2]) == []
    assert covered(checks((9, 5, None, None), (33, 5, 3, 7))) == []


def test_covered_believes_the_current_reading_against_the_display():
    # A display that shows a max of 6 while somebody read 9 vouches for nothing
    assert covered(checks((9, 5, 4, 6), (12, 9, None, None), (33, 3, 4, 6))) == [
        Covered(9 * HOUR, 33 * HOUR, 3000, 9000)
    ]
    assert covered(checks((9, 5, 4, 6), (12, 1, None, None), (33, 7, 4, 6))) == [
        Covered(9 * HOUR, 33 * HOUR, 1000, 7000)
    ]


def test_uncovered():
    assert uncovered_seconds(0, 100, []) == 100
    assert uncovered_seconds(0, 100, [(-10, 30), (60, 200)]) == 30
    assert uncovered_seconds(0, 100, [(50, 200), (-10, 50)]) == 0
    assert uncovered_seconds(0, 100, [(200, 300), (-50, 0)]) == 100
    assert uncovered(0, 100, [(10, 20), (15, 18), (40, 50)]) == [(0, 10), (20, 40), (50, 100)]


@given(st.lists(st.tuples(st.integers(-10, 60), st.integers(0, 30)), max_size=8))
def test_uncovered_is_what_no_span_holds(spans):
    spans = [(a, a + n) for a, n in spans]
    bare = [not any(a <= s < b for a, b in spans) for s in range(50)]
    left = uncovered(0, 50, spans)
    assert [any(a <= s < b for a, b in left) for s in range(50)] == bare
    longest = max((len(run) for run in "".join("x" if b else " " for b in bare).split()), default=0)
    assert uncovered_seconds(0, 50, spans) == longest
