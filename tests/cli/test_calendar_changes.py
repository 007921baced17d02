"""What becomes of an event that changes its kind, is called off whole, or comes in a file that is not whole.

Sources: RFC 5545 and 5546 (published), by section at the test; instants derived: Amsterdam is UTC+1 until 2026-03-29.
"""

import os
import re
from typing import Any

import pytest
from conftest import PRACTICE, Line

CODED = PRACTICE.replace('currency = "EUR"', 'currency = "EUR"\npatient_code = "P-[0-9]+"')
WEEKLY = "RRULE:FREQ=WEEKLY;COUNT=3"
FIRST = "DTSTART;TZID=Europe/Amsterdam:20260309T100000"


def event(uid: str, *lines: str, start: str = FIRST, words: str = "SUMMARY:White P-104") -> str:
    return "\r\n".join(["BEGIN:VEVENT", f"UID:{uid}", start, words, *lines, "END:VEVENT"]) + "\r\n"


def calendar(*events: str, head: str = "", end: str = "END:VCALENDAR\r\n") -> str:
    return "BEGIN:VCALENDAR\r\nVERSION:2.0\r\n" + head + "".join(events) + end


@pytest.fixture
def desk(line: Any) -> Line:
    made: Line = line(CODED)
    made.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 9, "--into", "Cold one",
        "--arrived-at", "4",
    )  # fmt: skip
    return made


def take(desk: Line, text: str, *options: str, now: str | None = None) -> Any:
    desk.file("c.ics", text)
    return desk.ask("booking", "import", "c.ics", *options, now=now)


def standing(desk: Line) -> list[tuple[str, str]]:
    return [(b["booking"], b["start"]) for b in desk.ask("booking", "list")["bookings"] if b["state"] == "booked"]


@pytest.mark.parametrize(
    "off",
    [
        # RFC 5546, 3.2.5: with the UID alone all instances are cancelled; the rule need not be said again
        calendar("BEGIN:VEVENT\r\nUID:s\r\nSEQUENCE:2\r\nEND:VEVENT\r\n", head="METHOD:CANCEL\r\n"),
        calendar(event("s", "SEQUENCE:2", words="SUMMARY:Cancelled"), head="METHOD:CANCEL\r\n"),
        calendar(event("s", "SEQUENCE:2", "STATUS:CANCELLED")),
    ],
)
def test_a_series_is_called_off_whole_without_its_rule(desk: Line, off: str) -> None:
    take(desk, calendar(event("s", WEEKLY, "SEQUENCE:1"), event("other", start="DTSTART:20260311T100000")))
    said = take(desk, off)
    assert (sorted(said["cancelled"]), said["rejected"]) == (["B-1", "B-2", "B-3"], [])
    assert standing(desk) == [("B-4", "2026-03-11T09:00:00Z")]
    again = take(desk, off)
    assert (again["cancelled"], again["added"]) == ([], [])


def test_an_older_calling_off_of_a_series_changes_nothing(desk: Line) -> None:
    take(desk, calendar(event("s", WEEKLY, "SEQUENCE:3")))
    said = take(desk, calendar(event("s", "SEQUENCE:2", "STATUS:CANCELLED")))
    assert (said["cancelled"], len(standing(desk))) == ([], 3) and "B-2" in said["stale"]


def test_an_event_that_becomes_a_series_and_one_again_keeps_its_booking_and_its_kit(desk: Line) -> None:
    take(desk, calendar(event("s", "SEQUENCE:1")))
    desk.ok("warmup", "pull", "B-1", now="2026-03-06T12:00:00+00:00")
    desk.now = "2026-03-06T13:00:00+00:00"
    said = take(desk, calendar(event("s", WEEKLY, "SEQUENCE:2")))
    assert (said["added"], said["cancelled"]) == (["B-2", "B-3"], [])
    assert standing(desk)[0] == ("B-1", "2026-03-09T09:00:00Z")
    said = take(desk, calendar(event("s", "SEQUENCE:3")))
    assert (said["added"], said["cancelled"]) == ([], ["B-2", "B-3"])  # the file speaks of this very event
    assert standing(desk) == [("B-1", "2026-03-09T09:00:00Z")]
    (row,) = desk.ask("warmup", "check")["bookings"]
    assert (row["booking"], row["pull"]) == ("B-1", "P-1")
    assert desk("records", "verify").code == 0


def test_a_stroke_in_a_uid_is_no_series(desk: Line) -> None:
    text = calendar(event("a/b"), event("a", WEEKLY, start="DTSTART:20260311T100000"))
    assert len(take(desk, text)["added"]) == 4
    again = take(desk, text)
    assert (again["cancelled"], again["unchanged"]) == ([], 4)
    # and with --cancel-missing a/b is not taken for an instance of a
    rest = calendar(event("a", WEEKLY, start="DTSTART:20260304T100000"))
    assert take(desk, rest, "--cancel-missing", "--yes")["cancelled"].count("B-1") == 1


@pytest.mark.parametrize(
    "text",
    [
        calendar(event("u1"), end=""),
        calendar(event("u1")) + calendar(event("u2", start="DTSTART:20260310T100000"), end=""),
    ],
)
def test_a_file_that_is_cut_off_is_said_to_be_and_cancels_nothing(desk: Line, text: str) -> None:
    take(desk, calendar(*(event(f"u{n}", start=f"DTSTART:202603{n + 8:02}T100000") for n in (1, 2, 3))))
    desk.file("c.ics", text)
    said = desk("booking", "import", "c.ics", "--json")
    assert said.code == 1 and "cut off" in said.json["warnings"][0]
    refused = desk("booking", "import", "c.ics", "--cancel-missing", "--yes")
    assert (refused.code, refused.out) == (3, "") and "cut off" in refused.err
    assert len(standing(desk)) == 3


@pytest.mark.parametrize(
    ("property_", "said"),
    [
        ("DTEND:20260309T080000Z", True),  # an hour before 09:00Z
        ("DTEND;TZID=Europe/Amsterdam:20260309T095900", True),
        ("DURATION:-PT1H", True),
        ("DTEND:20260309T090000Z", False),
        ("DURATION:PT1H45M", False),
        ("DTEND;VALUE=DATE:20260308", False),  # what cannot be compared says nothing
    ],
)
def test_an_event_that_ends_before_it_begins_goes_in_and_is_named(desk: Line, property_: str, said: bool) -> None:
    desk.file("c.ics", calendar(event("u1", property_)))
    got = desk("booking", "import", "c.ics", "--json")
    assert got.json["added"] == ["B-1"] and got.code == (1 if said else 0)
    assert any("ends before it begins" in w and '"u1"' in w for w in got.json["warnings"]) is said


def test_many_lines_left_out_for_one_reason_are_one_sentence(desk: Line) -> None:
    others = [event(f"x{n}", words="SUMMARY:lunch") for n in range(30)]
    desk.file("c.ics", calendar(*others, event("y", words="SUMMARY:white"), event("u1")))
    said = desk("booking", "import", "c.ics", "--json")
    assert len(said.json["rejected"]) == 31
    (what,) = [w for w in said.json["warnings"] if "left out" in w]
    assert what.count("names no procedure") == 1 and "and 26 more" in what and '"y": it has no patient code' in what


def test_bookings_outside_the_hours_are_one_sentence(desk: Line) -> None:
    desk.file("c.ics", calendar(event("s", "RRULE:FREQ=DAILY;COUNT=14")))
    warned = desk("booking", "import", "c.ics", "--json").json["warnings"]
    # derived: 9 March is a Monday, so four of fourteen days are closed
    assert [w for w in warned if "outside the hours" in w] == [
        "B-6, B-7, B-13, B-14 lie outside the hours in which somebody is there"
    ]


def test_what_is_short_is_counted_by_bookings_not_by_kits(line: Any) -> None:
    desk: Line = line(CODED.replace('{ product = "KIT", each = 1 }', '{ product = "KIT", each = 2 }'))
    desk.file("c.ics", calendar(event("s", WEEKLY)))
    warned = desk("booking", "import", "c.ics", "--json").json["warnings"]
    assert "KIT short for 3 bookings: B-1, B-2, B-3" in warned


def test_what_is_called_a_calendar_and_is_none_is_refused_by_name(desk: Line) -> None:
    desk.file("c.ics", "<!doctype html><html><body>Log in</body></html>")
    said = desk("booking", "import", "c.ics")
    assert said.code == 3 and "c.ics is no calendar" in said.err and "column" not in said.err
    desk.file("c.ics", "")
    assert "c.ics is empty" in desk("booking", "import", "c.ics").err


def test_a_long_uid_takes_one_line_of_the_list(desk: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.get_terminal_size", lambda *_: os.terminal_size((80, 24)))
    uid = "040000008200E00074C5B7101A82E008" * 4
    take(desk, calendar(event(uid, WEEKLY)))
    lines = desk("booking", "list").out.splitlines()
    rows = [x for x in lines if x.startswith("B-")]
    assert len(rows) == 3 and lines.index(rows[2]) == 3 and max(map(len, lines)) <= 80
    assert re.search(r"  04000+\S*…:00:00Z  booked$", rows[2])
    assert desk.ask("booking", "list")["bookings"][2]["external_id"] == f"{uid}/2026-03-23T09:00:00Z"
