"""Written times -> wall seconds, day and month, and instants. Sources: derived by the standard library or by hand."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.errors import Refused
from stockroom.formats.date_order import DateOrder, month_number
from stockroom.formats.logger_times import DAY, instants, shape, stamp, wall_text

AMSTERDAM = ZoneInfo("Europe/Amsterdam")


def face(text: str) -> int:
    """Wall seconds of an ISO text, by the standard library."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


SAME = face("2026-05-04 15:10:00")


@pytest.mark.parametrize(
    ("text", "offset"),
    [
        ("2026-05-04 15:10", None),
        ("2026-05-04T15:10:00", None),
        ("2026-05-04T15:10:00.999", None),
        ("2026-05-04 15:10:00,999", None),
        ("2026-05-04t15:10:00z", 0),
        ("2026-05-04T15:10:00+02:00", 7200),
        ("2026-05-04 15:10 -0330", -12600),
        ("2026-05-04 15:10:00 UTC", 0),
        ("2026-05-04 15:10:00 UTC+02:00", 7200),
        ("2026-05-04T15:10+05", 18000),
        ("20260504T151000Z", 0),
        ("20260504T1510", None),
        ("2026/5/4 15:10", None),
        ("2026.05.04 15.10", None),
        ("04.05.2026 15:10:00", None),
        ("4/5/2026 3:10 PM", None),
        ("04-05-2026, 03:10:00 p.m.", None),
        ("04/05/26 15:10", None),
        ("4 May 2026 15:10", None),
        ("04-May-26 03:10:00\u202fPM", None),
        ("May 4, 2026 15:10", None),
        ("  04/05/2026   15:10  ", None),
    ],
)
def test_one_instant_in_many_spellings(text: str, offset: int | None) -> None:
    assert stamp(text, DateOrder(True), 1) == (SAME, offset)
    assert shape(text) == "stamp"


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "empty"),
        ("1777863000", "not a time"),  # a count of seconds is not read
        ("2026-02-30 10:00", "no day"),
        ("2026-13-01 10:00", "no day"),
        ("1989-12-31 10:00", "no day between 1990 and 2100"),
        ("2101-01-01 10:00", "no day between 1990 and 2100"),
        ("2026-05-04", "no time of day"),
        ("2026-05-04 24:01", "not a time"),
        ("2026-05-04 25:00", "not a time"),
        ("2026-05-04 10:60", "not a time"),
        ("2026-05-04 10:00:60", "not a time"),
        ("2026-05-04 13:00 PM", "not a time"),
        ("2026-05-04 0:10 AM", "not a time"),
        ("2026-05-04 10:00+15:00", "not a time"),
        ("2026-05-04 10:00+01:75", "not a time"),
        ("2026-05-04 10:00 CET", "not a time"),
        ("٢٠٢٦-٠٥-٠٤ ١٠:٠٠", "not a time"),  # digits of another script
        ("2026-05-04 10:00" + " " * 500, "not a time"),
        ("4 Mai 2026 10:00", "no day"),
    ],
)
def test_what_is_no_time_says_why(text: str, word: str) -> None:
    got = stamp(text, DateOrder(True), 1)
    assert isinstance(got, str) and word in got and len(got) < 120


def test_midnight_noon_and_the_end_of_a_day() -> None:
    order = DateOrder(None)
    start = face("2026-05-04")
    for text, seconds in (
        ("00:00", 0), ("12:00 AM", 0), ("12:30 AM", 1800), ("12:00 PM", 43200), ("11:59:59 PM", DAY - 1),
        ("24:00", DAY), ("24:00:00.000", DAY),
    ):  # fmt: skip
        assert stamp(f"2026-05-04 {text}", order, 1) == (start + seconds, None)


def test_a_date_alone_counts_only_where_it_may() -> None:
    assert stamp("2026-05-04", DateOrder(None), 1, bare=True) == (face("2026-05-04"), None)


@given(st.datetimes(datetime(1990, 1, 1), datetime(2100, 12, 31)), st.sampled_from(["T", " "]))
def test_iso_as_the_standard_library_writes_it(when: datetime, mark: str) -> None:
    assert stamp(when.isoformat(mark), DateOrder(None), 1) == (face(when.replace(microsecond=0).isoformat()), None)


def order_after(*texts: str, day_first: bool | None = None) -> tuple[DateOrder, bool]:
    order = DateOrder(day_first)
    for line, text in enumerate(texts, 1):
        order.day_number(text, line)
    return order, order.stands("log.csv")


def test_one_certain_row_decides_for_the_file() -> None:
    assert order_after("03/04/2026", "13/04/2026")[1] is True
    assert order_after("03/04/2026", "04/13/2026")[1] is False
    assert order_after("04/04/2026")[1] is True  # the same day either way
    assert order_after("03/04/2026", day_first=False)[1] is True
    assert order_after("31/02/2026", "05/05/2026")[1] is True  # no day in either way: proves nothing, asks nothing


def test_where_every_row_could_be_both_both_readings_are_named() -> None:
    with pytest.raises(Refused, match=r"line 1: 03/04/2026 is 3 April 2026 or 4 March 2026") as no:
        order_after("03/04/2026", "05/04/2026")
    assert no.value.slug == "day-or-month" and "--day-first" in no.value.todo


def test_rows_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(Refused, match=r"13/04/2026 \(line 1\) can only be day first, 04/13/2026 \(line 2\)"):
        order_after("13/04/2026", "04/13/2026")


def test_dots_mean_day_first_and_it_is_said() -> None:
    # common practice, no source: the countries that write dots write the day first
    order, stands = order_after("3.4.2026", "5.4.2026")
    assert stands and "3.4.2026" in order.notes()[0]
    order, stands = order_after("3.4.2026", "13.4.2026")
    assert stands and order.notes() == ()


def test_two_digit_years_want_certainty() -> None:
    # 26/04/13 may be 26 April 2013 or 13 April 2026: one row is not enough, a first number that runs like days is
    with pytest.raises(Refused, match=r"26/04/13 is 26 April 2013 or 13 April 2026"):
        order_after("26/04/13", "26/04/14")
    with pytest.raises(Refused):
        order_after("03.04.26")
    assert order_after("12/04/26", "13/04/26", "14/04/26")[1] is True
    assert order_after("04/13/26")[1] is False
    assert order_after("03/04/26", day_first=True)[0].day_number("03/04/26", 1) == face("2026-04-03") // DAY
    assert DateOrder(True).day_number("03/04/99", 1) == face("1999-04-03") // DAY


def test_months() -> None:
    assert [month_number(w) for w in ("jan", "SEPT", "September", "Sep", "Decem", "xyz")] == [1, 9, 9, 9, 0, 0]


def test_instants_on_clock_change_days() -> None:
    # published: EU clocks change at 01:00 UTC on the last Sundays of March and October
    assert instants(face("2026-03-29 02:30"), AMSTERDAM) == ()
    assert instants(face("2026-03-29 03:00"), AMSTERDAM) == (face("2026-03-29 01:00"),)
    assert instants(face("2026-10-25 02:30"), AMSTERDAM) == (face("2026-10-25 00:30"), face("2026-10-25 01:30"))
    assert wall_text(face("2026-03-29 02:30")) == "2026-03-29 02:30"


@given(
    st.integers(face("1990-01-02"), face("2100-12-30")),
    st.sampled_from(
        ["Europe/Amsterdam", "America/Chicago", "Australia/Lord_Howe", "Asia/Kathmandu", "Africa/Casablanca"]
    ),
)
def test_every_instant_is_found_again_from_the_clock_on_the_wall(utc: int, name: str) -> None:
    zone = ZoneInfo(name)
    local = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=utc)).astimezone(zone).replace(tzinfo=None)
    assert utc in instants(face(local.isoformat()), zone)
