"""Logger files as they come, through ``fridge import``: what is read, what is asked, what is reported and where.

All data is made up; expected instants are derived: Amsterdam is one hour ahead of UTC in winter, two in summer.
"""

from typing import Any

import pytest
from conftest import Line

NOW = "2026-12-01T09:00:00+00:00"


def taken(cli: Line, text: str | bytes, *options: str) -> Any:
    """The answer about a file that is read in whole or in part."""
    cli.file("log.csv", text)
    return cli.ask("fridge", "import", "log.csv", "--fridge", "Cold one", *options, now=NOW)


def refused(cli: Line, text: str | bytes, *options: str) -> str:
    """The message about a file that is refused, without anything recorded."""
    cli.file("log.csv", text)
    said = cli("fridge", "import", "log.csv", "--fridge", "Cold one", "--json", *options, now=NOW)
    assert said.code == 3 and said.out == "" and "log.csv" in said.err
    assert all(len(f["excursions"]) == 0 and f["last"] is None for f in cli.ask("fridge", "check", now=NOW)["fridges"])
    return said.err


def span(answer: Any) -> tuple[int, str, str]:
    return answer["added"], answer["first"][5:16], answer["last"][5:16]


def every(minutes: int, *spans: tuple[str, str, str]) -> str:
    """``time,temp`` rows on one day, from one clock time to another, span by span."""
    rows = []
    for day, start, stop in spans:
        (h, m), (h2, m2) = (map(int, t.split(":")) for t in (start, stop))
        rows += [f"{day} {t // 60:02}:{t % 60:02},{4 + t % 7 / 10}\n" for t in range(h * 60 + m, h2 * 60 + m2, minutes)]
    return "time,temp\n" + "".join(rows)


CHANNELS = "time;Probe 1;Probe 2\n2026-03-02 06:00;4,0;5,0\n2026-03-02 06:10;4,1;5,1\n"


def test_several_channels_are_chosen_by_name_or_number_and_remembered(cli: Line) -> None:
    said = refused(cli, CHANNELS)
    assert '2 "Probe 1", 3 "Probe 2"' in said and "--temperature-column" in said
    first = taken(cli, CHANNELS, "--temperature-column", "probe 2")
    assert span(first) == (2, "03-02T05:00", "03-02T05:10")
    later = CHANNELS.replace("03-02", "03-03").replace("Probe 1;Probe 2", "Probe 2;Probe 1")
    assert taken(cli, later)["added"] == 2
    # The name is followed, not the place: in the second file it stands in the second column.
    again = taken(cli, "time,temp\n2026-03-03 06:00,4\n", "--temperature-column", "temp")
    assert again["already_there"] == 1 and again["conflicts"] == []
    by_number = taken(cli, CHANNELS.replace("03-02", "03-04"), "--temperature-column", "3")
    assert by_number["added"] == 2 and 'log.csv: temperatures are from column 3, "Probe 2"' in by_number["notes"]


def test_a_number_never_turns_humidity_into_a_temperature(cli: Line) -> None:
    text = "time;Temp;Humidity %\n2026-03-02 06:00;4,0;45\n"
    assert 'column 3 is "Humidity %", which is no temperature by its name' in refused(
        cli, text, "--temperature-column", "3"
    )


def test_a_doubled_stamp_is_there_already_or_a_conflict_with_its_line(cli: Line) -> None:
    got = taken(cli, "time,temp\n2026-03-02 06:00,4\n2026-03-02 06:00,4\n2026-03-02 06:10,4\n2026-03-02 06:10,5\n")
    assert (got["lines"], got["added"], got["already_there"]) == (4, 2, 1)
    assert [(c["line"], c["kept_celsius"], c["other_celsius"]) for c in got["conflicts"]] == [(5, 4.0, 5.0)]
    # Finer than a second: the first of a second stays, as for any two values of one instant.
    fine = "time,temp\n2026-03-02T09:00:00.1Z,4\n2026-03-02T09:00:00.6Z,4\n2026-03-02T09:00:01.2Z,4\n2026-03-02T09:00:01.7Z,5\n"
    got = taken(cli, fine)
    assert (got["added"], got["already_there"]) == (2, 1) and [c["line"] for c in got["conflicts"]] == [5]


@pytest.mark.parametrize(
    ("day", "zone", "spans", "expected", "note"),
    [
        ("2026-10-25", "Europe/Amsterdam", ["01:30-03:00", "02:00-03:30"], (18, "24T23:30", "25T02:20"), "in order"),
        ("2026-10-25", "Europe/Amsterdam", ["02:30-03:00", "02:00-03:30"], (12, "25T00:30", "25T02:20"), "in order"),
        ("2026-10-25", "Europe/Amsterdam", ["02:30-04:00"], (9, "25T01:30", "25T02:50"), "the second of the two"),
        ("2026-10-25", "Europe/Amsterdam", ["01:30-02:30"], (6, "24T23:30", "25T00:20"), "the first of the two"),
        ("2026-10-25", "Europe/Amsterdam", ["01:30-03:00", "02:00-02:20"], (11, "24T23:30", "25T01:10"), "in order"),
        ("2026-11-01", "America/New_York", ["00:30-02:00", "01:00-02:30"], (18, "01T04:30", "01T07:20"), "in order"),
        ("2026-11-01", "America/New_York", ["01:30-03:00"], (9, "01T06:30", "01T07:50"), "the second of the two"),
    ],
)  # fmt: skip
def test_the_doubled_hour(
    cli: Line, day: str, zone: str, spans: list[str], expected: tuple[int, str, str], note: str
) -> None:
    got = taken(cli, every(10, *((day, *s.split("-")) for s in spans)), "--zone", zone)  # type: ignore[misc]
    assert (got["added"], got["first"][8:16], got["last"][8:16]) == expected
    assert got["conflicts"] == got["rejected"] == got["gaps"] == []
    (told,) = [n for n in got["notes"] if f"the hour that occurs twice on {day}" in n]
    assert note in told


def test_the_missing_hour_is_left_out_by_line(cli: Line) -> None:
    got = taken(cli, every(10, ("2026-03-29", "01:40", "03:20")))
    assert span(got) == (4, "03-29T00:40", "03-29T01:10")
    assert [r["line"] for r in got["rejected"]] == [4, 5, 6, 7, 8, 9]
    assert got["rejected"][0]["why"] == "2026-03-29 02:00 does not exist in Europe/Amsterdam: clocks went on"
    assert any("Etc/GMT-1" in n for n in got["notes"])


def test_a_device_clock_that_jumps_is_named_by_line_and_loses_nothing(cli: Line) -> None:
    got = taken(cli, every(10, ("2026-03-02", "06:00", "08:00"), ("2026-03-02", "05:03", "06:03")))
    assert got["added"] == 18 and "log.csv: the clock jumped back 2 h 47 min at line 14" in got["notes"]
    got = taken(cli, every(10, ("2026-03-03", "06:00", "08:00"), ("2026-03-04", "06:00", "08:00")))
    assert got["added"] == 24
    assert (
        "log.csv: nothing for 22 h 10 min between lines 13 and 14: a pause, or a clock that was set on" in got["notes"]
    )


def test_what_lies_ahead_of_now_is_left_out_by_line(cli: Line) -> None:
    got = taken(cli, "time,temp\n2026-12-01 10:00,4\n2026-12-01 10:10,4\n")  # now is 10:00 in Amsterdam
    assert got["added"] == 1 and got["rejected"] == [
        {"line": 3, "why": "2026-12-01T09:10:00Z lies ahead of now: look at the device's clock"}
    ]


BLOCKS = (
    "Device;Box\nSerial;1234567890\nStart;2026-03-02 06:00:00\nMinimum;2,1;2026-03-02 06:20:00\nReadings;2\n\n"
    "Date;Temperature [°C]\n2026-03-02 06:00:00;4,0\n2026-03-02 06:10:00;4,1\n",
    "Log\nFirst reading;2026-03-02 06:00:00;4,0\nLast reading;2026-03-02 06:10:00;4,1\n"
    "Date/Time;Temp;\n2026-03-02 06:00:00;4,0;\n2026-03-02 06:10:00;4,1;\n",
)
SAME = (
    *BLOCKS,
    "date,time,temp\n2026-03-02,06:00,4.0\n2026-03-02,06:10,4.1\n",
    "time,date,temp\n06:00,2026-03-02,4.0\n06:10,2026-03-02,4.1\n",
    "timestamp,temp\n1772427600,4.0\n1772428200,4.1\n",
    "timestamp,temp\n1772427600000,4.0\n1772428200999,4.1\n",
    "time,temp\n2026-03-02T06:00:00+01:00,4.0\n2026-03-02T05:10:00.75Z,4.1\n",
    "time,temp\n2026-03-02 6:00 AM,4.0\n2026-03-02 6:10 a.m.,4.1\n",
    "\ufeffTime\tTemp °F\r\n2026-03-02 06:00\t39.2\r\n2026-03-02 06:10\t39.38\r\n",
    "Time;temp\nyyyy-mm-dd;°F\n2026-03-02 06:00;39,2\n2026-03-02 06:10;39,38\n",
    "Zeit;Temp °C\n2026-03-02 06:00;4,0\n2026-03-02 06:10;4,1\n".encode("latin-1"),
    "time,temp\n2026-03-02 06:00,4.0\n2026-03-02 06:10,4.1\n".encode("utf-16"),
    "time,temp\n2026-03-02 06:00,4.0\n2026-03-02 06:10,4.1\n".encode("utf-16-le"),
    '"time","temp","",""\n"2026-03-02 06:00","4,0",,\n"2026-03-02 06:10","4,1",,\n',
    "time,temp\r2026-03-02 06:00,4.0\r2026-03-02 06:10,4.1\r",
)


@pytest.mark.parametrize("text", SAME)
def test_one_log_in_many_layouts(cli: Line, text: str | bytes) -> None:
    # 06:00 in Amsterdam on 2 March is 05:00 UTC = 1772427600 seconds after 1970; 39.2 °F is 4.0 °C, 39.38 °F 4.1 °C
    assert span(taken(cli, text)) == (2, "03-02T05:00", "03-02T05:10")
    same = taken(cli, "time,temp\n2026-03-02 06:00,4.0\n2026-03-02 06:10,4.1\n")
    assert (same["already_there"], same["conflicts"]) == (2, [])


def test_the_ends_of_days_and_half_days(cli: Line) -> None:
    rows = (
        "2026-03-02 24:00",
        "2026-03-04 12:00 AM",
        "2026-03-04 12:00 PM",
        "2026-03-04 13:00 PM",
        "2026-03-04 0:10 AM",
    )
    got = taken(cli, "time,temp\n" + "".join(f"{r},4\n" for r in rows))
    assert (got["added"], got["first"], got["last"]) == (3, "2026-03-02T23:00:00Z", "2026-03-04T11:00:00Z")
    assert [(r["line"], r["why"]) for r in got["rejected"]] == [
        (5, '"2026-03-04 13:00 PM" is not a time'),
        (6, '"2026-03-04 0:10 AM" is not a time'),
    ]


def test_day_or_month_is_asked_for_and_remembered(cli: Line) -> None:
    text = "time,temp\n03/04/2026 10:00,4\n05/04/2026 10:00,4\n"
    said = refused(cli, text)
    assert "03/04/2026 is 3 April 2026 or 4 March 2026" in said and "--day-first or --month-first" in said
    assert span(taken(cli, text, "--day-first")) == (2, "04-03T08:00", "04-05T08:00")
    assert taken(cli, text)["already_there"] == 2
    assert span(taken(cli, text, "--month-first")) == (2, "03-04T09:00", "05-04T08:00")


def test_values_that_are_none_are_left_out_by_line(cli: Line) -> None:
    values = ("---", "N/A", "ERR", "", "1.004,1", "61", "4 °C", "4,2")
    got = taken(cli, "time;temp\n" + "".join(f"2026-03-02 06:0{i};{v}\n" for i, v in enumerate(values)))
    assert got["added"] == 2 and [r["line"] for r in got["rejected"]] == [2, 3, 4, 5, 6, 7]
    assert [r["why"].rpartition(" is ")[2] for r in got["rejected"]] == [*["not a temperature"] * 3, "empty",
        "not a temperature", "beyond -60 to +60 °C"]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "is empty"), ("\n \n", "is empty"), ("time,temp\n", "no line with a date, a time of day"),
        (b"\x89PNG\r\n\x1a\n\0\0", "is a picture"), (b"\xff\xd8\xff\xe0\0", "is a picture"),
        (b"PK\x03\x04rest", "a zip archive"), (b"\x1f\x8b\x08", "a compressed file"), (b"a,b\n\0\1\2", "a binary file"),
        ("time,temp\n2026-03-02 06:00,---\n", 'line 2: "---" is not a temperature'),
        ("logged,sent,temp\n2026-03-02 06:00,2026-03-02 07:00,4\n", "2 columns that could be the time"),
    ],
)  # fmt: skip
def test_what_is_no_log_says_so(cli: Line, text: str | bytes, word: str) -> None:
    assert word in refused(cli, text)


def test_a_column_given_by_number_is_remembered_by_its_name(cli: Line) -> None:
    cli.file("a.csv", "time,box,Probe 1,Probe 2\n2026-03-02T01:00:00Z,9,4.0,5.0\n2026-03-02T01:10:00Z,9,4.1,5.1\n")
    cli.ok("fridge", "import", "a.csv", "--fridge", "Cold one", "--temperature-column", "4")
    # The same columns in another order: the number would now mean another probe.
    cli.file("b.csv", "time,Probe 2,box,Probe 1\n2026-03-02T01:20:00Z,5.2,9,4.2\n")
    said = cli.ask("fridge", "import", "b.csv", "--fridge", "Cold one")
    assert said["added"] == 1
    assert cli.ask("fridge", "check")["fridges"][0]["last"]["celsius"] == 5.2
    cli.file("c.csv", "time,Probe 3,Probe 4\n2026-03-02T01:30:00Z,5.3,4.3\n")
    lost = cli("fridge", "import", "c.csv", "--fridge", "Cold one")
    assert lost.code == 3
    assert "was remembered for this fridge" in lost.err


def test_a_unit_that_was_chosen_once_gives_way_to_what_a_file_says(cli: Line) -> None:
    cli.file("f.csv", "time,temperature\n2026-03-02T01:00:00Z,39.2\n")
    cli.ok("fridge", "import", "f.csv", "--fridge", "Cold one", "--fahrenheit")
    cli.file("c.csv", "time,temperature (°C)\n2026-03-02T01:10:00Z,4.5\n")
    cli.ok("fridge", "import", "c.csv", "--fridge", "Cold one")
    assert cli.ask("fridge", "check")["fridges"][0]["last"]["celsius"] == 4.5
    cli.file("g.csv", "time,temperature\n2026-03-02T01:20:00Z,41\n")
    cli.ok("fridge", "import", "g.csv", "--fridge", "Cold one")
    assert cli.ask("fridge", "check")["fridges"][0]["last"]["celsius"] == 5.0


def test_a_line_ahead_of_now_says_which_time_was_read(cli: Line) -> None:
    cli.file("f.csv", "time,temperature\n2026-03-02T01:00:00Z,4.0\n2026-05-02T01:00:00Z,4.0\n")
    said = cli.ask("fridge", "import", "f.csv", "--fridge", "Cold one")
    assert [r["line"] for r in said["rejected"]] == [3]
    assert "2026-05-02T01:00:00Z" in said["rejected"][0]["why"]
