"""Days and instants as people type them. Expected instants are derived: the offset of the zone, by arithmetic.

London is UTC until 2026-03-29 01:00Z and from 2026-10-25 01:00Z, else UTC+1 (IANA time zone database).
"""

import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.when import day, day_text, instant, local_text, utc_text
from stockroom.errors import Refused

LONDON = ZoneInfo("Europe/London")
ZONES = [
    ZoneInfo(name)
    for name in ("Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "America/Havana", "UTC")
]
NOW = int(datetime(2026, 3, 10, 11, 7, 30, tzinfo=UTC).timestamp())
"""A Tuesday."""


def read(text: str, zone: ZoneInfo = LONDON, **how: bool) -> str:
    return utc_text(instant(text, zone, NOW, **how))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("now", "2026-03-10T11:07:30Z"),
        ("2026-03-02T08:10:00Z", "2026-03-02T08:10:00Z"),
        ("2026-03-02T08:10:00.75Z", "2026-03-02T08:10:00Z"),
        ("2026-03-02T10:10+02:00", "2026-03-02T08:10:00Z"),
        ("2026-03-02 10:10 -0330", "2026-03-02T13:40:00Z"),
        ("2026-03-02T10+02", "2026-03-02T08:00:00Z"),
        ("2026-07-02T10:10", "2026-07-02T09:10:00Z"),  # summer time
        ("2026-07-02 9:10", "2026-07-02T08:10:00Z"),
        ("20260302T0810", "2026-03-02T08:10:00Z"),
        ("20260302", "2026-03-02T00:00:00Z"),
        ("2026-W10-1", "2026-03-02T00:00:00Z"),  # ISO week 10 of 2026 begins on Monday 2 March
        ("2026-07-02", "2026-07-01T23:00:00Z"),
        ("09:30", "2026-03-10T09:30:00Z"),
        ("9:30", "2026-03-10T09:30:00Z"),
        ("10am", "2026-03-10T10:00:00Z"),
        ("10:00 +01:00", "2026-03-10T09:00:00Z"),
        ("today", "2026-03-10T00:00:00Z"),
        ("yesterday 16:00", "2026-03-09T16:00:00Z"),
        ("Tomorrow 10:00", "2026-03-11T10:00:00Z"),
        ("tomorrow 10pm", "2026-03-11T22:00:00Z"),
        ("tue 09:00", "2026-03-10T09:00:00Z"),  # today is a Tuesday, and counts
        ("mon", "2026-03-16T00:00:00Z"),
        ("Monday, 09:00", "2026-03-16T09:00:00Z"),
        ("09:00 thurs", "2026-03-12T09:00:00Z"),
        ("13 March 2026 10:00", "2026-03-13T10:00:00Z"),
        ("Fri 13 March 2026 10:00", "2026-03-13T10:00:00Z"),
        ("March 13th, 2026 at 10:00", "2026-03-13T10:00:00Z"),
        ("25/12/2026", "2026-12-25T00:00:00Z"),
        ("14:30 13.3.2026", "2026-03-13T14:30:00Z"),
        ("Fri 13 Mar 09:10", "2026-03-13T09:10:00Z"),  # of the three nearest years only 2026 has that Friday
        ("2026-10-25T01:30+01:00", "2026-10-25T00:30:00Z"),
        ("2026-10-25T01:30+00:00", "2026-10-25T01:30:00Z"),
    ],
)
def test_what_is_read(text: str, expected: str) -> None:
    assert read(text) == expected


def test_a_day_name_in_the_past_is_the_latest_such_day() -> None:
    assert read("mon 09:00", past=True) == "2026-03-09T09:00:00Z"
    assert read("tue", past=True) == "2026-03-10T00:00:00Z"
    assert read("wed 9am", past=True) == "2026-03-04T09:00:00Z"


def test_the_end_of_a_day_is_its_last_second_and_a_time_stays_what_it_is() -> None:
    assert read("2026-03-29", end_of_day=True) == "2026-03-29T22:59:59Z"  # 23 hours long: midnight is 23:00Z
    assert read("mon 09:00", end_of_day=True) == "2026-03-16T09:00:00Z"


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("3/4/2026", ["3 Apr 2026", "4 Mar 2026", "2026-04-03", "2026-03-04"]),
        ("03.04.2026 10:00", ["3 Apr 2026", "4 Mar 2026", "2026-04-03T10:00", "2026-03-04T10:00"]),
        ("2026-3-2", ["2 Mar 2026", "3 Feb 2026"]),
        ("13/3/26", ["13 Mar 2026", "26 Mar 2013"]),
        ("10", ["10 Mar 2026", "10:00 today", "2026-03-10"]),
        ("10-11", ["10 Nov 2025", "11 Oct 2025"]),
        ("13 March 10:00", ["13 Mar 2026", "13 Mar 2025", "2026-03-13T10:00"]),
    ],
)
def test_two_readings_are_refused_and_both_are_named(text: str, readings: list[str]) -> None:
    with pytest.raises(Refused) as refusal:
        read(text)
    assert refusal.value.slug == "ambiguous-time"
    said = f"{refusal.value.what} {refusal.value.todo}"
    assert text in said
    assert [reading for reading in readings if reading not in said] == []


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "soon", "next monday", "sat sun", "monthly", "24:00", "mon 25:00", "2026-02-30", "2026-13-05"),
        *("March 2026", "2026", "1030", "31", "2027-01", "31/12/75", "9.30am", "10.30", "29 Feb"),
        *("10:00 EST", "10:00 GMT+3", "2026-03-02T10:00+15:00", "2026-03-02T10:00+01:75", "2026-03-02-05"),
        *("1989-12-31", "2101-01-01", "1 January 1066", "today 25/12/2026", "Mon 13 March 2026", "x" * 500),
        *("2026-03-02\x1b[2J", "2026-03-02T10:00\u202e", "２０２６-03-02"),
    ],
)
def test_what_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(Refused) as refusal:
        read(text)
    assert refusal.value.slug == "bad-time"
    assert refusal.value.todo
    assert len(refusal.value.what) < 200
    assert refusal.value.what.isprintable()


@pytest.mark.parametrize(
    ("zone", "text", "choices"),
    [
        ("Europe/London", "2026-10-25 01:30", ["2026-10-25T01:30+01:00", "2026-10-25T01:30+00:00", "Sun 25 Oct"]),
        ("Europe/London", "2026-03-29T01:30", ["Sun 29 Mar 2026", "2026-03-29T02:00"]),
        # Lord Howe moves by half an hour: 02:00 becomes 02:30 in October, 02:00 becomes 01:30 in April
        ("Australia/Lord_Howe", "2026-10-04T02:10", ["2026-10-04T02:30"]),
        ("Australia/Lord_Howe", "2026-04-05T01:45", ["2026-04-05T01:45+11:00", "2026-04-05T01:45+10:30"]),
        ("America/Asuncion", "2023-10-01T00:30", ["2023-10-01T01:00"]),
    ],
)
def test_clock_changes_are_refused_with_what_to_type(zone: str, text: str, choices: list[str]) -> None:
    with pytest.raises(Refused) as refusal:
        read(text, ZoneInfo(zone))
    assert refusal.value.slug == "clock-change"
    said = f"{refusal.value.what} {refusal.value.todo}"
    assert [choice for choice in choices if choice not in said] == []


def test_what_a_clock_change_refusal_says_to_type_is_read() -> None:
    assert read("2026-03-29T02:00") == "2026-03-29T01:00:00Z"
    assert read("2023-10-01T01:00", ZoneInfo("America/Asuncion")) == "2023-10-01T04:00:00Z"


def test_a_day_begins_where_its_midnight_is_skipped_or_doubled() -> None:
    assert read("2023-10-01", ZoneInfo("America/Asuncion")) == "2023-10-01T04:00:00Z"  # 00:00 UTC-4 is 01:00 UTC-3
    assert read("2025-11-02", ZoneInfo("America/Havana")) == "2025-11-02T04:00:00Z"  # the first of two midnights
    assert read("2025-11-01", ZoneInfo("America/Havana"), end_of_day=True) == "2025-11-02T03:59:59Z"


def test_days() -> None:
    auckland = ZoneInfo("Pacific/Auckland")  # UTC+13 in March: the 11th has begun
    assert day("today", auckland, NOW) == date(2026, 3, 11)
    assert day("now", LONDON, NOW) == date(2026, 3, 10)
    assert day("2026-03-02", LONDON, NOW) == date(2026, 3, 2)
    assert day("fri", LONDON, NOW) == date(2026, 3, 13)
    assert day("fri", LONDON, NOW, past=True) == date(2026, 3, 6)
    assert day("25 December 2026", LONDON, NOW) == date(2026, 12, 25)
    assert day("2026-03-02T23:30Z", auckland, NOW) == date(2026, 3, 3)
    for text in ("10:00", "10am", "3/4/2026", "2027-01"):
        with pytest.raises(Refused):
            day(text, LONDON, NOW)


def test_written_for_people() -> None:
    at = instant("2026-03-02T09:10", LONDON, NOW)
    assert local_text(at, LONDON, NOW) == "Mon 2 Mar 09:10"
    assert local_text(at, LONDON) == "Mon 2 Mar 2026 09:10"
    assert local_text(at - 365 * 86400, LONDON, NOW) == "Sun 2 Mar 2025 09:10"
    assert local_text(instant("2026-10-25T01:30+00:00", LONDON, NOW), LONDON, NOW) == "Sun 25 Oct 01:30 (+00:00)"
    assert day_text(date(2027, 1, 1)) == "Fri 1 Jan 2027"
    assert utc_text(0) == "1970-01-01T00:00:00Z"


CHANGES = [
    int(datetime.fromisoformat(f"2026-{at}+00:00").timestamp())
    for at in ("03-29T01", "10-25T01", "03-08T07", "11-01T06", "04-04T15", "10-03T15:30", "03-08T05", "11-01T05")
]
"""Clock changes of those zones; the laws look hardest at the twelve hours around them."""
instants = st.integers(
    int(datetime(1990, 1, 3, tzinfo=UTC).timestamp()), int(datetime(2100, 12, 29, tzinfo=UTC).timestamp())
) | st.builds(int.__add__, st.sampled_from(CHANGES), st.integers(-43_200, 43_200))


@given(instants, st.sampled_from(ZONES))
def test_law_an_instant_written_with_its_offset_is_read_back(at: int, zone: ZoneInfo) -> None:
    local = datetime.fromtimestamp(at, zone)
    assert instant(utc_text(at), zone, NOW) == at
    assert instant(local.isoformat(), zone, NOW) == at
    assert day(local.isoformat(), zone, NOW) == local.date()


@given(instants, st.sampled_from(ZONES))
def test_law_a_local_time_is_the_instant_at_which_the_clock_shows_it_or_refused(at: int, zone: ZoneInfo) -> None:
    wall = datetime.fromtimestamp(at, UTC).replace(tzinfo=None)
    shown_at = [
        t
        for hours in range(-12 * 4, 12 * 4 + 1)
        if datetime.fromtimestamp(t := at + hours * 900, zone).replace(tzinfo=None) == wall
    ]  # every offset of these zones is a multiple of 15 minutes
    try:
        assert [instant(wall.isoformat(), zone, NOW)] == shown_at
    except Refused as refusal:
        assert refusal.slug == "clock-change"
        assert len(shown_at) in (0, 2)


@given(instants, st.sampled_from(ZONES))
def test_law_days_follow_one_another(at: int, zone: ZoneInfo) -> None:
    on = datetime.fromtimestamp(at, zone).date()
    begins, ends = instant(str(on), zone, NOW), instant(str(on), zone, NOW, end_of_day=True)
    assert begins <= at <= ends
    assert instant(str(on + timedelta(1)), zone, NOW) == ends + 1
    assert datetime.fromtimestamp(begins - 1, zone).date() < on


@given(instants, st.sampled_from(ZONES))
def test_law_what_is_shown_can_be_typed(at: int, zone: ZoneInfo) -> None:
    for text in (local_text(at, zone), local_text(at, zone, at)):
        if "(" not in text:
            assert instant(text, zone, at) == at - at % 60


WORDS = ["mon", "sat", "today", "mar", "march", "may", "am", "pm", "10", "26", "2026", "3/4", "9:30", "+", "-", "UTC"]


@given(
    st.text(max_size=80) | st.text("0123456789/-:.,+ TZW", max_size=24) | st.lists(st.sampled_from(WORDS)).map(" ".join)
)
def test_law_any_text_is_read_within_the_years_or_refused(text: str) -> None:
    try:
        at = instant(text, LONDON, NOW)
    except Refused as refusal:
        assert refusal.what.isprintable()
    else:
        assert 1989 <= datetime.fromtimestamp(at, UTC).year <= 2101


def test_starting_up_does_not_load_the_loose_reader() -> None:
    script = "import stockroom.core.when, sys; sys.exit('dateutil' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0
