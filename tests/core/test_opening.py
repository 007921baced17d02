"""Opening hours: local days as UTC spans, the latest and the earliest staffed moment."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from plan_cases import changes, changing, weeks

from stockroom.core.opening import DayException, Opening, merged
from stockroom.core.practice import Closure, Site

WEEKDAYS = (((510, 750), (810, 1050)), ((510, 1050),), ((510, 1050),), ((510, 1050),), ((510, 960),), (), ())
"""Monday 08:30-12:30 and 13:30-17:30, Tuesday to Thursday 08:30-17:30, Friday to 16:00."""
ALWAYS = (((0, 1440),),) * 7
ZONES = sorted(z for z in available_timezones() if z not in ("localtime", "Factory"))


def instant(text: str) -> int:
    """UTC seconds of an ISO time with an offset."""
    moment = datetime.fromisoformat(text)
    assert moment.tzinfo is not None
    return int(moment.timestamp())


def opening(zone: str = "UTC", hours=WEEKDAYS, closed=(), exceptions=()) -> Opening:
    return Opening(zone, Site("", hours, tuple(closed)), tuple(exceptions))


# Clock changes. Source: the IANA time zone database; lengths derived by subtraction in UTC.


def test_a_weekend_with_a_clock_change_has_47_or_49_hours():
    """Derived: Saturday 09:00 to Monday 09:00 is 48 h, less or plus the hour of the change."""
    for zone in ("Europe/Amsterdam", "Europe/London"):
        place = opening(zone)
        spring = place.at(date(2026, 3, 30), 540) - place.at(date(2026, 3, 28), 540)
        autumn = place.at(date(2026, 10, 26), 540) - place.at(date(2026, 10, 24), 540)
        assert (spring, autumn) == (47 * 3600, 49 * 3600)


@pytest.mark.parametrize(
    ("zone", "start", "by"),
    [
        ("Europe/Amsterdam", "2026-03-29T10:00+02:00", "2026-03-28T09:00+01:00"),
        ("Europe/Amsterdam", "2026-10-25T10:00+01:00", "2026-10-24T11:00+02:00"),
        ("Europe/London", "2026-03-29T13:00+01:00", "2026-03-28T12:00+00:00"),
    ],
)
def test_24_elapsed_hours_before_a_booking(zone, start, by):
    """Derived: 24 h of elapsed time over the change, so the clock shows an hour less or more the day before."""
    place = opening(zone)
    local = datetime.fromisoformat(start)
    booked = place.at(local.date(), local.hour * 60 + local.minute)
    assert booked == instant(start)
    assert booked - 24 * 3600 == instant(by)


def test_a_skipped_clock_time_is_the_first_instant_after_it():
    """Amsterdam skips 02:00-03:00 on 2026-03-29, Lord Howe half an hour on 2026-10-04 (IANA)."""
    place = opening("Europe/Amsterdam")
    assert place.at(date(2026, 3, 29), 150) == instant("2026-03-29T03:00+02:00")
    assert place.at(date(2026, 3, 29), 119) == instant("2026-03-29T01:59+01:00")
    assert opening("Australia/Lord_Howe").at(date(2026, 10, 4), 135) == instant("2026-10-04T02:30+11:00")


def test_a_doubled_clock_time_is_its_first():
    """Amsterdam has 02:30 twice on 2026-10-25 (IANA)."""
    assert opening("Europe/Amsterdam").at(date(2026, 10, 25), 150) == instant("2026-10-25T02:30+02:00")


def test_days_without_midnight():
    """Santiago and Beirut go from 24:00 to 01:00 (IANA: 2025-09-07, 2022-03-27); the day starts at 01:00."""
    for zone, day, begins in (
        ("America/Santiago", date(2025, 9, 7), "2025-09-07T01:00-03:00"),
        ("Asia/Beirut", date(2022, 3, 27), "2022-03-27T01:00+03:00"),
    ):
        place = opening(zone, ALWAYS)
        assert place.midnight(day) == instant(begins)
        assert place.day(place.midnight(day)) == day
        assert place.day(place.midnight(day) - 1) == day - timedelta(days=1)
        ((start, end),) = place.day_spans(day)
        assert end - start == 23 * 3600


def test_a_day_that_a_zone_left_out_is_empty():
    """Samoa went from 2011-12-29 to 2011-12-31 (IANA)."""
    place = opening("Pacific/Apia", ALWAYS)
    assert place.day_spans(date(2011, 12, 30)) == ()
    assert place.midnight(date(2011, 12, 30)) == place.midnight(date(2011, 12, 31))
    assert sum(b - a for a, b in place.day_spans(date(2011, 12, 29))) == 24 * 3600


def test_hours_over_a_change_keep_their_elapsed_length():
    """Derived: 01:00-04:00 in Amsterdam is 2 h on 2026-03-29 and 4 h on 2026-10-25."""
    place = opening("Europe/Amsterdam", (((60, 240),),) * 7)
    lengths = [sum(b - a for a, b in place.day_spans(d)) for d in (date(2026, 3, 29), date(2026, 10, 25))]
    assert lengths == [2 * 3600, 4 * 3600]


# Hours, closures, exceptions. Source: derived, minutes as written beside each.


def test_closures_and_exceptions_in_their_order():
    monday, tuesday = date(2026, 3, 2), date(2026, 3, 3)
    place = opening(
        closed=[Closure(tuesday, tuesday)],
        exceptions=[
            DayException(monday, open=False, from_minute=600, to_minute=840, seq=1),
            DayException(monday, open=True, from_minute=720, to_minute=780, seq=2),
            DayException(tuesday, open=True, from_minute=540, to_minute=600, seq=3),
        ],
    )
    # 08:30-12:30 and 13:30-17:30 without 10:00-14:00, then 12:00-13:00 after all.
    base = place.midnight(monday)
    assert [((a - base) // 60, (b - base) // 60) for a, b in place.day_spans(monday)] == [
        (510, 600),
        (720, 780),
        (840, 1050),
    ]
    assert place.day_spans(tuesday) == ((place.at(tuesday, 540), place.at(tuesday, 600)),)
    later = opening(exceptions=[*reversed(place.exceptions), DayException(monday, open=False, seq=4)])
    assert later.day_spans(monday) == ()
    assert later.usual(monday) == ((510, 750), (810, 1050))


def test_the_closing_instant_is_not_staffed_but_the_opening_one_is():
    place = opening()
    monday = date(2026, 3, 2)
    assert place.staffed(place.at(monday, 510))
    assert not place.staffed(place.at(monday, 750))
    assert not place.staffed(place.at(monday, 510) - 1)


def test_spans_are_cut_and_run_over_midnight():
    place = opening(hours=ALWAYS)
    start, end = place.at(date(2026, 3, 2), 600), place.at(date(2026, 3, 4), 600)
    assert place.spans(start, end) == [(start, end)]
    assert place.spans(end, start) == []
    assert opening().spans(place.at(date(2026, 3, 2), 700), place.at(date(2026, 3, 2), 820)) == [
        (place.at(date(2026, 3, 2), 700), place.at(date(2026, 3, 2), 750)),
        (place.at(date(2026, 3, 2), 810), place.at(date(2026, 3, 2), 820)),
    ]


def test_an_instant_for_people_and_as_a_command_reads_it():
    """Derived; the doubled hour needs its offset, since a bare 02:30 could be read in two ways."""
    place = opening("Europe/Amsterdam")
    friday = place.at(date(2026, 3, 6), 945)
    assert (place.clock(friday), place.typed(friday)) == ("Fri 6 Mar 15:45", "2026-03-06T15:45")
    first = place.at(date(2026, 10, 25), 150)
    assert place.typed(first) == "2026-10-25T02:30+02:00"
    assert place.typed(first + 3600) == "2026-10-25T02:30+01:00"


# The latest and the earliest staffed moment.


def test_closed_weekend_goes_back_to_friday():
    """Derived: Saturday and Sunday closed, Friday to 16:00; by Sunday 09:00 means Friday 16:00, or 15:45."""
    place = opening()
    friday = date(2026, 3, 6)
    by = place.at(date(2026, 3, 8), 540)
    assert place.latest(by, 0) == place.at(friday, 960)
    assert place.latest(by, 900) == place.at(friday, 945)
    assert place.latest(by, 900, (525, 1005)) == place.at(friday, 525)  # Friday's 16:45 has nobody
    assert place.latest(by, 900, (525, 960)) == place.at(friday, 960)  # the margin does not apply to rounds
    assert place.latest(by, 900, not_before=place.at(friday, 946)) is None
    assert place.latest(by, 900, (525,), place.at(friday, 526)) is None


def test_the_margin_counts_from_either_end():
    """Derived: Monday 08:30-12:30, margin 15 min: 08:45 is the first moment, 12:15 the last before noon."""
    place = opening()
    monday, friday = date(2026, 3, 2), date(2026, 2, 27)
    assert place.latest(place.at(monday, 525), 900) == place.at(monday, 525)
    assert place.latest(place.at(monday, 524), 900) == place.at(friday, 945)
    assert place.latest(place.at(monday, 800), 900) == place.at(monday, 735)
    assert place.earliest(place.at(monday, 0), 900) == place.at(monday, 525)
    assert place.earliest(place.at(monday, 736), 900) == place.at(monday, 825)
    assert place.earliest(place.at(monday, 750), 0) == place.at(monday, 750)
    assert place.earliest(place.at(monday, 526), 900, (525, 1005)) == place.at(monday, 1005)
    assert place.earliest(place.at(monday, 736), 900, not_after=place.at(monday, 824)) is None


def test_a_span_shorter_than_two_margins_is_passed_over():
    place = opening(hours=(((540, 569), (600, 630)),) * 7)
    day = date(2026, 3, 2)
    assert place.latest(place.at(day, 599), 900) == place.at(day - timedelta(days=1), 615)
    assert place.latest(place.at(day, 700), 900) == place.at(day, 615)


def test_hours_that_run_past_midnight_have_no_margin_there():
    place = opening(hours=ALWAYS)
    midnight = place.midnight(date(2026, 3, 3))
    assert place.latest(midnight, 7200) == midnight
    assert place.earliest(midnight, 7200) == midnight


def test_never_open_has_no_moment():
    place = opening(hours=((),) * 7)
    at = place.midnight(date(2026, 3, 2))
    assert place.latest(at, 0) is None
    assert place.earliest(at, 0) is None
    assert place.latest(at, 0, (600,)) is None


def test_nothing_further_away_than_400_days():
    hours = ((),) * 7
    there = DayException(date(2026, 3, 2), open=True, from_minute=600, to_minute=660)
    place = opening(hours=hours, exceptions=[there])
    end = place.at(there.day, 660)
    assert place.latest(end + 400 * 86_400, 0) == end
    assert place.latest(end + 400 * 86_400 + 1, 0) is None
    begin = place.at(there.day, 600)
    assert place.earliest(begin - 400 * 86_400, 0) == begin
    assert place.earliest(begin - 400 * 86_400 - 1, 0) is None


# Laws.

days = st.dates(date(1975, 1, 1), date(2037, 12, 31))


@given(zone=st.sampled_from(ZONES), day=days, minute=st.integers(0, 1440))
@example(zone="America/St_Johns", day=date(2006, 10, 29), minute=0)
@example(zone="America/Havana", day=date(2025, 11, 2), minute=30)
@example(zone="Pacific/Apia", day=date(2011, 12, 30), minute=600)
@example(zone="Africa/Monrovia", day=date(1972, 1, 7), minute=20)
@settings(max_examples=400, deadline=None)
def test_a_clock_time_is_the_first_instant_that_shows_it_or_passes_it(zone, day, minute):
    """By definition: at that instant the clock shows the time or, in a skip, more; a second before, less."""
    place = opening(zone)
    found = place.at(day, minute)
    asked = datetime.combine(day, time()) + timedelta(minutes=minute)

    def shown(at: int) -> datetime:
        return datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None)

    assert shown(found) >= asked
    assert shown(found - 1) < asked
    nearby = range(found - 26 * 3600, found, 300)
    assert all(shown(at) < asked for at in nearby)
    assert place.at(day, 1440) == place.midnight(day + timedelta(days=1))


@given(zone=changing, hours=weeks, exceptions=changes, minute=st.integers(0, 14 * 1440), margin=st.integers(0, 5))
@settings(max_examples=60, deadline=None)
def test_latest_and_earliest_against_every_minute_of_two_weeks(zone, hours, exceptions, minute, margin):
    """Brute force: a moment counts where every second within the margin of it is staffed, ends as the rule says."""
    place = opening(zone, hours, exceptions=exceptions)
    margin *= 300
    start = place.midnight(date(2026, 3, 22))
    end = start + 14 * 86_400
    at = start + minute * 60
    spans = place.spans(start - 3 * 86_400, end + 3 * 86_400)

    def counts(moment: int) -> bool:
        return any(a + margin <= moment <= b - margin for a, b in spans)

    before = [m for m in range(start, at + 1, 60) if counts(m)]
    after = [m for m in range(at, end, 60) if counts(m)]
    assert place.latest(at, margin, not_before=start) == (before[-1] if before else None)
    assert place.earliest(at, margin, not_after=end - 60) == (after[0] if after else None)


@given(
    zone=changing,
    hours=weeks,
    minute=st.integers(0, 14 * 1440),
    rounds=st.lists(st.integers(0, 1440), min_size=1, max_size=3),
)
@settings(max_examples=100, deadline=None)
def test_rounds_against_every_round_of_two_weeks(zone, hours, minute, rounds):
    """Brute force over the days: rounds at which somebody is there, closing time included."""
    place = opening(zone, hours)
    start = place.midnight(date(2026, 3, 22))
    at, end = start + minute * 60, start + 14 * 86_400
    spans = place.spans(start - 3 * 86_400, end + 3 * 86_400)
    known = [place.at(date(2026, 3, 20) + timedelta(days=n), r) for n in range(20) for r in rounds]
    good = [k for k in known if any(a <= k <= b for a, b in spans)]
    fit = tuple(rounds)
    assert place.latest(at, 900, fit, start) == max((k for k in good if start <= k <= at), default=None)
    assert place.earliest(at, 900, fit, end) == min((k for k in good if at <= k <= end), default=None)


@given(zone=st.sampled_from(ZONES), hours=weeks, day=days)
@settings(max_examples=200, deadline=None)
def test_day_spans_are_what_staffed_says_and_stay_in_order(zone, hours, day):
    """Law: sorted, apart, staffed inside and at the start; the whole stretch is the sum of its days."""
    place = opening(zone, hours)
    for a, b in place.day_spans(day):
        assert a < b
        assert place.staffed(a)
        assert place.staffed(b - 1)
    week = [day + timedelta(days=n) for n in range(7)]
    pieces = [span for each in week for span in place.day_spans(each)]
    assert pieces == sorted(pieces)
    assert merged(pieces) == place.spans(place.midnight(day), place.midnight(day + timedelta(days=7)))


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), max_size=8))
def test_merged_covers_the_same_seconds(spans):
    out = merged(spans)
    assert {s for a, b in spans for s in range(a, b)} == {s for a, b in out for s in range(a, b)}
    assert all(first[1] < second[0] for first, second in pairwise(out))
