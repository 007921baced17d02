"""Where nobody knows, nothing is called fine: allowances of unknown length, first checks, late data in another fridge."""

from collections.abc import Callable
from typing import Any

import pytest
from conftest import PRACTICE, Line

ALLOWED = PRACTICE.replace(
    'source = "label"',
    'source = "label"\nallowance = { up_to = 8.0, minutes = 59, source = "letter of the maker" }',
)


@pytest.fixture
def allowed(line: Callable[..., Line]) -> Line:
    return line(ALLOWED)


def received(line: Line, at: str, into: str = "Cold one", n: int = 4) -> None:
    goods = ("stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", n, "--into", into)
    line.ok(*goods, "--at", at)


def logged(line: Line, fridge: str, rows: str, **kw: Any) -> Any:
    """Rows like ``06:00 4.0`` of 2026-03-02, in UTC."""
    text = "".join(f"2026-03-02T{r.split()[0]}:00Z,{r.split()[1]}\n" for r in rows.split(","))
    line.file("log.csv", "timestamp,celsius\n" + text)
    return line.ask("fridge", "import", "log.csv", "--fridge", fridge, **kw)


def states(line: Line) -> set[str]:
    return {row["state"] for row in line.ask("stock", "list")["lots"]}


def excursions(line: Line, n: int = 0) -> list[Any]:
    found: list[Any] = line.ask("fridge", "check")["fridges"][n]["excursions"]
    return found


ONE = "05:00 4.0,05:30 7.0,06:00 4.0"  # derived: at most 60 minutes above 6
TWO = "07:00 4.0,07:30 7.0,08:00 4.0"


@pytest.mark.parametrize("first", ["Cold one", "Cold two"])
def test_an_allowance_adds_over_fridges_in_whatever_order_their_logs_come(allowed: Line, first: str) -> None:
    # derived: 20 minutes at most in each fridge are within 39, 40 together are not
    short = {"Cold one": "05:20 4.0,05:30 7.0,05:40 4.0", "Cold two": "07:20 4.0,07:30 7.0,07:40 4.0"}
    allowed.file("p2.toml", ALLOWED.replace("minutes = 59", "minutes = 39"))
    allowed.ok("practice", "load", "p2.toml", "--yes", "--at", "2026-03-01T08:00")
    received(allowed, "2026-03-02T05:00")
    allowed.ok("stock", "move", "--all", "--from", "Cold one", "--to", "Cold two", "--at", "2026-03-02T07:00")
    second = "Cold two" if first == "Cold one" else "Cold one"
    logged(allowed, first, short[first])
    assert states(allowed) == {"usable"}
    said = logged(allowed, second, short[second])
    assert states(allowed) == {"quarantined"}
    assert any("quarantine" in w for w in said["warnings"])


def test_an_allowance_never_covers_what_nobody_knows_the_length_of(allowed: Line) -> None:
    received(allowed, "2026-03-02T06:00")
    allowed.ok("fridge", "log", "7", "--fridge", "Cold one", "--at", "2026-03-02T08:00")  # the first check ever
    assert states(allowed) == {"quarantined"}


def test_an_allowance_that_time_alone_uses_up_holds_before_the_next_record(allowed: Line) -> None:
    received(allowed, "2026-03-02T06:00")
    logged(allowed, "Cold one", "07:40 4.0,07:50 7.0", now="2026-03-02T08:00:00+00:00")
    assert states(allowed) == {"usable"}
    late = "2026-03-02T09:30:00+00:00"
    out = allowed("stock", "use", "SWAB", "1", "--why", "training", now=late)
    assert "quarantine" in out.out
    assert {r["state"] for r in allowed.ask("stock", "list", now=late)["lots"] if r["product"] == "KIT"} == {
        "quarantined"
    }


def test_what_a_logger_and_a_check_both_saw_uses_an_allowance_once(allowed: Line) -> None:
    # derived: the logger saw at most 30 minutes, the check at most 50: 50 are within 59, 80 would not be
    received(allowed, "2026-03-02T06:00")
    allowed.ok("fridge", "log", "4", "--min", "3", "--max", "5", "--fridge", "Cold one", "--at", "2026-03-02T08:10")
    logged(allowed, "Cold one", "07:20 4.0,07:30 4.0,07:40 6.5,07:50 4.0,08:00 4.0")
    allowed.ok("fridge", "log", "4", "--min", "3", "--max", "6.5", "--fridge", "Cold one", "--at", "2026-03-02T09:00")
    assert len([e for e in excursions(allowed) if e["lots"]]) == 2
    assert states(allowed) == {"usable"}


def test_the_first_check_ever_may_tell_of_any_time_since_the_first_stock(cli: Line) -> None:
    received(cli, "2026-03-02T06:00")
    cli.ok("stock", "move", "--all", "--from", "Cold one", "--to", "Cold two", "--at", "2026-03-02T08:30")
    cli.ok("fridge", "log", "4", "--min", "3", "--max", "15", "--fridge", "Cold one", "--at", "2026-03-02T08:35")
    assert states(cli) == {"quarantined"}
    (found,) = [e for e in excursions(cli) if e["lots"]]
    assert found["start"] == "2026-03-02T05:00:00Z"  # 06:00 in Amsterdam: when the kit came
    assert found["minutes_at_most"] is None


def test_a_decision_about_no_piece_is_none(cli: Line) -> None:
    received(cli, "2026-03-02T06:00")
    logged(cli, "Cold one", "06:00 4.0,06:10 7.0,06:20 4.0")
    (number,) = [e["id"] for e in excursions(cli) if e["lots"]]
    release = ("fridge", "decide", number, "--release", "--why", "asked", "--by", "AB")
    for more in (("--at", "2026-03-02T06:30"), ("--except", "KIT/A1")):
        said = cli(*release, *more)
        assert said.code == 3
        assert "no piece" in said.err
    assert states(cli) == {"quarantined"}
    assert cli(*release).code in (0, 1)
    assert states(cli) == {"usable"}


def test_undoing_an_import_leaves_the_decision_to_be_seen(cli: Line) -> None:
    received(cli, "2026-03-02T06:00")
    brought = logged(cli, "Cold one", "06:00 4.0,06:10 7.0,06:20 4.0")
    (number,) = [e["id"] for e in excursions(cli) if e["lots"]]
    cli.ok("fridge", "decide", number, "--release", "--why", "asked", "--by", "AB")
    cli.ok("undo", brought["entry"], "--why", "another fridge's file")
    assert [(e["id"], e["state"], e["supported"]) for e in excursions(cli)] == [(number, "decided", False)]
    assert states(cli) == {"usable"}


def test_an_empty_fridge_that_is_off_has_no_excursion(cli: Line) -> None:
    cli.ok("fridge", "off", "Cold one", "--why", "defrosting", "--at", "2026-03-02T06:30")
    rows = "05:00 4.0,05:40 5.0,06:00 12.0,06:30 12.0,07:00 9.0,07:30 4.0"
    logged(cli, "Cold one", rows)
    cli.ok("fridge", "on", "Cold one", "--at", "2026-03-02T08:00")
    assert excursions(cli) == []
    # Put in before it was cold again, stock was exposed.
    received(cli, "2026-03-02T08:10")
    (found,) = [e for e in excursions(cli) if e["lots"]]
    assert found["lots"] == [{"product": "KIT", "lot": "A1", "quantity": 4}]
    assert states(cli) == {"quarantined"}


def test_a_silence_is_a_gap_in_any_series_but_held_only_where_a_logger_is_expected(cli: Line) -> None:
    # "Cold two" has no logger_minutes: seven hours of silence in its file are told of, and nothing waits for them.
    received(cli, "2026-03-02T05:00", "Cold two")
    said = logged(cli, "Cold two", "05:00 4.0,06:00 4.0,13:00 4.0", now="2026-03-02T20:00:00+00:00")
    gap = {"start": "2026-03-02T06:00:00Z", "end": "2026-03-02T13:00:00Z", "minutes": 420}
    assert (said["gaps"], said["excursions"]) == ([gap], [])
    seen = cli.ask("fridge", "check", "--fridge", "Cold two", now="2026-03-02T20:00:00+00:00")["fridges"][0]
    assert (seen["gaps"], seen["excursions"]) == ([gap], [])
    assert states(cli) == {"usable"}
    # derived: stock from 04:00 UTC on; readings from 05:00 to 06:00 watch one hour of the ten to 14:00
    traced = cli.ask("trace", "lot", "KIT", "A1", "--as-of", "2026-03-02T15:00", now="2026-03-02T20:00:00+00:00")
    assert traced["exposure"]["minutes_unmonitored"] == 540


def test_a_fridge_that_was_off_before_stock_came_is_told_of(cli: Line) -> None:
    # Stock came at 06:00; only then somebody writes in that the fridge has been off since 05:30 (in UTC an hour less).
    received(cli, "2026-03-02T06:00")
    logged(cli, "Cold one", "04:00 4.0,04:10 4.0")
    said = cli("fridge", "off", "Cold one", "--why", "defrosting", "--at", "2026-03-02T05:30", "--json")
    assert said.code == 1
    assert said.json["warnings"] == ["Cold one is switched off and by now holds 4 pieces: nobody checks it"]
    # Its logger is silent since 04:10 UTC: with stock inside that waits for a person, off or not.
    seen = cli.ask("fridge", "check", "--fridge", "Cold one", now="2026-03-02T06:30:00+00:00")
    assert (seen["attention"], seen["fridges"][0]["gaps"][0]["end"]) == (1, None)
    cli.ok("stock", "move", "--all", "--from", "Cold one", "--to", "Cold two", now="2026-03-02T09:00:00+00:00")
    seen = cli.ask("fridge", "check", "--fridge", "Cold one", now="2026-03-02T09:01:00+00:00")
    assert seen["attention"] == 0
