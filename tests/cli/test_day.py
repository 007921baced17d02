"""The day sheet by role, the demo, the practice file in use, traces."""

import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import PRACTICE, Line


def slugs(line: Line, role: str, **more: str) -> list[str]:
    args = [x for k, v in more.items() for x in (f"--{k.replace('_', '-')}", v)]
    return [f["slug"] for f in line.ask("today", "--for", role, *args)[role]]


def test_a_day_from_empty_to_ordered(both: Line) -> None:
    # Saturday: nobody is in, nothing to do, exit 0.
    assert both("today", now="2026-02-28T10:00:00+00:00").code == 0
    morning = "2026-03-02T07:30:00+00:00"
    assert slugs(both, "assistant") == ["check-due", "check-due"]
    for name in ("Cold one", "Cold two"):
        both.ok("fridge", "log", "4.0", "--min", "3", "--max", "5", "--fridge", name, now=morning)
    assert slugs(both, "assistant") == []
    both.ok("stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 1, "--into", "Cold one")
    both.ok("booking", "add", "white", "--start", "2026-03-04T09:00", "--patient", "P-1")
    both.ok("booking", "add", "white", "--start", "2026-03-05T09:00", "--patient", "P-2")
    assert slugs(both, "scheduler") == ["short"]
    assert "order" in slugs(both, "manager")
    tuesday = "2026-03-03T07:30:00+00:00"
    assert slugs(both, "assistant", as_of="2026-03-03T08:30") == ["take-out", "check-due", "check-due"]
    both.ok("warmup", "pull", "B-1", "--at", "2026-03-03T08:35", now=tuesday.replace("07:30", "07:40"))
    assert slugs(both, "assistant", as_of="2026-03-03T08:40") == ["check-due", "check-due"]
    assert slugs(both, "assistant", as_of="2026-03-04T20:00") == ["to-record"]


def test_an_unknown_role_is_refused(cli: Line) -> None:
    assert cli("today", "--for", "dentist").code == 3


def test_the_practice_file_round_trips_and_a_later_one_holds_from_its_time(both: Line) -> None:
    assert both("practice", "show").out == PRACTICE.lstrip("\n") or both("practice", "show").out == PRACTICE
    both.file("shown.toml", both("practice", "show").out)
    said = both.ask("practice", "load", "shown.toml", "--yes", "--at", "2026-02-01T08:00")
    assert said["changes"] == []
    both.file("new.toml", PRACTICE.replace("warmup_hours = 24", "warmup_hours = 30"))
    assert both("practice", "load", "new.toml").code == 3  # nobody there to agree
    said = both.ask("practice", "load", "new.toml", "--yes", "--at", "2026-03-02T09:30")
    assert any("24" in c and "30" in c for c in said["changes"])
    both.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1", "--at", "2026-03-01T10:00")
    before = both.ask("warmup", "check", "--as-of", "2026-03-02T09:29")["bookings"][0]["take_out_by"]
    after = both.ask("warmup", "check", "--as-of", "2026-03-02T09:30")["bookings"][0]["take_out_by"]
    assert (before, after) == ("2026-03-04T09:00:00Z", "2026-03-04T03:00:00Z")


def test_a_typo_in_a_key_names_file_key_and_the_nearest(line: Callable[..., Line], tmp_path: Path) -> None:
    made = Line(str(tmp_path / "p.db"), tmp_path)
    made.file("typo.toml", PRACTICE.replace("warmup_hours", "warmup_hour"))
    said = made("init", "typo.toml")
    assert said.code == 3
    assert "typo.toml" in said.err and 'warmup_hour"' in said.err and "warmup_hours" in said.err
    assert not Path(made.where).exists()
    made.file("sheet.toml", b"PK\x03\x04 a spreadsheet")
    assert made("init", "sheet.toml").code == 3
    made.file("wide.toml", PRACTICE)
    said = made("init", "wide.toml", "--json")
    assert any("Cold one" in n and "KIT" in n for n in said.json["notes"])  # alarms at 8, the kit is kept to 6


def test_limits_are_judged_by_the_rules_of_their_time(cli: Line) -> None:
    cli.file(
        "log.csv",
        "timestamp,celsius\n" + "".join(f"2026-03-02T0{h}:{m:02}:00Z,7.0\n" for h in (5, 6) for m in range(0, 60, 10)),
    )
    cli.file("tight.toml", PRACTICE.replace("high = 8.0", "high = 6.0"))
    cli.ok("practice", "load", "tight.toml", "--yes", "--at", "2026-03-02T07:00")  # 06:00 UTC
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    (e,) = cli.ask("fridge", "check", "--fridge", "Cold one")["fridges"][0]["excursions"]
    # derived: out of range only from 06:00 UTC on, when the limit became 6
    assert (e["start"], e["limit_celsius"], e["minutes"]) == ("2026-03-02T06:00:00Z", 6.0, 50.0)


def test_trace_adds_up_over_places_and_tells_exposure(both: Line) -> None:
    both.file(
        "log.csv",
        "timestamp,celsius\n"
        + "".join(f"2026-03-02T0{h}:{m:02}:00Z,5.0\n" for h in (6, 7) for m in range(0, 60, 10))
        + "2026-03-02T08:00:00Z,5.0\n",
    )
    both.ok(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "A1",
        "--expiry",
        "2026-12-31",
        "--quantity",
        2,
        "--into",
        "Cold one",
        "--at",
        "2026-03-02T07:00",
        now="2026-03-02T12:00:00+00:00",
    )
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one", now="2026-03-02T12:00:00+00:00")
    both.ok(
        "stock",
        "move",
        "KIT",
        "A1",
        "--quantity",
        2,
        "--from",
        "Cold one",
        "--to",
        "Cold two",
        "--at",
        "2026-03-02T08:30",
        now="2026-03-02T12:00:00+00:00",
    )
    found = both.ask("trace", "lot", "KIT", "A1", "--as-of", "2026-03-02T10:30", now="2026-03-02T12:00:00+00:00")
    # derived: 06:00 to 07:30 UTC in the logged fridge at 5, then 120 minutes where nothing was measured
    assert found["exposure"] == {
        "minutes_warm": 0.0,
        "minutes_cold": 0.0,
        "minutes_unmonitored": 120.0,
        "min_celsius": 5.0,
        "max_celsius": 5.0,
        "mkt_celsius": 5.0,
    }
    assert [(s["place"], s["quantity"]) for s in found["stays"]] == [("Cold one", 2), ("Cold two", 2)]


def test_what_will_expire_and_what_of_it_will_be_left(cli: Line) -> None:
    cli.ok(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "SOON",
        "--expiry",
        "2026-03-20",
        "--quantity",
        12,
        "--into",
        "Cold one",
        "--at",
        "2026-03-02T08:00",
    )
    cli.ok(
        "stock",
        "receive",
        "KIT",
        "--lot",
        "LATE",
        "--expiry",
        "2027-03-20",
        "--quantity",
        4,
        "--into",
        "Cold one",
        "--at",
        "2026-03-02T08:00",
    )
    said = cli.ask("stock", "expiring", "--within", 30)
    # derived: two a week until the end of the 20th, 18.58 days: 5.3 used, 6.7 left of 12
    assert [(r["lot"], r["quantity"], r["unused"]) for r in said["lots"]] == [("SOON", 12, 7)]
    assert cli.ask("stock", "expiring", "--within", 10)["lots"] == []


def test_the_demo_walks_a_day_and_says_what_to_type_next(tmp_path: Path) -> None:
    env = {k: v for k, v in os.environ.items() if not k.startswith("STOCKROOM_")} | {"HOME": str(tmp_path)}
    code = "import sys; from stockroom.cli.main import main; sys.exit(main(sys.argv[1:]))"
    said = subprocess.run(
        [sys.executable, "-c", code, "demo", "here"],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        encoding="utf-8",
    )
    assert said.returncode == 0, said.stderr
    assert said.stderr == ""
    for word in (
        "today",
        "fridge log",
        "fridge import",
        "fridge check",
        "warmup check",
        "booking import visiting.ics",
        "warmup list --out",
        "warmup calendar --out",
        "warmup pull",
        "warmup labels --out",
        "booking done --by",
        "booking done P-66.7G952",
        "reorder list",
        "trace lot",
    ):
        assert f"$ stockroom {word}" in said.stdout
    assert "1917 already there" in said.stdout
    assert "bookings from visiting.ics: 4 added" in said.stdout and "a day without a time" in said.stdout
    assert {p.name for p in (tmp_path / "here").iterdir()} >= {
        "door.html",
        "labels.html",
        "sheet.html",
        "take-outs.ics",
    }
    reminders = (tmp_path / "here" / "take-outs.ics").read_text(encoding="utf-8")
    assert "BEGIN:VALARM" in reminders and not re.search("P-[0-9]{3}", reminders)  # no patient's code
    assert said.stdout.rstrip().endswith("stockroom init PRACTICE.toml")
    assert "\x1b" not in said.stdout  # no colour where it is no terminal
    made = Line(str(tmp_path / "here" / "stockroom.db"), tmp_path, now="2026-11-24T10:00:00+00:00", by=None)
    assert made("records", "verify").code == 0
    again = subprocess.run(
        [sys.executable, "-c", code, "demo", "here"],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        encoding="utf-8",
    )
    assert again.returncode == 3


@pytest.mark.parametrize(
    ("when", "told"),
    [
        ("2026-03-02T09:00", True),  # Monday, an order day: until 14:00
        ("2026-03-02T15:00", False),  # the next cut-off is on Thursday, and somebody is in on Tuesday
        ("2026-03-03T09:00", False),
        ("2026-03-04T16:00", False),  # Wednesday: six hours are left tomorrow
        ("2026-03-05T13:00", True),
        ("2026-03-06T09:00", False),
    ],
)
def test_orders_stand_on_the_sheet_of_the_last_day_for_them(cli: Line, when: str, told: bool) -> None:
    # derived: nothing is there, two are expected a week, and the supplier takes orders on Monday and Thursday until 14:00
    assert ("order" in slugs(cli, "manager", as_of=when)) == told


def test_a_cut_off_before_anybody_is_in_belongs_to_the_day_before(line: Callable[..., Line]) -> None:
    # derived: until 08:30 of Monday half an hour is staffed, less than an hour: Friday is the last day, the week-end too
    cli = line(PRACTICE.replace('"14:00"', '"08:30"').replace('["mon", "thu"]', '["mon"]'))
    found = {day: "order" in slugs(cli, "manager", as_of=f"2026-03-0{day}T09:00") for day in range(4, 9)}
    assert found == {4: False, 5: False, 6: True, 7: True, 8: True}


def test_a_group_is_told_in_one_line_for_which_sites_orders_close(line: Callable[..., Line]) -> None:
    one, rest = PRACTICE[: PRACTICE.index("hours = ")], PRACTICE[PRACTICE.index("[[shelf]]") :]
    hours = PRACTICE[PRACTICE.index("hours = ") : PRACTICE.index("[[fridge]]")]
    sites = "".join(
        f'[[site]]\nname = "{s}"\n{hours}[[fridge]]\nname = "Cold {s}"\nsite = "{s}"\nlow = 2.0\nhigh = 8.0\n\n'
        for s in ("North", "South")
    )
    cli = line(one + "\n" + sites + rest.replace('name = "Cupboard"', 'name = "Cupboard"\nsite = "North"'))

    def told(when: str, *more: str) -> list[str]:
        found = cli.ask("today", "--as-of", when, *more)["manager"]
        return [f["what"] for f in found if f["slug"] == "order"]

    closes = "orders to Harbour Supplies close Mon 2 Mar 14:00, none is placed for "
    assert told("2026-03-02T09:00") == [f"{closes}North, South"]
    assert told("2026-03-02T09:00", "--site", "South") == [f"{closes}South"]
    cli.ok(
        "--site", "North", "reorder", "place", "Harbour Supplies", "KIT=4", "--why", "asked", "--at", "2026-03-02T09:30"
    )
    assert told("2026-03-02T10:00") == [f"{closes}South"]
    assert told("2026-03-03T10:00") == []
    assert told("2026-03-05T10:00") == [
        "orders to Harbour Supplies close Thu 5 Mar 14:00, none is placed for North, South"
    ]
