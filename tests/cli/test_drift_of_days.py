"""Drift through the command line: daily means as readings, the published chart, and days on which a fridge was off."""

from collections.abc import Callable
from datetime import date, timedelta
from math import sqrt

import pytest
from conftest import PRACTICE, Line

# published: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (figures from memory of that page): target 50,
# s 2.0539, lambda 0.3, limits 52.5884 and 47.4115; the last two averages are 51.94 and 51.99, both within the limits.
DATA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
# derived: 14 days each d above and below 50 have the mean 50 and s = d sqrt(28/27), here 2.0539.
APART = 2.0539 / sqrt(28 / 27)
FIRST = date(2026, 1, 6)
HOT = PRACTICE.replace("low = 2.0\nhigh = 8.0\nlogger_minutes = 10", "low = 20.0\nhigh = 59.0\nlogger_minutes = 10")


def checked(cli: Line, means: list[float], *, days: int | None = None) -> dict:
    rows = "".join(f"{FIRST + timedelta(days=n)}T12:00:00Z,{mean:.3f}\n" for n, mean in enumerate(means))
    cli.file("means.csv", "timestamp,celsius\n" + rows)
    now = f"{FIRST + timedelta(days=len(means))}T09:00:00+00:00"
    cli.ok("fridge", "import", "means.csv", "--fridge", "Cold one", now=now)
    return cli.ask("fridge", "check", "--fridge", "Cold one", now=now)["fridges"][0]


def test_the_published_chart_as_readings(line: Callable[..., Line]) -> None:
    cli = line(HOT)
    before = [50 + (APART if n % 2 else -APART) for n in range(28)]
    assert checked(cli, before + DATA)["drift"] is None
    # derived: 0.3 x 54.5 + 0.7 x 51.988 = 52.742, above 52.588
    found = checked(cli, [*before, *DATA, 54.5])["drift"]
    assert found == {"direction": "warm", "since": "2026-02-23", "ewma": pytest.approx(52.742, abs=2e-3),
                     "limit": pytest.approx(52.588, abs=2e-3)}  # fmt: skip


def test_days_on_which_a_fridge_was_off_are_no_drift(cli: Line) -> None:
    # derived: 32 days at 5 +- 0.1; then two days at room temperature, switched off; the chart would be far above.
    means = [5 + (0.1 if n % 2 else -0.1) for n in range(32)]
    off, on = FIRST + timedelta(days=32), FIRST + timedelta(days=34)
    cli.ok("fridge", "off", "Cold one", "--why", "defrosting", "--at", f"{off}T08:00", now=f"{on}T09:00:00+00:00")
    cli.ok("fridge", "on", "Cold one", "--at", f"{on}T08:00", now=f"{on}T09:00:00+00:00")
    assert checked(cli, [*means, 20.0, 20.0, 5.1])["drift"] is None
    # Taken back: it was not off, and that is a drift.
    history = cli.ask("records", "history", now="2026-03-01T09:00:00+00:00")["entries"]
    for entry in [e["entry"] for e in history if e["kind"] == "switch"]:
        cli.ok("undo", entry, "--why", "slip", now="2026-03-01T09:00:00+00:00")
    found = cli.ask("fridge", "check", "--fridge", "Cold one", now="2026-02-10T09:00:00+00:00")["fridges"][0]
    assert found["drift"]["direction"] == "warm"
