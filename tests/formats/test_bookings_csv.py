"""Bookings from CSV. All data is made up; UTC instants are derived: Amsterdam is one hour ahead, in summer two."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from stockroom.errors import Refused
from stockroom.formats.bookings_csv import BookingFile, BookingRow, Terms, read_bookings

AMSTERDAM = ZoneInfo("Europe/Amsterdam")
HEAD = "id,procedure,start,patient,cycles,state,made,site\n"


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def read(text: str, **more: object) -> BookingFile:
    return read_bookings(text.encode(), "b.csv", zone=AMSTERDAM, **more)  # type: ignore[arg-type]


def test_a_row_with_everything_and_one_with_the_least() -> None:
    got = read(
        HEAD
        + "B-1,whitening,2026-05-04 10:00,P-104,8,Cancelled,2026-04-01T09:00:00Z,North\n"
        + "B-2,whitening,2026-05-04T10:00:00Z,P-105\n"
    )
    assert got.rows == (
        BookingRow(
            2, "B-1", "whitening", utc("2026-05-04 08:00"), "P-104", 8, "cancelled", utc("2026-04-01 09:00"), "North"
        ),
        BookingRow(3, "B-2", "whitening", utc("2026-05-04 10:00"), "P-105", None, "booked", None, ""),
    )
    assert got.rejected == () and got.notes == ()


def test_header_in_any_case_order_and_delimiter() -> None:
    got = read("PATIENT;Start ;Procedure;ID\nP-104;04.05.2026 10:00;whitening;B-1\n")
    assert got.rows[0].start == utc("2026-05-04 08:00") and got.rows[0].id == "B-1"


def test_their_own_column_names() -> None:
    text = "Ref,Treatment,When,Code\nB-1,whitening,2026-05-04 10:00,P-104\n"
    names = {"id": "ref", "procedure": "treatment", "start": "when", "patient": "code"}
    assert read(text, terms=Terms(names)).rows[0].patient == "P-104"
    with pytest.raises(Refused, match='no column "id"'):
        read(text)
    with pytest.raises(Refused, match='no column "whn"; did you mean "When"'):
        read(text, terms=Terms({**names, "start": "whn"}))


def test_clock_changes_are_rejected_unless_the_offset_is_written() -> None:
    got = read(
        HEAD
        + "B-1,w,2026-03-29 02:30,P-1\nB-2,w,2026-10-25 02:30,P-1\nB-3,w,2026-10-25T02:30+01:00,P-1\nB-4,w,2026-03-29 03:00,P-1\n"
    )
    assert [(r.id, r.start) for r in got.rows] == [("B-3", utc("2026-10-25 01:30")), ("B-4", utc("2026-03-29 01:00"))]
    assert [r.line for r in got.rejected] == [2, 3]
    assert "does not exist" in got.rejected[0].why and "comes twice" in got.rejected[1].why


@pytest.mark.parametrize(
    ("row", "word"),
    [
        (",w,2026-05-04 10:00,P-1", "the id is empty"),
        ("B-1,w,2026-05-04,P-1", "no time of day"),
        ("B-1,w,,P-1", "start: the time is empty"),
        ("B-1,w,soon,P-1", "not a time"),
        ("B-1,w,2026-05-04 10:00,P-1,six", "cycles"),
        ("B-1,w,2026-05-04 10:00,P-1,0", "cycles"),
        ("B-1,w,2026-05-04 10:00,P-1,-6", "cycles"),
        ("B-1,w,2026-05-04 10:00,P-1,6.5", "cycles"),
        ("B-1,w,2026-05-04 10:00,P-1,٦", "cycles"),
        ("B-1,w,2026-05-04 10:00,P-1,6,done", "neither booked nor cancelled"),
        ("B-1,w,2026-05-04 10:00,P-1,6,booked,,North,extra", "9 fields"),
        ('B-1,w,"2026-05-04 10:00,P-1', "quotation mark"),
    ],
)
def test_rows_that_are_rejected_by_line(row: str, word: str) -> None:
    got = read(HEAD + row + "\nB-9,w,2026-05-04 10:00,P-1\n")
    assert [r.id for r in got.rows] == ["B-9"]
    assert [r.line for r in got.rejected] == [2] and word in got.rejected[0].why


def test_the_later_line_of_an_id_stands() -> None:
    got = read(HEAD + "B-1,w,2026-05-04 10:00,P-1\nB-2,w,2026-05-04 10:00,P-2\nB-1,w,2026-05-05 10:00,P-1\n")
    assert [(r.line, r.id) for r in got.rows] == [(3, "B-2"), (4, "B-1")]
    assert got.notes == ('"B-1" is in lines 2 and 4: the later one stands',)


def test_made_may_be_a_day_and_costs_no_booking() -> None:
    got = read(
        HEAD
        + "B-1,w,2026-05-04 10:00,P-1,,,2026-04-01,\nB-2,w,2026-05-04 10:00,P-1,,,last week,\n"
        + "B-3,w,2026-05-04 10:00,P-1,,,2026-03-29 02:30,\nB-4,w,2026-05-04 10:00,P-1,,,2026-10-25 02:30,\n"
    )
    # B-3 was made in the skipped hour (02:30 is read as 03:30 summer time), B-4 in the first of the doubled ones
    assert [r.made for r in got.rows] == [
        utc("2026-03-31 22:00"), None, utc("2026-03-29 01:30"), utc("2026-10-25 00:30")
    ]  # fmt: skip
    assert len(got.notes) == 1 and got.notes[0].startswith("line 3: made:")


def test_day_and_month() -> None:
    rows = "B-1,w,03/04/2026 10:00,P-1\nB-2,w,{} 10:00,P-1\n"
    assert read(HEAD + rows.format("13/04/2026")).rows[0].start == utc("2026-04-03 08:00")
    assert read(HEAD + rows.format("04/13/2026")).rows[0].start == utc("2026-03-04 09:00")
    with pytest.raises(Refused, match="3 April 2026 or 4 March 2026"):
        read(HEAD + rows.format("05/04/2026"))
    assert read(HEAD + rows.format("05/04/2026"), day_first=False).rows[0].start == utc("2026-03-04 09:00")


def test_a_header_alone_is_no_booking() -> None:
    assert read(HEAD) == BookingFile((), (), ())
