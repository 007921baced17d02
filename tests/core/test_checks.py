"""Missed checks and calibration. Frequencies published: CDC toolkit, by analogy; the instants derived."""

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.checks import StaffedDay, calibration, missed_checks

HOUR = 3600
DAY = 24 * HOUR
MONDAY, TUESDAY = date(2026, 3, 2), date(2026, 3, 3)
NONE: frozenset[tuple[date, str]] = frozenset()


def staffed(day, n, first=8, last=17):
    return StaffedDay(day, n * DAY, n * DAY + first * HOUR, n * DAY + last * HOUR, (n + 1) * DAY)


DAYS = [staffed(MONDAY, 0), staffed(TUESDAY, 1)]  # 08:00 to 17:00, middle 12:30
LATER = 10 * DAY


def hours(*values):
    return [round(v * HOUR) for v in values]


def test_minmax_wants_an_opening_check_only():
    assert missed_checks("minmax", DAYS, hours(8.5, 32.5), LATER, NONE, 0) == []
    assert missed_checks("minmax", DAYS, hours(8.5), LATER, NONE, 0) == [(TUESDAY, "opening")]


def test_twice_wants_both():
    assert missed_checks("twice", DAYS, hours(8.5, 16.5, 32.5, 40.5), LATER, NONE, 0) == []
    assert missed_checks("twice", DAYS, hours(8.5, 40.5), LATER, NONE, 0) == [
        (MONDAY, "closing"),
        (TUESDAY, "opening"),
    ]


def test_a_fridge_with_a_logger_wants_none():
    assert missed_checks("logger", DAYS, [], LATER, NONE, 0) == []


def test_opening_is_missed_from_the_middle_on_and_closing_from_midnight_on():
    day = DAYS[:1]
    assert missed_checks("twice", day, [], hours(12.5)[0] - 1, NONE, 0) == []
    assert missed_checks("twice", day, [], hours(12.5)[0], NONE, 0) == [(MONDAY, "opening")]
    assert missed_checks("twice", day, [], DAY - 1, NONE, 0) == [(MONDAY, "opening")]
    assert missed_checks("twice", day, [], DAY, NONE, 0) == [(MONDAY, "opening"), (MONDAY, "closing")]


def test_when_a_check_counts_for_which():
    day = DAYS[:1]
    closing, opening = [(MONDAY, "closing")], [(MONDAY, "opening")]
    # Before anybody is there officially, at local midnight even, is still that day's opening
    assert missed_checks("twice", day, [0], LATER, NONE, 0) == closing
    assert missed_checks("twice", day, [hours(12.5)[0] - 1], LATER, NONE, 0) == closing
    assert missed_checks("twice", day, hours(12.5), LATER, NONE, 0) == opening
    # After hours is still that day's closing, the next midnight is not
    assert missed_checks("twice", day, [DAY - 1], LATER, NONE, 0) == opening
    assert missed_checks("twice", day, [DAY], LATER, NONE, 0) == opening + closing


def test_an_odd_middle_is_not_rounded_down():
    # From 0 to 5 s the middle is 2.5 s: second 2 is before it, second 3 is not
    day = [StaffedDay(MONDAY, 0, 0, 5, DAY)]
    assert missed_checks("minmax", day, [2], LATER, NONE, 0) == []
    assert missed_checks("minmax", day, [3], LATER, NONE, 0) == [(MONDAY, "opening")]
    assert missed_checks("minmax", day, [], 2, NONE, 0) == []


def test_what_was_explained_is_not_missed_any_more():
    explained = frozenset({(MONDAY, "opening")})
    assert missed_checks("minmax", DAYS, [], LATER, explained, 0) == [(TUESDAY, "opening")]
    assert missed_checks("twice", DAYS[:1], [], LATER, explained, 0) == [(MONDAY, "closing")]


def test_nothing_is_expected_before_the_records_begin():
    # Begun on Monday at 08:00 Monday counts, a second later only Tuesday does
    assert missed_checks("minmax", DAYS, [], LATER, NONE, 8 * HOUR)[0] == (MONDAY, "opening")
    assert missed_checks("minmax", DAYS, [], LATER, NONE, 8 * HOUR + 1) == [(TUESDAY, "opening")]


@given(st.sets(st.integers(0, 2 * DAY)), st.integers(0, 2 * DAY), st.integers(0, 3 * DAY), st.integers(0, DAY))
def test_one_more_check_never_adds_a_missed_one_and_time_never_takes_one_away(made, extra, now, later):
    before = missed_checks("twice", DAYS, sorted(made), now, NONE, 0)
    assert set(missed_checks("twice", DAYS, sorted(made | {extra}), now, NONE, 0)) <= set(before)
    assert set(before) <= set(missed_checks("twice", DAYS, sorted(made), now + later, NONE, 0))
    assert set(missed_checks("minmax", DAYS, sorted(made), now, NONE, 0)) == {m for m in before if m[1] == "opening"}


def test_calibration_is_overdue_the_day_after():
    assert calibration(None, MONDAY) == (None, False)
    assert calibration(TUESDAY, MONDAY) == (TUESDAY, False)
    assert calibration(MONDAY, MONDAY) == (MONDAY, False)
    assert calibration(MONDAY, TUESDAY) == (MONDAY, True)
