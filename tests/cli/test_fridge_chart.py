"""fridge chart through the command line: on the screen, as JSON and as a picture, on real databases."""

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest
from conftest import PRACTICE, Line

SVG = "{http://www.w3.org/2000/svg}"


def readings(line: Line, start: str, end: str, *, minutes: int = 10, usual: float = 4.0, **odd: float) -> None:
    """A reading every so many minutes in [start, end) UTC; ``odd`` ones as t202603041200=9.5, in °C."""
    at, stop = (datetime.fromisoformat(t).replace(tzinfo=UTC) for t in (start, end))
    rows = []
    while at < stop:
        rows.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{odd.get(f't{at:%Y%m%d%H%M}', usual)}")
        at += timedelta(minutes=minutes)
    name = line.file("log.csv", "timestamp,celsius\n" + "\n".join(rows) + "\n")
    line.ok("fridge", "import", name, "--fridge", "Cold one", now="2026-12-01T09:00:00+00:00")


NOW = "2026-03-09T09:00:00+00:00"


def test_a_spike_of_ten_minutes_is_in_the_answer_and_on_the_screen(cli: Line) -> None:
    # derived: one reading of 9.5 °C in a week of 4 °C
    readings(cli, "2026-03-02", "2026-03-09T09:00", t202603041200=9.5)
    (f,) = cli.ask("fridge", "chart", "--fridge", "cold one", now=NOW)["fridges"]
    assert [p["max_celsius"] for p in f["points"]].count(9.5) == 1
    assert (f["low"], f["high"], f["excursions"]) == (2.0, 8.0, ["E-1"])
    assert len(f["points"]) <= 200
    said = cli("fridge", "chart", "--fridge", "cold one", now=NOW)
    assert said.code == 0
    assert "Cold one, 7 days to Mon 9 Mar 2026 10:00 (Europe/Amsterdam)" in said.out
    assert "━E-1" in said.out and "high 8.0 ┤" in said.out


def test_the_limits_of_what_stands_inside_are_named(cli: Line) -> None:
    cli.ok("stock", "receive", "KIT", "--lot", "A", "--expiry", "2026-12", "--quantity", 4, "--into", "Cold one")
    readings(cli, "2026-03-02T09:00", "2026-03-09T09:00")
    (f,) = cli.ask("fridge", "chart", "--fridge", "Cold one", now=NOW)["fridges"]
    assert {"side": "high", "celsius": 6.0, "products": ["KIT"]} in f["limits"]
    assert "keep 6.0 ┤─ ─" in cli("fridge", "chart", "--fridge", "Cold one", now=NOW).out


def test_a_silence_parts_the_points_and_one_that_lasts_is_open(cli: Line) -> None:
    readings(cli, "2026-03-03", "2026-03-04")
    readings(cli, "2026-03-05", "2026-03-06")
    (f,) = cli.ask("fridge", "chart", "--fridge", "Cold one", now=NOW)["fridges"]
    # derived: from 3 March 23:50 to 5 March 00:00 are 1450 minutes; the second silence still lasts
    assert [(g["start"], g["end"], g["minutes"]) for g in f["gaps"]] == [
        ("2026-03-03T23:50:00Z", "2026-03-05T00:00:00Z", 1450.0),
        ("2026-03-05T23:50:00Z", None, None),
    ]
    assert not [p for p in f["points"] if p["from"] <= "2026-03-03T23:50:00Z" and p["to"] >= "2026-03-05T00:00:00Z"]
    assert "silent" in cli("fridge", "chart", "--fridge", "Cold one", now=NOW).out


def test_readings_of_a_fridge_without_a_logger_are_not_joined_over_a_silence(line: Callable[..., Line]) -> None:
    cli = line(PRACTICE.replace("logger_minutes = 10\n", ""))
    readings(cli, "2026-03-03", "2026-03-04")
    readings(cli, "2026-03-05", "2026-03-06")
    (f,) = cli.ask("fridge", "chart", "--fridge", "Cold one", now=NOW)["fridges"]
    assert [g["minutes"] for g in f["gaps"]] == [1450.0]


def test_nothing_after_as_of_is_shown(cli: Line) -> None:
    readings(cli, "2026-03-02", "2026-03-09", t202603061200=9.5)
    cli.ok("fridge", "log", "4.4", "--fridge", "Cold one", "--at", "2026-03-06T14:00", now=NOW)
    answer = cli.ask("fridge", "chart", "--fridge", "Cold one", "--as-of", "2026-03-06T12:00", now=NOW)
    (f,) = answer["fridges"]
    assert answer["as_of"] == "2026-03-06T11:00:00Z" and answer["from"] == "2026-02-27T11:00:00Z"
    assert max(p["to"] for p in f["points"]) == "2026-03-06T11:00:00Z"
    assert (f["checks"], f["excursions"]) == ([], [])


def test_a_fridge_with_checks_only_and_one_with_nothing(cli: Line) -> None:
    cli.ok("fridge", "log", "-0.4", "--min", "-2", "--max", "5", "--fridge", "Cold two", "--note", "ice", now=NOW)
    answer = cli.ask("fridge", "chart", now=NOW)
    assert [(f["fridge"], len(f["points"]), len(f["checks"])) for f in answer["fridges"]] == [
        ("Cold one", 0, 0),
        ("Cold two", 0, 1),
    ]
    assert answer["fridges"][1]["checks"][0] == {
        "at": "2026-03-09T09:00:00Z", "celsius": -0.4, "min_celsius": -2.0, "max_celsius": 5.0, "by": "AB", "doubtful": False,
    }  # fmt: skip
    said = cli("fridge", "chart", now=NOW).out
    assert "Cold one" in said and "no reading and no check on record" in said
    assert 'stockroom fridge import FILE.csv --fridge "Cold one"' in said
    assert "◆" in said and "╎" in said and "-2.0 ┤" in said
    later = cli("fridge", "chart", "--fridge", "Cold two", "--days", 2, now="2026-03-19T10:00:00+00:00").out
    assert "the last one is of Mon 9 Mar 2026 10:00" in later and "--days 11" in later


@pytest.mark.parametrize("days", [0, 3661])
def test_days_that_nobody_means_are_refused(cli: Line, days: int) -> None:
    said = cli("fridge", "chart", "--days", days)
    assert (said.code, said.out) == (3, "")
    assert "give 1 to 3660" in said.err


def test_an_unknown_fridge_names_the_nearest(cli: Line) -> None:
    said = cli("fridge", "chart", "--fridge", "Cold on")
    assert said.code == 3 and 'did you mean "Cold one"' in said.err


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_what_is_piped_fits_its_encoding(cli: Line, encoding: str) -> None:
    readings(cli, "2026-03-02", "2026-03-09", t202603061200=9.5)
    code = "import sys; from stockroom.cli.main import main; sys.exit(main(sys.argv[1:]))"
    env = {**os.environ, "PYTHONIOENCODING": encoding, "COLUMNS": "80", "NO_COLOR": "1"}
    words = ["--db", cli.where, "fridge", "chart", "--fridge", "Cold one", "--as-of", "2026-03-09"]
    said = subprocess.run([sys.executable, "-c", code, *words], env=env, capture_output=True, check=True)
    shown = said.stdout.decode(encoding)
    chart = shown.rsplit("[", 1)[0]
    assert "high 8.0" in chart and "\x1b" not in chart and "?" not in chart
    assert chart.isascii() == (encoding != "utf-8")
    assert max(map(len, chart.splitlines())) <= 80


# --- the picture ---


def drawn(line: Line, *args: object) -> tuple[str, list[str]]:
    line.ok("fridge", "chart", "--out", "chart.svg", *args)
    text = (line.folder / "chart.svg").read_text(encoding="utf-8")
    return text, [t.text or "" for t in ElementTree.fromstring(text).iter(f"{SVG}text")]


def test_a_picture_is_well_formed_and_says_what_it_shows(cli: Line) -> None:
    cli.ok("stock", "receive", "KIT", "--lot", "A", "--expiry", "2026-12", "--quantity", 4, "--into", "Cold one")
    readings(cli, "2026-03-02T09:00", "2026-03-05")
    readings(cli, "2026-03-06", "2026-03-09", t202603061200=9.5)
    cli.ok(
        "fridge", "log", "4.4", "--min", "3", "--max", "5", "--fridge", "Cold two", "--at", "2026-03-06T14:00", now=NOW
    )
    cli.now = NOW
    text, words = drawn(cli)
    for wanted in (
        "Saltgrass Dental: Mon 2 Mar 2026 to Mon 9 Mar 2026, times in Europe/Amsterdam",
        "Cold one",
        "Cold two",
        "high 8.0 °C",
        "low 2.0 °C",
        "KIT high 6.0 °C",
        "Fri 6",
        "E-1",
        "silent: nobody knows how cold it was",
        "check by hand, with its min and max",
    ):
        assert wanted in words, (wanted, words)
    assert "<image" not in text and "<script" not in text
    assert text == drawn(cli)[0], "the same records make the same picture"


def test_names_with_markup_stay_text(line: Callable[..., Line]) -> None:
    name = "<script>alert(1)</script> [/x] $x^2$ & co"
    cli = line(PRACTICE.replace("Saltgrass Dental", name).replace('"Cold two"', '"$a_b$ <b>"'))
    _, words = drawn(cli)
    assert any(w.startswith(name) for w in words)
    assert "$a_b$ <b>" in words
    assert "no reading and no check in this time" in words


def test_a_year_of_minutes_is_a_small_picture(cli: Line) -> None:
    # a quarter of a year of one-minute readings here, for the suite's sake: steps do not grow with the readings
    readings(cli, "2026-01-01", "2026-03-09", minutes=1, t202602011200=9.5)
    text, words = drawn(cli, "--days", 90, "--fridge", "Cold one", "--as-of", "2026-03-09")
    assert len(text) < 500_000 and "E-1" in words
    answer = cli.ask("fridge", "chart", "--days", 90, "--fridge", "Cold one", "--as-of", "2026-03-09", "--out", "x.svg")
    points = answer["fridges"][0]["points"]
    assert len(points) <= 1200 and max(p["max_celsius"] for p in points) == 9.5


def test_a_picture_that_cannot_be_written_is_refused(cli: Line) -> None:
    said = cli("fridge", "chart", "--out", ".")
    assert said.code == 3 and said.out == ""


def test_sites_of_a_group_are_drawn_apart(line: Callable[..., Line]) -> None:
    two = PRACTICE.replace(
        "[[fridge]]\n",
        '[[site]]\nname = "North"\nhours = { mon = ["08:00-18:00"] }\n\n[[site]]\nname = "South"\nhours = { mon = ["08:00-18:00"] }\n\n[[fridge]]\nsite = "North"\n',
        1,
    )
    two = two.replace('[[fridge]]\nname = "Cold two"', '[[fridge]]\nsite = "South"\nname = "Cold two"')
    two = two.replace('name = "Cupboard"', 'name = "Cupboard"\nsite = "North"')
    cli = line(two)
    assert [f["fridge"] for f in cli.ask("fridge", "chart")["fridges"]] == ["Cold one", "Cold two"]
    assert [f["fridge"] for f in cli.ask("--site", "South", "fridge", "chart")["fridges"]] == ["Cold two"]
    assert cli("--site", "South", "fridge", "chart", "--fridge", "Cold one").code == 3
