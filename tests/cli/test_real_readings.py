"""A year of real sea-surface temperatures, imported as if a fridge had logged them.

Source: sea_surface_temperature of the package bokeh-sampledata (half-hourly, UTC, °C), read as a 2 to 8 °C log. The
figures were computed with pandas from the file (19,226 rows, one stamp doubled, gaps of 1 h and 12 h, 10,700 readings
above 8 °C), and are computed here once more with nothing but the csv module.
"""

import csv
import gzip
import io
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest
from conftest import PRACTICE, Line


@pytest.fixture(scope="session")
def sea(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, str]]:
    """(stamp, °C) rows as they stand in the data package, which is fetched for its data file only."""
    folder = tmp_path_factory.mktemp("sea")
    subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "install",
            "-q",
            "--disable-pip-version-check",
            "--no-deps",
            "--target",
            str(folder),
            "bokeh-sampledata",
        ],
        check=True,
    )
    (path,) = Path(folder).rglob("sea_surface_temperature.csv*")
    data = path.read_bytes()
    text = gzip.decompress(data).decode() if path.suffix == ".gz" else data.decode()
    rows = list(csv.reader(io.StringIO(text)))
    return [(r[0], r[1]) for r in rows[1:]]


def test_counts_gaps_and_the_doubled_stamp(line: Callable[..., Line], sea: list[tuple[str, str]]) -> None:
    practice = PRACTICE.replace("logger_minutes = 10", "logger_minutes = 30\nmax_gap_minutes = 45")
    cli = line(practice, at="2016-01-04T08:00:00+00:00")
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["time", "temperature"])
    writer.writerows(sea)
    cli.file("sea.csv", out.getvalue())
    now = "2017-04-01T09:00:00+00:00"
    said = cli.ask("fridge", "import", "sea.csv", "--fridge", "Cold one", "--zone", "UTC", now=now)

    stamps = [
        datetime.fromisoformat(t).replace(tzinfo=UTC).timestamp()
        if "+" not in t
        else datetime.fromisoformat(t).timestamp()
        for t, _ in sea
    ]
    distinct = sorted(set(stamps))
    assert len(sea) == 19_226
    assert (said["lines"], said["added"], said["rejected"]) == (19_226, len(distinct), [])
    assert said["added"] == 19_225
    stored = sqlite3.connect(cli.where).execute("SELECT count(*), sum(milli > 8000) FROM reading").fetchone()
    assert stored == (19_225, 10_700)
    assert said["already_there"] + len(said["conflicts"]) == 1
    steps = [(b - a) / 60 for a, b in pairwise(distinct)]
    assert sorted(g["minutes"] for g in said["gaps"]) == sorted(s for s in steps if s > 45) == [60.0, 720.0]

    above = sum(float(v) > 8 for t, v in dict(zip(stamps, (v for _, v in sea), strict=True)).items() for t in [t])
    assert above == 10_700
    again = cli.ask("fridge", "import", "sea.csv", "--fridge", "Cold one", "--zone", "UTC", now=now)
    assert again["added"] == 0
    assert again["already_there"] + len(again["conflicts"]) == 19_226

    found = [
        e
        for e in cli.ask("fridge", "check", "--fridge", "Cold one", now=now)["fridges"][0]["excursions"]
        if e["source"] == "logger"
    ]
    # Runs above 8 °C, counted by hand: those less than an hour apart, crossing to crossing, are one excursion.
    assert {e["direction"] for e in found} == {"warm"}
    assert max(e["extreme_celsius"] for e in found) == max(float(v) for _, v in sea)
    assert found[0]["start"] <= "2016-04-23T09:30:00Z"
    assert 1 <= len(found) <= 23
