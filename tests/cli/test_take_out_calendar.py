"""The take-out reminders: read back by two other libraries, by the standard's rules for lines, and by our own importer.

Sources: RFC 5545 by section (published); instants derived: Amsterdam is UTC+1 in winter, a kit warms for 24 h.
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import vobject
from conftest import PRACTICE, Lender, Line, begun
from databases import USUAL_AT
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from icalendar import Calendar


def stocked(cli: Line, *starts: str) -> None:
    cli.ok(
        "stock", "receive", "KIT", "--lot", "L1", "--expiry", "2026-12", "--quantity", "9", "--into", "Cold one",
        "--arrived-at", "4",
    )  # fmt: skip
    for number, start in enumerate(starts, 1):
        cli.ok("booking", "add", "white", "--start", start, "--patient", f"P-10{number}")


def written(cli: Line, *options: str, now: str | None = None, name: str = "out.ics") -> dict[str, Any]:
    """UID's beginning (B-1-KIT) -> event, as icalendar reads the file; the file is checked line by line first."""
    said = cli("warmup", "calendar", "--out", name, *options, now=now)
    assert said.code == 0, said
    data = (cli.folder / name).read_bytes()
    sound(data)
    events = Calendar.from_ical(data).walk("VEVENT")
    assert [e.errors for e in events] == [[]] * len(events)
    return {str(e["UID"]).split("@")[0]: e for e in events}


NEEDED = {
    "VEVENT": {"UID", "DTSTAMP", "DTSTART"},
    "VALARM": {"ACTION", "TRIGGER", "DESCRIPTION"},
    "VCALENDAR": {"PRODID", "VERSION"},
}
ONCE = {
    "UID",
    "DTSTAMP",
    "DTSTART",
    "DTEND",
    "SEQUENCE",
    "STATUS",
    "SUMMARY",
    "DESCRIPTION",
    "CLASS",
    "LOCATION",
    "TRIGGER",
}


def sound(data: bytes) -> None:
    """3.1: CR LF everywhere, no line above 75 octets, no control characters; 3.6: nesting, what must be there, once."""
    assert data.endswith(b"END:VCALENDAR\r\n") and data.count(b"\n") == data.count(b"\r\n") == data.count(b"\r")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    text = data.decode("utf-8")
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)
    open_: list[tuple[str, list[str]]] = []
    for line in text.replace("\r\n ", "").split("\r\n")[:-1]:
        match = re.fullmatch(r'([A-Z0-9-]+)((?:;[A-Z0-9-]+=(?:"[^"]*"|[^";:,]*))*):(.*)', line)
        assert match, line
        name, value = match[1], match[3]
        if name == "BEGIN":
            open_.append((value, []))
        elif name == "END":
            kind, names = open_.pop()
            assert kind == value and NEEDED.get(kind, set()) <= set(names)
            assert all(names.count(n) == 1 for n in ONCE & set(names))
        else:
            open_[-1][1].append(name)
        if name in ("DTSTART", "DTEND", "DTSTAMP") and open_[-1][0] == "VEVENT":
            assert re.fullmatch("[0-9]{8}T[0-9]{6}Z", value)
        if name in ("SUMMARY", "DESCRIPTION", "LOCATION"):  # 3.3.11
            assert not re.search(r"(?<!\\)[;,]", value.replace("\\\\", ""))
    assert not open_


def test_one_event_for_each_take_out_with_an_alarm_and_without_the_patient(cli: Line) -> None:
    stocked(cli, "2026-03-05T10:00", "2026-03-09T10:00")
    found = written(cli)
    assert set(found) == {"B-1-KIT", "B-2-KIT"}
    first, second = found["B-1-KIT"], found["B-2-KIT"]
    assert first["DTSTART"].dt == datetime(2026, 3, 4, 9, tzinfo=UTC)  # 24 h before
    assert second["DTSTART"].dt == datetime(2026, 3, 6, 15, tzinfo=UTC)  # Friday's closing, 16:00
    assert first["SUMMARY"] == "Take out 1 KIT, lot L1, from Cold one, for B-1"
    assert "Do not use if the seal is broken." in first["DESCRIPTION"]
    alarm = first.walk("VALARM")[0]
    assert (alarm["ACTION"], alarm["TRIGGER"].dt) == ("DISPLAY", timedelta(minutes=-15))
    text = (cli.folder / "out.ics").read_text(encoding="utf-8")
    assert "P-10" not in text and "PRODID:-//stockroom//" in text
    assert "P-101" in written(cli, "--with-patients")["B-1-KIT"]["DESCRIPTION"]
    other = vobject.readOne(text)
    assert sorted(e.uid.value.split("@")[0] for e in other.vevent_list) == ["B-1-KIT", "B-2-KIT"]
    assert {e.valarm.trigger.value for e in other.vevent_list} == {timedelta(minutes=-15)}


def test_an_alarm_a_day_before_is_elapsed_time(cli: Line) -> None:
    stocked(cli, "2026-03-05T10:00")
    written(cli, "--alarm", "1440")
    text = (cli.folder / "out.ics").read_text(encoding="utf-8")
    # 3.3.6: P1D is a day on the calendar, 23 h when clocks go forward; 1440 minutes are 24 h
    assert "TRIGGER:-PT1440M" in text and "P1D" not in text
    assert cli("warmup", "calendar", "--out", "x.ics", "--alarm", "99999").code == 3


def test_take_outs_over_a_clock_change(cli: Line) -> None:
    # derived: booking on Monday 30 March 10:00 summer time = 08:00Z; 24 h before is a closed Sunday: Friday 16:00 = 15:00Z
    stocked(cli, "2026-03-30T10:00")
    assert written(cli)["B-1-KIT"]["DTSTART"].dt == datetime(2026, 3, 27, 15, tzinfo=UTC)


def test_our_own_reminders_are_no_bookings(cli: Line) -> None:
    stocked(cli, "2026-03-05T10:00")
    written(cli, "--with-patients")
    said = cli.ask("booking", "import", "out.ics")
    assert (said["added"], said["rejected"]) == ([], [])
    assert any("take-out reminder" in n for n in said["notes"])


def test_a_practice_without_bookings_gets_a_calendar_without_events(cli: Line) -> None:
    assert written(cli) == {}


def same(a: Any, b: Any) -> bool:
    """Whether two versions of an event say the same, number and stamp aside."""
    said = [re.sub(rb"(SEQUENCE|DTSTAMP):\S+", b"", e.to_ical()) for e in (a, b)]
    return said[0] == said[1]


def test_moved_pulled_done_and_cancelled(cli: Line) -> None:
    stocked(cli, "2026-03-05T10:00", "2026-03-06T10:00", "2026-03-10T10:00")
    before = written(cli)
    again = written(cli, now="2026-03-02T09:20:00+00:00", name="again.ics")
    assert [e["SEQUENCE"] for e in again.values()] == [e["SEQUENCE"] for e in before.values()]
    cli.ok("booking", "move", "B-1", "--start", "2026-03-05T14:00")
    cli.ok("booking", "cancel", "B-2", "--why", "rang")
    after = written(cli, name="other.ics")
    assert set(after) == set(before)
    assert after["B-1-KIT"]["DTSTART"].dt == datetime(2026, 3, 4, 13, tzinfo=UTC)
    assert after["B-1-KIT"]["SEQUENCE"] > before["B-1-KIT"]["SEQUENCE"]
    assert (after["B-2-KIT"]["STATUS"], after["B-1-KIT"]["STATUS"]) == ("CANCELLED", "CONFIRMED")
    assert after["B-2-KIT"]["SEQUENCE"] > before["B-2-KIT"]["SEQUENCE"] and not after["B-2-KIT"].walk("VALARM")
    cli.ok("warmup", "pull", "B-1", now="2026-03-04T12:00:00+00:00")
    assert written(cli, now="2026-03-04T12:05:00+00:00")["B-1-KIT"]["STATUS"] == "CANCELLED"
    cli.ok("undo", "--why", "slip", now="2026-03-04T12:06:00+00:00")
    assert written(cli, now="2026-03-04T12:07:00+00:00")["B-1-KIT"]["STATUS"] == "CONFIRMED"
    # the moment has passed without anybody: no record was made, and yet the number is higher
    late = written(cli, now="2026-03-04T15:00:00+00:00")["B-1-KIT"]
    assert late["STATUS"] == "CANCELLED"
    assert late["SEQUENCE"] > written(cli, now="2026-03-04T12:08:00+00:00")["B-1-KIT"]["SEQUENCE"]
    # three weeks later nobody needs to be told any more
    assert written(cli, now="2026-03-31T09:00:00+00:00") == {}


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["add", "move", "cancel", "pull", "done", "undo", "log", "hold", "receive", "closed", "wait"]),
        st.integers(1, 4),
        st.integers(0, 5),
        st.integers(1, 30),
    ),
    min_size=3,
    max_size=9,
)


@settings(
    max_examples=6,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(STEPS)
def test_a_changed_event_always_has_a_higher_number_and_none_ever_a_lower(
    database: Lender, tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, int, int, int]]
) -> None:
    folder = tmp_path_factory.mktemp("history")
    with database(folder) as where:
        _never_lower(begun(Line(where, folder), PRACTICE, USUAL_AT), steps)


def _never_lower(cli: Line, steps: list[tuple[str, int, int, int]]) -> None:
    stocked(cli, "2026-03-05T10:00", "2026-03-06T14:00")
    at = datetime(2026, 3, 2, 9, tzinfo=UTC)
    known = written(cli)
    for what, number, day, hours in steps:
        at += timedelta(hours=hours)
        cli.now = at.isoformat()
        when = (at + timedelta(days=day)).strftime("%Y-%m-%dT11:00")
        line = {
            "add": ("booking", "add", "white", "--start", when, "--patient", f"P-{number}"),
            "move": ("booking", "move", f"B-{number}", "--start", when),
            "cancel": ("booking", "cancel", f"B-{number}", "--why", "x"),
            "pull": ("warmup", "pull", f"B-{number}"),
            "done": ("booking", "done", f"B-{number}"),
            "undo": ("undo", "--why", "x"),
            "log": ("fridge", "log", "4", "--fridge", "Cold one"),
            "hold": ("stock", "quarantine", "KIT", "L1", "--why", "x"),
            "receive": ("stock", "receive", "KIT", "--lot", f"M{number}", "--expiry", "2026-08", "--quantity", "2", "--into", "Cold two", "--arrived-at", "4"),
            "closed": ("practice", "closed", when[:10], "--why", "x"),
        }.get(what)  # fmt: skip
        if line is not None:
            assert cli(*line).code in (0, 1, 3)
        now = written(cli)
        for uid, event in now.items():
            if uid in known:
                assert event["SEQUENCE"] >= known[uid]["SEQUENCE"]
                assert same(event, known[uid]) or event["SEQUENCE"] > known[uid]["SEQUENCE"], (what, uid)
        live = {u for u, e in known.items() if e["STATUS"] == "CONFIRMED"}
        assert live <= set(now)  # what was told of once is told of again: kept, changed or cancelled
        known = {**known, **now}


def test_signs_that_a_calendar_escapes_and_letters_of_several_bytes_come_back_as_they_were(line: Any) -> None:
    """3.1: folded by octets, never within a letter's bytes for a reader that unfolds first; 3.3.11: escapes."""
    place = "Kühlschrank Süd; „links“, Fach\\nr 2 – ❄❄❄❄❄❄❄❄❄❄❄❄"
    caution = "Nicht öffnen; „kühl“ halten, bitte: ≥ 24 h \\ ≤ 72 h " + "äöü€𝛼 " * 20
    text = PRACTICE.replace('"Cold one"', f"'{place}'").replace('"Do not use if the seal is broken."', f"'{caution}'")
    cli: Line = line(text)
    cli.ok(
        "stock", "receive", "KIT", "--lot", "L;1,\\n", "--expiry", "2026-12", "--quantity", "9", "--into", place,
        "--arrived-at", "4",
    )  # fmt: skip
    cli.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-101")
    event = written(cli)["B-1-KIT"]
    summary = f"Take out 1 KIT, lot L;1,\\n, from {place}, for B-1"
    data = (cli.folder / "out.ics").read_bytes()
    for raw in data.split(b"\r\n"):
        raw.decode("utf-8")  # no letter is cut in two: a reader that decodes before it unfolds is not lost
    for said in (event["SUMMARY"], vobject.readOne(data.decode("utf-8")).vevent.summary.value):
        assert said == summary
    assert event["LOCATION"] == place
    assert str(event["DESCRIPTION"]).endswith("\n" + caution.strip()) or caution.strip() in event["DESCRIPTION"]
    # and read by the importer of this program: its own reminders, unharmed
    assert cli.ask("booking", "import", "out.ics")["rejected"] == []
