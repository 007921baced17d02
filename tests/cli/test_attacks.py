"""Found by trying to break it: races, backdated entries, files that strand stock, sites, odd terminals."""

import os
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from conftest import PRACTICE, Line

GROUP = PRACTICE.replace(
    '[[fridge]]\nname = "Cold one"',
    '[[site]]\nname = "North"\n\n[[site]]\nname = "South"\n\n[[fridge]]\nname = "Cold one"',
)
GROUP = GROUP.replace('name = "Cold one"\n', 'name = "Cold one"\nsite = "North"\n').replace(
    'name = "Cold two"\n', 'name = "Cold two"\nsite = "South"\n'
)
GROUP = GROUP.replace('name = "Cupboard"\n', 'name = "Cupboard"\nsite = "North"\n')


def stock(line: Line, n: int = 4, lot: str = "A1", into: str = "Cold one", at: str = "2026-03-02T08:00") -> None:
    line.ok(
        "stock", "receive", "KIT", "--lot", lot, "--expiry", "2026-12-31", "--quantity", n, "--into", into, "--at", at
    )


def out_and_in(line: Line) -> tuple[int, int]:
    rows = line.ask("stock", "list", now="2027-01-01T00:00:00+00:00")["lots"]
    return sum(r["quantity"] for r in rows if r["place"] == "out"), sum(
        r["quantity"] for r in rows if r["place"] != "out"
    )


def test_many_at_once_never_take_one_kit_twice(where: str, line: Callable[..., Line]) -> None:
    made = line(where=where)
    made.ok("stock", "receive", "KIT", "--lot", "A1", "--expiry", "2099-12-31", "--quantity", 3, "--into", "Cold one")
    env = {k: v for k, v in os.environ.items() if not k.startswith("STOCKROOM_")} | {
        "STOCKROOM_DB": where,
        "STOCKROOM_BY": "AB",
    }
    code = "import sys; from stockroom.cli.main import main; sys.exit(main(sys.argv[1:]))"

    def pull(_: int) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", code, "warmup", "pull", "--product", "KIT", "--lot", "A1"],
            env=env,
            capture_output=True,
            text=True,
        )

    with ThreadPoolExecutor(6) as pool:
        said = list(pool.map(pull, range(8)))
    assert sorted(s.returncode for s in said) == [0, 0, 0, 3, 3, 3, 3, 3], [s.stderr for s in said]
    assert not any("locked" in s.stderr or "Traceback" in s.stderr for s in said)
    assert out_and_in(Line(where, made.folder))[0] == 3
    assert made("records", "verify").code == 0


def test_a_backdated_pull_of_a_kit_that_went_later_is_refused(both: Line) -> None:
    stock(both, n=1)
    both.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T09:30")
    said = both("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T09:00")
    assert said.code == 3
    assert "stock count" in said.err
    assert out_and_in(both) == (1, 0)
    # What was used is recorded, and named.
    said = both("stock", "use", "KIT", "1", "--why", "dropped", "--at", "2026-03-02T08:30", "--json")
    assert said.code == 1
    assert both.ask("trace", "lot", "KIT", "A1")["unaccounted"] == 1


def test_taking_back_a_practice_file_draws_its_consequences(cli: Line) -> None:
    stock(cli)
    cli.file("wide.toml", PRACTICE.replace("high = 6.0", "high = 9.5").replace("high = 8.0", "high = 9.5"))
    cli.ok("practice", "load", "wide.toml", "--yes", "--at", "2026-03-02T08:05")
    cli.file(
        "log.csv",
        "timestamp,celsius\n2026-03-02T07:10:00Z,4\n2026-03-02T07:20:00Z,8.5\n2026-03-02T07:30:00Z,8.5\n2026-03-02T07:40:00Z,4\n",
    )
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    assert [r["state"] for r in cli.ask("stock", "list")["lots"]] == ["usable"]
    cli.ok("undo", "R-3", "--why", "typo")
    assert [r["state"] for r in cli.ask("stock", "list")["lots"]] == ["quarantined"]


def test_a_practice_file_that_strands_stock_says_so_and_it_can_still_be_traced(cli: Line) -> None:
    stock(cli, n=3, into="Cold two")
    cli.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1")
    smaller = PRACTICE.replace('[[fridge]]\nname = "Cold two"\nlow = 2.0\nhigh = 8.0\ncapacity = 40\n', "").replace(
        'code = "white"', 'code = "other"'
    )
    cli.file("smaller.toml", smaller)
    said = cli("practice", "load", "smaller.toml", "--yes", "--json")
    assert said.code == 1
    assert any("Cold two" in w for w in said.json["warnings"])
    assert any("B-1 (white)" in w for w in said.json["warnings"])
    assert cli.ask("trace", "lot", "KIT", "A1")["on_hand"] == 3
    cli.ok("stock", "move", "--all", "--from", "Cold two", "--to", "Cold one")


def test_a_backdated_change_of_a_booking_stands(both: Line) -> None:
    both.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1", "--at", "2026-02-27T09:00")
    both.ok("booking", "move", "B-1", "--start", "2026-03-06T10:00", "--at", "2026-03-02T09:30")
    both.ok("booking", "cancel", "B-1", "--why", "phoned", "--at", "2026-03-02T09:00")
    assert [b["state"] for b in both.ask("booking", "list")["bookings"]] == ["cancelled"]


def test_a_reading_taken_back_leaves_a_hold_that_release_and_discard_can_close(cli: Line) -> None:
    stock(cli)
    cli.ok("fridge", "log", "41", "--fridge", "Cold one")
    cli.ok("undo", "--why", "slip")
    cli.ok("stock", "discard", "KIT", "A1", "--quantity", 1, "--why", "to be sure", "--by", "AB")
    cli.ok("stock", "release", "KIT", "A1", "--why", "slip", "--by", "AB")
    assert [(r["quantity"], r["state"]) for r in cli.ask("stock", "list")["lots"]] == [(3, "usable")]


def test_a_booking_with_a_kit_out_is_not_undone_from_under_it(cli: Line) -> None:
    stock(cli)
    cli.ok("booking", "add", "white", "--start", "2026-03-03T11:00", "--patient", "P-1")
    added = cli.ask("records", "history")["entries"][-1]["entry"]
    cli.ok("warmup", "pull", "B-1")
    assert cli("undo", added, "--why", "x").code == 3


def test_a_named_kit_is_used_or_refused_never_left_aside(cli: Line) -> None:
    stock(cli)
    cli.ok("booking", "add", "white", "--start", "2026-03-03T11:00", "--patient", "P-1")
    for _ in range(2):
        cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1")
    evening = "2026-03-03T18:00:00+00:00"
    assert cli("booking", "done", "B-1", "--lot", "CREAM=X", now=evening).code == 3
    assert cli("booking", "done", "B-1", "--pull", "P-9", now=evening).code == 3
    used = cli.ask("booking", "done", "B-1", "--pull", "P-1", "--pull", "P-2", now=evening)["used"]
    assert [u["pull"] for u in used if u["product"] == "KIT"] == ["P-1", "P-2"]


def test_a_group_of_sites(line: Callable[..., Line]) -> None:
    made = line(GROUP)
    stock(made, lot="A1", into="Cold one")
    stock(made, lot="A1", into="Cold two")
    for args in (
        ("stock", "discard", "KIT", "A1", "--quantity", 1, "--why", "x", "--by", "AB"),
        ("stock", "quarantine", "KIT", "A1", "--why", "x"),
    ):
        said = made(*args)
        assert said.code == 3 and "--site" in said.err
        made.ok(*args, "--site", "South")
    rows = made.ask("stock", "list")["lots"]
    assert [(r["place"], r["quantity"], r["state"]) for r in rows] == [
        ("Cold one", 4, "usable"),
        ("Cold two", 3, "quarantined"),
    ]
    assert [r["place"] for r in made.ask("stock", "list", "--site", "North")["lots"]] == ["Cold one"]
    for args in (
        ("stock", "list"),
        ("warmup", "check"),
        ("booking", "list"),
        ("fridge", "log", "4", "--fridge", "Cold one"),
    ):
        assert made(*args, "--site", "Nowhere").code == 3
    assert made("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1").code == 3
    said = made.ask("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1", "--site", "South")
    assert said["warmup"][0]["state"] == "short"  # South's are in quarantine, North's are not South's
    assert made.ask("warmup", "check", "--site", "North")["bookings"] == []
    made.ok("fridge", "explain", "2026-03-02", "--fridge", "Cold two", "--why", "x")


def test_odd_terminals(cli: Line) -> None:
    stock(cli)
    code = "import sys; from stockroom.cli.main import run; run()"
    env = {k: v for k, v in os.environ.items() if not k.startswith("STOCKROOM_")} | {
        "STOCKROOM_DB": cli.where,
        "STOCKROOM_BY": "AB",
    }

    def run(*args: str, **more: object) -> subprocess.CompletedProcess[bytes]:
        return subprocess.run(
            [sys.executable, "-c", code, *args], env=env | more.pop("env", {}), capture_output=True, **more
        )  # type: ignore[call-overload]

    said = run("fridge", "log", "9", "--fridge", "Cold one", env={"LC_ALL": "C", "PYTHONIOENCODING": "ascii"})
    assert said.returncode == 1, said.stderr
    said = run("fridge", "check", "--json", env={"LC_ALL": "C", "PYTHONIOENCODING": "ascii"})
    assert said.returncode == 1
    narrow = run("stock", "list", env={"COLUMNS": "80", "NO_COLOR": "1"}).stdout.decode()
    assert "DO NOT USE" in narrow
    assert max(len(x) for x in narrow.splitlines() if not x.startswith("[")) <= 80
    full = subprocess.run(
        f'"{sys.executable}" -c "{code}" stock use KIT 1 --why spilled > /dev/full',
        shell=True,
        env=env,
        capture_output=True,
        text=True,
    )
    assert full.returncode == 70
    assert "what was recorded stands" in full.stderr
    closed = subprocess.run(
        f'"{sys.executable}" -c "{code}" stock use KIT 1 --why spilled <&-',
        shell=True,
        env=env,
        capture_output=True,
        text=True,
    )
    assert closed.returncode in (0, 1), closed.stderr


def test_a_very_long_lot_does_not_push_the_state_off_the_screen(cli: Line) -> None:
    stock(cli, lot="L" * 40)
    cli.ok("stock", "quarantine", "KIT", "L" * 40, "--why", "torn")
    assert "DO NOT USE" in cli("stock", "list").out
    assert "\x1b" not in cli("stock", "quarantine", "KIT", "L" * 40, "--why", "a\x1b[31mred").out
    assert "\x1b" not in cli("records", "history").out


def test_reasons_and_days_that_nobody_can_mean(cli: Line) -> None:
    stock(cli)
    for args in (
        ("stock", "quarantine", "KIT", "A1", "--why", ""),
        ("stock", "move", "--all", "--from", "Cold one", "--to", ""),
        ("booking", "list", "--days", "9999999"),
        ("warmup", "check", "--days", "9999999"),
        ("fridge", "import", "x.csv", "--fridge", "Cold one", "--zone", "Mars/Phobos"),
    ):
        said = cli(*args)
        assert said.code == 3, (args, said)
        assert "Traceback" not in said.err


@pytest.mark.sqlite_file
def test_what_an_interrupted_init_left_is_no_obstacle(line: Callable[..., Line], tmp_path: Path) -> None:
    (tmp_path / "practice.db").write_bytes(b"")
    assert line().ask("records", "verify")["faults"] == []


def test_an_opening_file_twice_is_said_and_a_lot_with_a_minus_stays_as_typed(cli: Line) -> None:
    cli.file("open.csv", "product,lot,expiry,quantity,place\nKIT,-12,2026-12-31,3,Cold one\n")
    assert cli("stock", "opening", "open.csv", "--json").json["warnings"] == []
    said = cli("stock", "opening", "open.csv", "--json")
    assert said.code == 1 and any("counts twice" in w for w in said.json["warnings"])
    cli.ok("undo", "--why", "repeated")
    cli.ok("stock", "receive", "KIT", "--lot", "-12", "--expiry", "2026-12-31", "--quantity", 1, "--into", "Cold one")
    assert [(r["lot"], r["quantity"]) for r in cli.ask("stock", "list")["lots"]] == [("-12", 4)]
    assert cli.ask("fridge", "log", "-0.4", "--fridge", "Cold two")["celsius"] == -0.4


def test_a_kit_goes_back_into_a_fridge_only_and_numbers_are_not_taken_over(cli: Line) -> None:
    stock(cli)
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1")
    assert cli("warmup", "back", "P-1", "--into", "Cupboard").code == 3
    cli.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1")
    cli.file("b.csv", "id,procedure,start,patient\nB-1,white,2026-03-06T10:00,P-2\n77,white,2026-03-09T10:00,P-3\n")
    cli.ok("booking", "import", "b.csv")
    assert cli("booking", "link", "B-1", " 77").code == 3
    cli.ok("booking", "cancel", "B-1", "--why", "rang")
    found = [(b["booking"], b["state"]) for b in cli.ask("booking", "list")["bookings"]]
    assert found == [("B-1", "cancelled"), ("B-2", "booked"), ("B-3", "booked")]


def test_the_usual_cautions_stand_where_somebody_acts(cli: Line) -> None:
    stock(cli)
    cli.ok("booking", "add", "white", "--start", "2026-03-04T10:00", "--patient", "P-1")
    answered, label, own = "has answered", "Follow the label", "Do not use if the seal is broken."
    cli.file("log.csv", "timestamp,celsius\n2026-03-02T07:10:00Z,4\n2026-03-02T07:20:00Z,9\n2026-03-02T07:30:00Z,4\n")
    said = [
        cli("warmup", "list", "--day", "2026-03-03").out,
        cli("warmup", "pull", "B-1").out,
        cli("stock", "quarantine", "KIT", "A1", "--why", "torn").out,
        cli("fridge", "import", "log.csv", "--fridge", "Cold one").out,
        cli("fridge", "check").out,
        cli("stock", "release", "KIT", "A1", "--why", "x", "--by", "AB").out,
    ]
    for screen in said:
        flat = " ".join(screen.split())
        assert answered in flat and label in flat and own in flat, screen
