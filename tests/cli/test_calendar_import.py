"""Bookings from calendar files, on a real database. Source of every expectation: RFC 5545 and 5546 (published), by the
section named at the test; the instants are derived: Amsterdam is UTC+1, from 2026-03-29 to 2026-10-25 UTC+2.
"""

import time
from typing import Any

import pytest
from conftest import PRACTICE, Line
from databases import everything

CODED = PRACTICE.replace('currency = "EUR"', 'currency = "EUR"\npatient_code = "P-[0-9]+"')
WORDS = "SUMMARY:White P-104"


def event(uid: str = "u1", *lines: str, start: str = "DTSTART:20260304T100000", words: str = WORDS) -> str:
    return "\r\n".join(["BEGIN:VEVENT", f"UID:{uid}", start, words, *lines, "END:VEVENT"]) + "\r\n"


def calendar(*events: str, head: str = "") -> str:
    return "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//made up//EN\r\n" + head + "".join(events) + "END:VCALENDAR\r\n"


@pytest.fixture
def desk(line: Any) -> Line:
    made: Line = line(CODED)
    return made


def take(desk: Line, text: str | bytes, *options: str, name: str = "c.ics", now: str | None = None) -> Any:
    desk.file(name, text)
    return desk.ask("booking", "import", name, *options, now=now)


def starts(desk: Line, state: str = "booked", now: str | None = None) -> list[str]:
    return [b["start"] for b in desk.ask("booking", "list", now=now)["bookings"] if b["state"] == state]


def test_a_calendar_is_known_by_what_stands_in_it_and_taken_in_once(desk: Line) -> None:
    text = calendar(event("u1"), event("u2", start="DTSTART:20260305T090000Z", words="SUMMARY:white cycles=8 P-7"))
    said = take(desk, text, name="export.csv")
    assert (said["added"], said["rejected"]) == (["B-1", "B-2"], [])
    found = desk.ask("booking", "list")["bookings"]
    assert [(b["external_id"], b["start"], b["patient"], b["cycles"]) for b in found] == [
        ("u1", "2026-03-04T09:00:00Z", "P-104", 6),  # 3.3.5: a floating time is the practice's own
        ("u2", "2026-03-05T09:00:00Z", "P-7", 8),
    ]
    again = take(desk, text)
    assert (again["added"], again["unchanged"], again["rejected"]) == ([], 2, [])
    assert desk("records", "verify").code == 0


@pytest.mark.parametrize("form", ["lf", "bom", "utf16", "utf16 without its mark", "folded", "blank"])
def test_how_the_file_is_written_does_not_matter(desk: Line, form: str) -> None:
    text = calendar(event("u1", words="SUMMARY:Zähne white P-104"))
    data = text.encode()
    if form == "lf":
        data = data.replace(b"\r\n", b"\n")
    elif form == "bom":
        data = b"\xef\xbb\xbf" + data
    elif form == "utf16":
        data = text.encode("utf-16")
    elif form == "utf16 without its mark":
        data = text.encode("utf-16-le")
    elif form == "folded":  # 3.1: by bytes, also in the middle of a letter
        data = data.replace("ä".encode(), b"\xc3\r\n \xa4").replace(b"P-1", b"P\r\n\t-1")
    else:
        data = b"\r\n" + data.replace(b"SUMMARY", b'\r\nsummary;LANGUAGE="de"')
    assert take(desk, data)["added"] == ["B-1"]


def test_an_older_version_is_reported_and_ignored(desk: Line) -> None:
    take(desk, calendar(event("u1", "SEQUENCE:2", "DTSTAMP:20260301T100000Z")))
    moved = "DTSTART:20260306T100000"
    said = take(desk, calendar(event("u1", "SEQUENCE:1", "DTSTAMP:20260302T080000Z", start=moved)))
    assert (said["moved"], said["stale"]) == ([], ["B-1"])
    # RFC 5546, 2.1.5: of one SEQUENCE the later DTSTAMP stands
    assert take(desk, calendar(event("u1", "SEQUENCE:2", "DTSTAMP:20260228T080000Z", start=moved)))["stale"] == ["B-1"]
    assert starts(desk) == ["2026-03-04T09:00:00Z"]
    assert take(desk, calendar(event("u1", "SEQUENCE:2", "DTSTAMP:20260302T080000Z", start=moved)))["moved"] == ["B-1"]
    # one that says nothing new is no news, whatever its number
    assert take(desk, calendar(event("u1", "SEQUENCE:1", start=moved)))["stale"] == []
    # undone with its entry
    assert desk("undo", "--why", "slip").code in (0, 1)


def test_cancelled_frees_and_stays_on_record_and_missing_is_not_cancelled(desk: Line) -> None:
    take(desk, calendar(event("u1"), event("u2", start="DTSTART:20260305T100000")))
    said = take(desk, calendar(event("u2", start="DTSTART:20260305T100000")))
    assert said["cancelled"] == []
    bare = calendar("BEGIN:VEVENT\r\nUID:u1\r\nSTATUS:CANCELLED\r\nEND:VEVENT\r\n", event("u9", "STATUS:CANCELLED"))
    said = take(desk, bare)
    assert (said["cancelled"], said["rejected"], said["added"]) == (["B-1"], [], [])
    assert starts(desk, "cancelled") == ["2026-03-04T09:00:00Z"]
    gone = calendar("BEGIN:VEVENT\r\nUID:u2\r\nEND:VEVENT\r\n", head="METHOD:CANCEL\r\n")  # RFC 5546, 3.2.5
    assert take(desk, gone)["cancelled"] == ["B-2"]


def test_cancel_missing_keeps_to_the_files_span_shows_first_and_spares_what_the_file_names(desk: Line) -> None:
    days = {f"u{d}": f"DTSTART:202603{d:02}T100000" for d in (3, 4, 5, 6, 9)}
    take(desk, calendar(*(event(u, start=s) for u, s in days.items())))
    desk.file("t.csv", "id,procedure,start,patient\nX1,white,2026-03-04T14:00,P-9\n")
    desk.ok("booking", "import", "t.csv")
    # u3 and u9 lie outside of 4 to 6 March, X1 came from a table
    text = calendar(event("u4", start=days["u4"]), event("u6", start=days["u6"]))
    desk.file("c.ics", text)
    assert take(desk, text, "--cancel-missing", "--yes")["cancelled"] == ["B-3"]
    # u6 is there, though nobody can read what it books
    desk.file(
        "d.ics",
        calendar(
            event("u3", start=days["u3"]),
            event("u6", start=days["u6"], words="SUMMARY:?"),
            event("u9", start=days["u9"]),
        ),
    )
    said = desk("booking", "import", "d.ics", "--cancel-missing")
    assert said.code == 3 and "B-2 (u4) white" in said.err and "B-4" not in said.err
    assert said.out == "" and len(starts(desk)) == 5


@pytest.mark.parametrize(
    ("lines", "word"),
    [
        (("DTSTART;VALUE=DATE:20260304",), "without a time"),
        (("DTSTART;TZID=Nowhere/Land:20260304T100000",), "no time zone"),
        (("DTSTART;TZID=localtime:20260304T100000",), "no time zone"),
        (("DTSTART;TZID=../../etc/passwd:20260304T100000",), "no time zone"),
        (("DTSTART:20260231T100000",), "not a time"),
        (("DTSTART:99990101T100000",), "between"),
        (("DTSTART 20260304T100000",), "no DTSTART (a line could not be read"),
        ((), "no DTSTART"),
        (("DTSTART:20260304T100000", "STATUS:PERHAPS"), "status"),
        (("DTSTART:20260304T100000", "DTSTART:20260305T100000"), "more than one"),
        (("DTSTART:20260304T100000", "DESCRIPTION:cycles=six"), "cycles"),
        (("DTSTART:20260304T100000", "DESCRIPTION:P-105"), "more than one patient"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=SECONDLY;COUNT=1000000000"), "no rule for a diary"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=DAILY;INTERVAL=0"), "INTERVAL"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=DAILY;COUNT=2;UNTIL=20260401T000000Z"), "both"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=WEEKLY;BYDAY=1MO"), "BYDAY"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=YEARLY;BYWEEKNO=20"), "BYWEEKNO"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=DAILY;BYHOUR=1,2,3;BYMINUTE=0,1,2,3,4,5,6,7,8,9"), "30 times"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=DAILY;BYMONTHDAY=0"), "BYMONTHDAY"),
        (("DTSTART:20260304T100000", "RRULE:nonsense"), "cannot be read"),
        (("DTSTART:20260304T100000", "RRULE:FREQ=DAILY", "EXDATE;VALUE=DATE:20260305"), "without a time"),
    ],
)
def test_what_is_not_certain_is_reported_by_event_and_the_others_go_in(
    desk: Line, lines: tuple[str, ...], word: str
) -> None:
    broken = "\r\n".join(["BEGIN:VEVENT", "UID:bad", WORDS, *lines, "END:VEVENT"]) + "\r\n"
    said = take(desk, calendar(broken, event("good")))
    assert said["added"] == ["B-1"]
    assert [(r["event"], r["line"]) for r in said["rejected"]] == [("bad", None)]
    assert word in said["rejected"][0]["why"]


@pytest.mark.parametrize(
    ("words", "word"),
    [
        ("SUMMARY:lunch", "names no procedure"),
        ("SUMMARY:whitening P-1", "names no procedure"),  # not the word itself
        ("SUMMARY:white", "no patient code"),
        ("SUMMARY:white Anna Berg", "no patient code"),
        ("SUMMARY:white patient=Berg", "cannot stand"),
        ("SUMMARY:white\\, other P-1", "more than one procedure"),
    ],
)
def test_procedure_and_patient_are_found_or_reported(line: Any, words: str, word: str) -> None:
    desk: Line = line(CODED + CODED[CODED.index("[[procedure]]") :].replace('"white"', '"other"'))
    said = take(desk, calendar(event(words=words)))
    assert said["added"] == [] and word in said["rejected"][0]["why"]
    # a category decides where there is one (3.8.1.2), and its commas may be escaped
    said = take(desk, calendar(event("u2", "CATEGORIES:a\\,b,White", words="SUMMARY:other P-1")))
    assert said["added"] == ["B-1"] and desk.ask("booking", "list")["bookings"][0]["procedure"] == "white"


def test_no_name_gets_onto_the_record(line: Any) -> None:
    desk: Line = line(PRACTICE)
    said = take(desk, calendar(event(words="SUMMARY:white Anna Berg")))
    assert "--patient-pattern" in said["rejected"][0]["why"]
    greedy = take(
        desk, calendar(event(words="SUMMARY:white Anna Berg 7")), "--patient-pattern", "[A-Z][a-z]+ [A-Za-z]+ 7"
    )
    assert "may hold a name" in greedy["rejected"][0]["why"]
    assert "looks like a name" in take(desk, calendar(event("Anna Berg")))["rejected"][0]["why"]
    # the pattern and the words are remembered
    said = take(
        desk,
        calendar(event(words="SUMMARY:Bleach C-7")),
        "--patient-pattern",
        "C-[0-9]+",
        "--procedure",
        "white=bleach",
    )
    assert said["added"] == ["B-1"]
    assert take(desk, calendar(event("u2", words="SUMMARY:bleach C-8")))["added"] == ["B-2"]
    assert "Anna" not in everything(desk.where)


def test_markup_cannot_steer_a_terminal(desk: Line) -> None:
    desk.file("c.ics", calendar(event("a\x1b[31m[red]b", words="SUMMARY:[bold]x\x1b[0m")))
    said = desk("booking", "import", "c.ics")
    assert said.code == 1 and "\x1b" not in said.out + said.err


# -- series


def series(
    desk: Line,
    *lines: str,
    start: str = "DTSTART;TZID=Europe/Amsterdam:20260323T100000",
    head: str = "",
    now: str | None = None,
) -> Any:
    return take(desk, calendar(event("s", *lines, start=start), head=head), now=now)


def test_a_series_keeps_its_clock_time_over_both_clock_changes(desk: Line) -> None:
    series(desk, "RRULE:FREQ=WEEKLY;COUNT=3")
    # derived: 10:00 is 09:00Z before 29 March and 08:00Z after it
    assert starts(desk) == ["2026-03-23T09:00:00Z", "2026-03-30T08:00:00Z", "2026-04-06T08:00:00Z"]
    found = desk.ask("booking", "list")["bookings"]
    assert [b["external_id"] for b in found][1] == "s/2026-03-30T08:00:00Z"
    autumn = series(
        desk,
        "RRULE:FREQ=WEEKLY;COUNT=2",
        start="DTSTART;TZID=Europe/London:20261019T100000",
        now=(later := "2026-10-12T08:00:00+00:00"),
    )
    # London: 09:00Z before 25 October and 10:00Z after it
    assert autumn["added"] == ["B-4", "B-5"] and starts(desk, now=later)[-2:] == [
        "2026-10-19T09:00:00Z",
        "2026-10-26T10:00:00Z",
    ]


def test_a_southern_zone_changes_the_other_way(desk: Line) -> None:
    # derived: Sydney leaves summer time on 2026-04-05: 10:00 is 23:00Z the day before, then 00:00Z
    series(desk, "RRULE:FREQ=WEEKLY;UNTIL=20260413T000000Z", start="DTSTART;TZID=Australia/Sydney:20260330T100000")
    assert starts(desk) == ["2026-03-29T23:00:00Z", "2026-04-06T00:00:00Z", "2026-04-13T00:00:00Z"]


def test_skipped_and_doubled_clock_times(desk: Line) -> None:
    # 3.3.10: an instance at a skipped time is ignored and not counted; 3.3.5: a doubled one is the first
    series(desk, "RRULE:FREQ=DAILY;COUNT=3", start="DTSTART;TZID=Europe/Amsterdam:20260328T023000")
    assert starts(desk) == ["2026-03-28T01:30:00Z", "2026-03-30T00:30:00Z", "2026-03-31T00:30:00Z"]
    # 3.3.5: one event at a skipped time is read by the offset before the change
    take(desk, calendar(event("one", start="DTSTART;TZID=Europe/Amsterdam:20260329T023000")))
    take(desk, calendar(event("two", start="DTSTART;TZID=Europe/Amsterdam:20261025T023000")))
    assert {"2026-03-29T01:30:00Z", "2026-10-25T00:30:00Z"} <= set(starts(desk))


def test_exceptions_by_utc_and_by_clock_extra_days_moved_and_cancelled_instances(desk: Line) -> None:
    rule = (
        "RRULE:FREQ=WEEKLY;COUNT=6", "EXDATE:20260330T080000Z", "EXDATE;TZID=Europe/Amsterdam:20260406T100000",
        "RDATE;TZID=Europe/Amsterdam:20260501T110000",
    )  # fmt: skip
    moved = event("s", "RECURRENCE-ID;TZID=Europe/Amsterdam:20260413T100000", start="DTSTART:20260414T130000Z")
    off = event("s", "RECURRENCE-ID:20260420T080000Z", "STATUS:CANCELLED", start="DTSTART:20260420T080000Z")
    begun = event("s", *rule, start="DTSTART;TZID=Europe/Amsterdam:20260323T100000")
    said = take(desk, calendar(moved, off, begun))
    assert said["rejected"] == []
    expected = ["2026-03-23T09:00:00Z", "2026-04-14T13:00:00Z", "2026-04-27T08:00:00Z", "2026-05-01T09:00:00Z"]
    assert starts(desk) == expected
    ids = {b["start"]: b["external_id"] for b in desk.ask("booking", "list")["bookings"]}
    assert ids["2026-04-14T13:00:00Z"] == "s/2026-04-13T08:00:00Z"
    again = take(desk, calendar(begun, moved, off))
    assert (again["added"], again["moved"], again["cancelled"]) == ([], [], [])


def test_what_a_series_no_longer_has_is_freed_and_an_older_series_changes_nothing(desk: Line) -> None:
    series(desk, "RRULE:FREQ=WEEKLY;COUNT=4", "SEQUENCE:1")
    assert len(starts(desk)) == 4
    said = series(desk, "RRULE:FREQ=WEEKLY;COUNT=4", "SEQUENCE:2", "EXDATE;TZID=Europe/Amsterdam:20260330T100000")
    assert said["cancelled"] == ["B-2"]
    said = series(desk, "RRULE:FREQ=WEEKLY;COUNT=2", "SEQUENCE:1")
    assert said["cancelled"] == [] and said["stale"] == ["B-2", "B-3", "B-4"]
    said = series(desk, "RRULE:FREQ=WEEKLY;COUNT=4", "SEQUENCE:3", "STATUS:CANCELLED")
    assert said["cancelled"] == ["B-1", "B-3", "B-4"]
    assert desk("records", "verify").code == 0


def test_an_endless_series_is_cut_at_the_horizon_and_said(desk: Line) -> None:
    said = series(desk, "RRULE:FREQ=WEEKLY", start="DTSTART:20250106T100000")
    # derived: Mondays from 31 January (30 days before 2 March) to 29 August (180 days after): 2 February to 24 August
    assert len(said["added"]) == 30
    assert starts(desk)[0] == "2026-02-02T09:00:00Z" and starts(desk)[-1] == "2026-08-24T08:00:00Z"
    assert any("1 series goes on after 2026-08-29" in note for note in said["notes"])


def test_this_and_all_later_is_not_guessed(desk: Line) -> None:
    begun = event("s", "RRULE:FREQ=WEEKLY;COUNT=4", start="DTSTART;TZID=Europe/Amsterdam:20260323T100000")
    later = event("s", "RECURRENCE-ID;RANGE=THISANDFUTURE:20260406T080000Z", start="DTSTART:20260407T080000Z")
    said = take(desk, calendar(begun, later))
    assert starts(desk) == ["2026-03-23T09:00:00Z", "2026-03-30T08:00:00Z"]
    assert "all later ones" in said["rejected"][0]["why"]


ZONE = """BEGIN:VTIMEZONE
TZID:{name}
BEGIN:STANDARD
DTSTART:16010101T030000
TZOFFSETFROM:+0200
TZOFFSETTO:+0100
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10
END:STANDARD
BEGIN:DAYLIGHT
DTSTART:16010101T020000
TZOFFSETFROM:+0100
TZOFFSETTO:+0200
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=3
END:DAYLIGHT
END:VTIMEZONE
""".replace("\n", "\r\n")


@pytest.mark.parametrize(
    ("name", "head"),
    [
        ("Our own clock", ZONE.format(name="Our own clock")),
        ("W. Europe Standard Time", ""),
        ("Europe/Amsterdam", ZONE.format(name="Europe/Amsterdam")),
    ],
)
def test_zones_by_definition_by_name_and_by_a_table(desk: Line, name: str, head: str) -> None:
    said = series(desk, "RRULE:FREQ=WEEKLY;COUNT=2", start=f'DTSTART;TZID="{name}":20260323T100000', head=head)
    assert said["rejected"] == []
    assert starts(desk) == ["2026-03-23T09:00:00Z", "2026-03-30T08:00:00Z"]


def test_a_definition_that_disagrees_with_the_list_is_reported(desk: Line) -> None:
    head = ZONE.format(name="Europe/London")
    said = series(desk, start="DTSTART;TZID=Europe/London:20260323T100000", head=head)
    assert "disagree" in said["rejected"][0]["why"]
    broken = ZONE.format(name="Mine").replace("FREQ=YEARLY", "FREQ=SECONDLY")
    said = series(desk, start="DTSTART;TZID=Mine:20260323T100000", head=broken)
    assert "Mine" in said["rejected"][0]["why"] and said["added"] == []


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=DAILY;COUNT=1000000000",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=YEARLY;INTERVAL=999999999999",
        "FREQ=WEEKLY;BYSETPOS=300",
    ],
)
def test_a_rule_of_any_size_ends(desk: Line, rule: str) -> None:
    begun = time.process_time()
    series(desk, f"RRULE:{rule}")
    assert time.process_time() - begun < 5
    assert starts(desk)[0] == "2026-03-23T09:00:00Z"


def test_broken_parts_cost_themselves(desk: Line) -> None:
    cut = "BEGIN:VEVENT\r\nUID:cut\r\nDTSTART:20260304T100000\r\n" + WORDS + "\r\n"
    said = take(
        desk,
        calendar(
            "END:VALARM\r\n",
            cut,
            event("good", "BEGIN:VALARM", "TRIGGER:-P1D", "UID:x", "END:VALARM"),
            "BEGIN:VTODO\r\nUID:t\r\nEND:VTODO\r\n",
            event(""),
        ),
    )
    assert said["added"] == ["B-1"] and desk.ask("booking", "list")["bookings"][0]["external_id"] == "good"
    assert sorted(r["event"] for r in said["rejected"]) == ["cut", "event 3"]
    commas = "DTSTART;X=" + "," * 5000
    begun = time.process_time()
    take(desk, calendar(event("c", start=commas)))
    assert time.process_time() - begun < 5


def test_more_series_than_can_be_followed_are_said_in_a_few_seconds() -> None:
    """50,000 of them, each counted day by day since 1990, would take half an hour."""
    from zoneinfo import ZoneInfo

    from stockroom.formats.calendar_events import read_calendar
    from stockroom.formats.calendar_moments import Horizon
    from stockroom.formats.calendar_words import Words

    rule = "RRULE:FREQ=DAILY;COUNT=99999;BYMONTH=2;BYMONTHDAY=30"
    text = calendar(*(event(f"u{n}", rule, start="DTSTART:19900101T100000") for n in range(2000)))
    begun = time.process_time()
    found = read_calendar(
        text.encode(),
        "x",
        zone=ZoneInfo("UTC"),
        words=Words({"white": "white"}, "P-[0-9]+"),
        horizon=Horizon(0, 1_790_000_000),
    )
    assert time.process_time() - begun < 60
    assert "more series than can be followed" in found.rejected[-1].why
