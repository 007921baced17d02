"""Logger files of many kinds. All data is made up; expected numbers are derived in the comments."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from stockroom.errors import Refused
from stockroom.formats.logger_csv import LoggerFile, read_logger

AMSTERDAM, LONDON = ZoneInfo("Europe/Amsterdam"), ZoneInfo("Europe/London")


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def read(text: str, **more: object) -> LoggerFile:
    return read_logger(text.encode(), "log.csv", zone=AMSTERDAM, **more)  # type: ignore[arg-type]


# 03:10 and 03:20 in Amsterdam on 4 May 2026 are two hours less in UTC (summer time)
AT = [utc("2026-05-04 01:10"), utc("2026-05-04 01:20")]
MILLI = [4200, -400]


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-04T01:10:00Z,4.2\n2026-05-04T01:20:00Z,-0.4\n",
        "time,temp\n2026-05-04 03:10,4.2\n2026-05-04 03:20,-0.4",
        "Zeit;Temperatur (°C)\r\n04.05.2026 03:10;4,2\r\n04.05.2026 03:20;-0,4\r\n",
        "Datum\tUhrzeit\tTemp\n04.05.2026\t03:10:00\t4,2\n04.05.2026\t03:20:00\t-0,4\n",
        "date|time|celsius\n2026-05-04|3:10 AM|4.2 °C\n2026-05-04|3:20 AM|−0.4 °C\n",
        'No,"Date Time, GMT+02:00","Temp, °C"\n1,"04/25/2026 01:00","x"\n1,"2026-05-04 03:10",4.2\n2,"2026-05-04 03:20",-.4\n',
        "No.;Date/Time;Temperature;Humidity %RH;Dew point °C;Battery V\n"
        "1;2026-05-04 03:10;4,2;45;-6,1;3,1\n2;2026-05-04 03:20;-0,4;46;-9,0;3,1\n3;2026-05-04 03:30;--;46;;3,1\n",
        "Logger report\nSerial;4711\nMin;-0,4;2026-05-04 03:20\nMax;4,2;2026-05-04 03:10\nAverage;1,9\n\n"
        "Timestamp;Fridge [°C];\n2026-05-04 03:10;4,2;\nalarm cleared\n2026-05-04 03:20;-0,4;\nEnd of log\n",
        "Horodatage;Température\n;°C\n2026-05-04 03:10;4,2\n2026-05-04 03:20;-0,4\n",
        "sep=;\nwhen;reading\n2026-05-04 03:10:00.25;4,2\n2026-05-04 03:20:00.75;-0,4\n",
        "1,2026-05-04 03:10,4.2\n2,2026-05-04 03:20,-0.4\n3,2026-05-04 03:20,?\n",
    ],
)
def test_one_log_in_many_layouts(text: str) -> None:
    got = read(text)
    assert got.at.tolist() == AT and got.milli.tolist() == MILLI and got.unit == "C"
    assert got.lines == len(got.at) + len(got.rejected)
    lines = text.splitlines()
    assert all("2026-05-04" in lines[n - 1] or "04.05.2026" in lines[n - 1] for n in got.line.tolist())


def test_lines_are_counted_as_the_file_counts_them() -> None:
    got = read("Report\n\ntime,temp\n2026-05-04 03:10,4.2\n\njunk\n2026-05-04 03:20,x\n2026-05-04 03:30,5\ntime,temp\n")
    assert got.line.tolist() == [4, 8] and got.lines == 5
    assert [(r.line, r.why) for r in got.rejected] == [
        (6, 'has 1 of 2 fields: "junk"'),
        (7, '"x" is not a temperature'),
        (9, "the header again"),
    ]
    assert got.notes == ("line 1 above the readings passed over",)


@pytest.mark.parametrize(
    ("value", "word"),
    [
        ("60.001", "beyond"), ("-60.1", "beyond"), ("1e309", "beyond"), ("1e999", "beyond"), ("nan", "not a temp"),
        ("inf", "not a temp"), ("-inf", "not a temp"), ("", "empty"), ("  ", "empty"), ("--", "not a temp"),
        ("4.2.1", "not a temp"), ("1,234.5", "not a temp"), ("0x10", "not a temp"), ("1_0", "not a temp"),
        ("٤", "not a temp"), ("9" * 5000, "not a temp"), ("4.2 K", "not a temp"), ("1e-9999", "not a temp"),
    ],
)  # fmt: skip
def test_values_that_are_rejected_by_line(value: str, word: str) -> None:
    got = read(f"time;temp\n2026-05-04 03:10;{value}\n2026-05-04 03:20;4\n")
    assert got.line.tolist() == [3] and len(got.rejected) == 1
    assert got.rejected[0].line == 2 and word in got.rejected[0].why and len(got.rejected[0].why) < 120


def test_exact_thousandths() -> None:
    # derived: half to even at the thousandth, as the units say
    values = {"4.1999998": 4200, "4.0005": 4000, "4.0015": 4002, "60.000": 60000, "-60": -60000, "+4.25E+0": 4250}
    text = "time,temp\n" + "".join(f"2026-05-04 03:{10 + i},{v}\n" for i, v in enumerate(values))
    assert read(text).milli.tolist() == list(values.values())


@pytest.mark.parametrize(
    "header",
    ["temp (F)", "Temp_F", "°F", "Temperature Fahrenheit", "Temp deg F", "TempF", "Temp, [F]", "temperature ℉"],
)
def test_fahrenheit_by_header(header: str) -> None:
    # derived: (35.6 - 32) x 5/9 = 2; (46.4 - 32) x 5/9 = 8; (46.5 - 32) x 5/9 = 8.0556
    got = read(f'time,"{header}"\n2026-05-04 03:10,35.6\n2026-05-04 03:20,46.4\n2026-05-04 03:30,46.5\n')
    assert got.milli.tolist() == [2000, 8000, 8056] and got.unit == "F"


@pytest.mark.parametrize("header", ["Temp C", "Celsius", "Fridge F temperature", "Temperature probe F", "temp", "T1"])
def test_a_lone_letter_elsewhere_is_no_unit(header: str) -> None:
    assert read(f"time,{header}\n2026-05-04 03:10,4.2\n").milli.tolist() == [4200]


def test_the_caller_goes_before_the_header() -> None:
    got = read("time,temp (°F)\n2026-05-04 03:10,4.2\n", unit="C")
    assert got.milli.tolist() == [4200] and "the header says °F, read as °C as asked" in got.notes
    assert read("time,temp (°C)\n2026-05-04 03:10,35.6\n", unit="F").milli.tolist() == [2000]


def test_units_elsewhere_than_in_the_header() -> None:
    assert read("time,temp\n2026-05-04 03:10,35.6 °F\n2026-05-04 03:20,46.4\n").milli.tolist() == [2000, 8000]
    got = read("Unit,°F\ntime,temp\n2026-05-04 03:10,35.6\n")
    assert got.milli.tolist() == [2000] and any("the lines above" in n for n in got.notes)
    got = read("time,temp\n2026-05-04 03:10,35.6 °F\n2026-05-04 03:20,4\n", unit="C")
    assert got.line.tolist() == [3] and "says °F where °C was asked for" in got.rejected[0].why
    assert read("time,temp\n2026-05-04 03:10,4.2 °C\n", unit="C").milli.tolist() == [4200]


def test_the_usual_unit_counts_only_where_the_file_says_nothing() -> None:
    row = "\n2026-05-04 03:10,35.6\n"
    assert read("time,temp" + row, usual_unit="F").milli.tolist() == [2000]
    assert read("time,temp" + row, usual_unit="F").notes == ("read as °F, as before: no unit is stated",)
    assert read("time,temp (°C)" + row, usual_unit="F").milli.tolist() == [35600]
    assert read("time,temp" + row, usual_unit="F", unit="C").milli.tolist() == [35600]


def test_an_assumed_unit_that_looks_wrong_is_said() -> None:
    got = read("time,temp\n2026-05-04 03:10,39.2\n2026-05-04 03:20,40.1\n")
    assert got.unit == "C" and any("--fahrenheit" in n for n in got.notes)
    assert not any("--fahrenheit" in n for n in read("time,temp\n2026-05-04 03:10,4\n").notes)
    with pytest.raises(Refused) as no:
        read("time,temp\n2026-05-04 03:10,75\n2026-05-04 03:20,76\n")
    assert no.value.slug == "no-readings" and "--fahrenheit" in no.value.todo


TWO = "time,Temp 1 (°C),Temp 2 (°F),Humidity\n2026-05-04 03:10,4.2,35.6,50\n2026-05-04 03:20,4.3,46.4,50\n"


def test_several_channels_are_not_guessed() -> None:
    with pytest.raises(Refused, match=r'2 columns that could be the temperature: 2 "Temp 1 \(°C\)", 3 "Temp 2') as no:
        read(TWO)
    assert no.value.slug == "which-column" and "--temperature-column" in no.value.todo


def test_columns_by_name_and_number_can_be_remembered() -> None:
    for choice in ("temp 2 (°f)", "3"):
        got = read(TWO, temperature_column=choice)
        assert got.milli.tolist() == [2000, 8000] and got.temperature_column == "Temp 2 (°F)"
        assert got.time_column == "time"
    again = read(TWO, temperature_column=got.temperature_column, time_column=got.time_column)
    assert again.milli.tolist() == [2000, 8000]
    pair = "A;Datum;Zeit;Temp;Temp\n1;04.05.2026;03:10;4,2;9\n7;04.05.2026;03:20;-0,4;9\n"
    got = read(pair, temperature_column="4")
    assert (got.time_column, got.temperature_column) == ("Datum+Zeit", "4")
    assert read(pair, time_column="Datum+Zeit", temperature_column="4").at.tolist() == AT
    assert read(pair, time_column="2+3", temperature_column="4").at.tolist() == AT


def test_columns_that_are_not_there() -> None:
    for more in ({"temperature_column": "Tmp 1 (°C)"}, {"temperature_column": "5"}, {"time_column": "0"}):
        with pytest.raises(Refused) as no:
            read(TWO, **more)
        assert no.value.slug == "no-such-column" and '2 "Temp 1 (°C)"' in no.value.todo
    with pytest.raises(Refused, match='did you mean "Temp 1'):
        read(TWO, temperature_column="Tmp 1 (°C)")


def test_a_number_that_means_something_else_in_this_file_is_refused() -> None:
    text = "time,Temp,Humidity %\n2026-05-04 03:10,4.2,49\n"
    with pytest.raises(Refused, match='column 3 is "Humidity %", which is no temperature by its name') as no:
        read(text, temperature_column="3")
    assert no.value.slug == "which-column"
    assert read(text, temperature_column="humidity %").milli.tolist() == [49_000]
    assert 'temperatures are from column 2, "Temp"' in read(text, temperature_column="2").notes
    assert read(text, temperature_column="temp").notes == ()


def test_counts_of_seconds_and_milliseconds() -> None:
    # derived: 2026-05-04 01:10 UTC is 1777857000 seconds after 1970 (20577 days of 86400 s and 4200 s)
    for head, one, two in (
        ("time,temp", "1777857000", "1777857600"),
        ("Timestamp,temp", "1777857000000", "1777857600999"),
        ("epoch,temp", "1777857000.25", "1777857600.75"),
        ("Serial,Unix time,temp", "1234567890,1777857000", "1234567890,1777857600"),
    ):
        got = read(f"{head}\n{one},4.2\n{two},-0.4\n")
        assert got.at.tolist() == AT and got.milli.tolist() == MILLI and got.zoned
        assert "times are counts of seconds since 1970, in UTC" in got.notes
    assert read("1777857000;4,2\n1777857600;-0,4\n", time_column="1").at.tolist() == AT
    for text in ("1777857000,4.2\n", "phone,temp\n2025550123,4.2\n", "time,date,temp\n1777857000,1777857000,4\n"):
        with pytest.raises(Refused) as no:
            read(text)
        assert no.value.slug == "which-column" and "--time-column" in no.value.todo
    # Among written dates a long number is no time.
    got = read("time,temp\n2026-05-04 03:10,4.2\n1777857600,5\n")
    assert got.line.tolist() == [2] and got.rejected[0].line == 3


def test_lines_under_the_header_that_have_no_readable_time_are_reported_each() -> None:
    bad = "".join(f"04-May-2026 0{i}:00 XYZ,4\n" for i in range(6))
    got = read("time,temp\n" + bad + "2026-05-04 03:10,4.2\n")
    assert [r.line for r in got.rejected] == [2, 3, 4, 5, 6, 7] and got.line.tolist() == [8] and got.notes == ()


def test_two_time_columns_are_not_guessed() -> None:
    text = "logged,uploaded,temp\n2026-05-04 03:10,2026-05-05 08:00,4.2\n"
    with pytest.raises(Refused) as no:
        read(text)
    assert no.value.slug == "which-column" and "--time-column" in no.value.todo
    assert read(text, time_column="logged").at.tolist() == AT[:1]


def test_limits_and_other_measures_are_not_the_temperature() -> None:
    text = "id,time,Temp °C,Alarm high °C,Dew point °C\n7,2026-05-04 03:10,4.2,8,1\n9,2026-05-04 03:20,-0.4,8,1\n"
    assert read(text).milli.tolist() == MILLI


@pytest.mark.parametrize(
    "text",
    [
        "id,procedure,start,patient,cycles\nB-1,whitening,2026-05-04 10:00,P-104,6\n",
        "product,lot,expiry,quantity,place\nCK,A1,2027-01-31,4,Fridge 1\n",
        "dear reader,\nthis is no log\n",
        "time,humidity %\n2026-05-04 03:10,50\n",
        '"\n',
    ],
)
def test_what_is_no_log_names_its_columns(text: str) -> None:
    with pytest.raises(Refused) as no:
        read(text)
    assert no.value.slug == "no-temperature-column"
    if "," in text:
        assert text.split(",")[0] in no.value.what


@pytest.mark.parametrize("text", ["time,temp\n", "time,temp\nx,y\n", "time,temp\n4133980800,4.2\n"])
def test_a_header_without_readings(text: str) -> None:
    with pytest.raises(Refused) as no:
        read(text)
    assert no.value.slug == "no-readings"


def test_a_decimal_comma_between_commas_is_not_cut_short() -> None:
    # 4,2 must not become 4
    with pytest.raises(Refused, match="decimal comma"):
        read("time,temp\n2026-05-04 03:10,4,2\n2026-05-04 03:20,4,3\n")
    got = read('time,temp\n2026-05-04 03:10,"4,2"\n2026-05-04 03:20,4\n')
    assert got.milli.tolist() == [4200, 4000]


def test_a_second_header_of_another_meaning_is_refused() -> None:
    with pytest.raises(Refused) as no:
        read("time,temp (°C)\n2026-05-04 03:10,4.2\ntime,temp (°F)\n2026-05-04 03:20,39\n")
    assert no.value.slug == "two-headers" and "line 3" in no.value.what
    got = read("time,temp (°C)\n2026-05-04 03:10,4.2\ntime set,temperature alarm off\n2026-05-04 03:20,-0.4\n")
    assert got.milli.tolist() == MILLI and got.rejected[0].line == 3


def test_day_and_month() -> None:
    text = "time,temp\n03/04/2026 10:00,4\n{},5\n"
    assert read(text.format("13/04/2026 10:00")).at.tolist()[0] == utc("2026-04-03 08:00")
    got = read(text.format("04/13/2026 10:00"))
    assert got.at.tolist() == [utc("2026-03-04 09:00"), utc("2026-04-13 08:00")] and got.rejected == ()
    assert any("month first" in n for n in got.notes)
    with pytest.raises(Refused, match="line 2: 03/04/2026 is 3 April 2026 or 4 March 2026") as no:
        read(text.format("05/04/2026 10:00"))
    assert no.value.slug == "day-or-month"
    assert read(text.format("05/04/2026 10:00"), day_first=False).at.tolist()[0] == utc("2026-03-04 09:00")
    got = read(text.format("04/13/2026 10:00"), day_first=True)
    assert got.line.tolist() == [2] and "no day" in got.rejected[0].why
    got = read("time;temp\n03.04.2026 10:00;4\n")
    assert got.at.tolist() == [utc("2026-04-03 08:00")] and any("with dots" in n for n in got.notes)


def test_zones() -> None:
    naive = "time,temp\n2026-05-04 03:10,4.2\n"
    assert not read(naive).zoned and read_logger(naive.encode(), "x", zone=LONDON).at.tolist() == [
        utc("2026-05-04 02:10")
    ]
    got = read("time,temp\n2026-05-04T03:10+02:00,4.2\n2026-05-04 03:20,-0.4\n")
    assert got.at.tolist() == AT and not got.zoned
    got = read("Time (UTC),temp\n2026-05-04 01:10,4.2\n2026-05-04T03:20:00+02:00,-0.4\n")
    assert got.at.tolist() == AT and got.zoned and any("in UTC" in n for n in got.notes)
    assert read('"Time, GMT+02:00",temp\n2026-05-04 03:10,4.2\n').at.tolist() == AT[:1]
    assert read("Time UTC-3:30,temp\n2026-05-04 03:10,4.2\n").at.tolist() == [utc("2026-05-04 06:40")]


def test_the_end_of_a_day_and_fractions() -> None:
    got = read("time,temp\n2026-05-03 24:00,4\n2026-05-04 00:00:00.999,5\n")
    assert got.at.tolist() == [utc("2026-05-03 22:00")] * 2  # both values stay, the importer decides


def test_clock_changes_and_jumps_reach_the_notes() -> None:
    text = "time,temp\n2026-10-25 01:30,4\n2026-10-25 02:30,4\n2026-10-25 02:30,4\n2026-10-25 03:30,4\n2026-10-25 00:30,4\n"
    got = read(text)
    assert got.at.tolist() == [
        utc(f"2026-10-{t}") for t in ("24 23:30", "25 00:30", "25 01:30", "25 02:30", "24 22:30")
    ]
    assert got.notes == (
        "the hour that occurs twice on 2026-10-25 was kept in order",
        "the clock jumped back 4 h at line 6",
    )
    got = read("time,temp\n2026-03-29 01:30,4\n2026-03-29 02:30,nan\n2026-03-29 02:40,4\n2026-03-29 03:30,5\n")
    assert (
        [r.line for r in got.rejected] == [3, 4] and got.line.tolist() == [2, 5] and got.milli.tolist() == [4000, 5000]
    )


def test_a_whole_year_without_a_zone_is_placed_to_the_second() -> None:
    # derived: every half hour of 2026 in UTC, written as Amsterdam's clocks showed it, comes back
    whole = range(utc("2026-01-01 00:00"), utc("2027-01-01 00:00"), 1800)
    faces = [datetime.fromtimestamp(t, UTC).astimezone(AMSTERDAM) for t in whole]
    got = read("Datum;Zeit;T\n" + "".join(f"{f:%d.%m.%Y;%H:%M};4,5\n" for f in faces))
    assert got.at.tolist() == list(whole) and got.rejected == ()


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_with_and_without_its_mark(encoding: str) -> None:
    got = read_logger("time\tTemp °F\r\n2026-05-04 03:10\t35,6\r\n".encode(encoding), "log.csv", zone=AMSTERDAM)
    assert got.milli.tolist() == [2000] and got.notes == ("read as UTF-16",)


def test_windows_1252_is_said() -> None:
    got = read_logger("Zeit;Temp °F\n2026-05-04 03:10;35,6\n".encode("cp1252"), "log.csv", zone=AMSTERDAM)
    assert got.milli.tolist() == [2000] and "1252" in got.notes[0]


def test_the_only_number_is_the_temperature_whatever_it_is_called() -> None:
    assert read("when;Box 2;\n2026-05-04 03:10;4,2;\n2026-05-04 03:20;-0,4;\n").milli.tolist() == MILLI
    with pytest.raises(Refused):
        read("when;Box 2;Box 3\n2026-05-04 03:10;4,2;5\n")
    with pytest.raises(Refused):
        read("when;sold;to\n2026-05-04 03:10;4;P-104\n")


def test_a_probe_that_was_unplugged_at_first() -> None:
    few = "time,temp,hum\n" + "2026-05-04 03:00,--,--\n" * 9 + "2026-05-04 03:10,4.2,50\n2026-05-04 03:20,-0.4,50\n"
    assert read(few).milli.tolist() == MILLI and len(read(few).rejected) == 9
    rows = "".join(f"2026-05-04 {h:02}:{m:02},---\n" for h in range(20) for m in range(60))
    got = read("time,temp\n" + rows + "2026-05-04 23:10,4.2\n")
    assert got.milli.tolist() == [4200] and len(got.rejected) == 1200
