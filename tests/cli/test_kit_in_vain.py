"""A kit that is out and that no booking uses: each step that is printed, typed as it stands, saves it and harms nobody.

Derived throughout from the tests' practice: 24 h to warm, 72 h out at most, 105 minutes, staffed 08:00 to 18:00 (Friday
to 16:00), nobody at the week-end; Amsterdam, one hour ahead of UTC in March. Now is Monday 2026-03-02, 10:00.
"""

import re
import shlex
from collections.abc import Callable
from typing import Any

import pytest
from conftest import PRACTICE, Line

SERVED = ("ready", "warming", "due", "planned")
BACK = PRACTICE.replace("max_out_hours = 72", "max_out_hours = 72\nreturnable = true")
HOURS = "opening hours only, not chairs or clinicians"


def freed(line: Line, *others: str, stock: int = 6) -> None:
    """P-1, warm from Tuesday 10:00 to Thursday 10:00, taken out for B-1, which is cancelled; then B-2, B-3, …"""
    line.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", stock, "--into", "Cold one",
        "--at", "2026-03-01T08:00",
    )  # fmt: skip
    book(line, "2026-03-03T14:00", "P-1")
    line.ok("warmup", "pull", "B-1")
    for n, start in enumerate(others, 2):
        book(line, start, f"P-{n}")
    line.ok("booking", "cancel", "B-1", "--why", "rang to cancel")


def book(line: Line, start: str, patient: str) -> None:
    line.ok("booking", "add", "white", "--start", start, "--patient", patient)


def unused(line: Line, **at: str) -> Any:
    (kit,) = line.ask("warmup", "check", **at)["unused"]
    return kit


def states(line: Line) -> dict[str, tuple[str, str | None]]:
    return {r["booking"]: (r["state"], r["pull"]) for r in line.ask("warmup", "check")["bookings"]}


def on_screen(said: str) -> str:
    """What was printed, with its line breaks taken out."""
    return re.sub(r"\s+", " ", said)


@pytest.mark.parametrize("way", [0, 1, 2])
def test_each_move_typed_as_printed_gives_the_kit_a_booking_and_takes_none(both: Line, way: int) -> None:
    """It must be over by Thursday 10:00: 08:15 for 105 minutes. Of four later bookings the three nearest are named."""
    freed(both, "2026-03-10T10:00", "2026-03-06T09:00", "2026-03-09T10:00", "2026-03-11T10:00")
    kit = unused(both)
    assert (kit["pull"], kit["product"], kit["lot"], kit["over"]) == ("P-1", "KIT", "A1", False)
    assert kit["use_by"] == "2026-03-05T09:00:00Z"
    assert kit["moves"] == [{"booking": b, "start": "2026-03-05T07:15:00Z"} for b in ("B-3", "B-4", "B-2")]
    assert kit["todos"] == [f"booking move {b} --start 2026-03-05T08:15" for b in ("B-3", "B-4", "B-2")]
    before = states(both)
    said = both(*shlex.split(kit["todos"][way]))
    assert said.code == 0, said
    after = states(both)
    moved = kit["moves"][way]["booking"]
    assert after[moved] == ("warming", "P-1")
    assert {b: s for b, s in after.items() if b != moved} == {b: s for b, s in before.items() if b != moved}
    assert all(state in SERVED for state, _ in after.values())
    assert both.ask("warmup", "check")["unused"] == []


def test_the_screen_and_the_day_sheet_say_the_same(cli: Line) -> None:
    freed(cli, "2026-03-06T09:00", "2026-03-09T10:00")
    kit = unused(cli)
    assert kit["what"] == (
        f"P-1 (KIT lot A1) is out and no booking uses it; use by Thu 5 Mar 10:00; B-2 or B-3 could move to it ({HOURS})"
    )
    steps = [f"stockroom {todo}" for todo in kit["todos"]]
    (told,) = [f for f in cli.ask("today", "--for", "scheduler")["scheduler"] if f["slug"] == "kit-free"]
    assert (told["what"], told["todo"], told["todos"], told["urgent"]) == (kit["what"], steps[0], steps, True)
    for said in (cli("warmup", "check").out, cli("today", "--for", "scheduler").out):
        assert f"! {kit['what']}" in on_screen(said)
        assert all(f"-> {step}" in on_screen(said) for step in steps)


def test_back_into_the_fridge_is_a_way_where_the_product_allows_it(line: Callable[..., Line]) -> None:
    cli = line(BACK)
    freed(cli, "2026-03-06T09:00")
    assert unused(cli)["todos"] == ["booking move B-2 --start 2026-03-05T08:15", "warmup back P-1"]
    said = cli(*shlex.split(unused(cli)["todos"][1]))
    assert said.code == 0, said
    assert states(cli) == {"B-2": ("planned", None)}
    assert cli.ask("warmup", "check")["unused"] == []


def test_where_its_time_is_over_it_is_thrown_away(line: Callable[..., Line]) -> None:
    cli = line(BACK)
    freed(cli, "2026-03-06T09:00")
    cli.now = "2026-03-05T09:00:00+00:00"  # Thursday 10:00, 72 h after it left
    kit = unused(cli)
    assert (kit["over"], kit["moves"]) == (True, [])
    assert kit["what"].endswith("no booking uses it; its time is over")
    (todo,) = kit["todos"]
    assert todo == 'stock discard --pull P-1 --why "its time out of the fridge is over" --by INITIALS'
    assert cli(*shlex.split(todo.replace("INITIALS", "AB"))).code == 0
    assert cli.ask("warmup", "check")["unused"] == []


def test_where_no_booking_could_move_to_it_times_are_named_that_could_be_offered(cli: Line) -> None:
    freed(cli)
    kit = unused(cli)
    assert (kit["moves"], kit["todos"]) == ([], ["warmup when white"])
    assert kit["what"].endswith("; no booking was found that could move to it")
    offered = cli.ask(*shlex.split(kit["todos"][0]))["times"]
    assert offered[0]["first_start"] == "2026-03-03T09:00:00Z" and offered[0]["kit"] == "out"


def test_a_booking_in_the_doubled_hour_is_moved_with_its_offset(line: Callable[..., Line]) -> None:
    """Derived: on Sunday 2026-10-25 02:00 to 03:00 comes twice. Warm from 00:20 UTC, 02:20 by the first clock; staffed all
    night: the nearest quarter for a booking at 01:30 by the clock is the first 02:30, summer time."""
    night = PRACTICE.replace("hours = {", 'hours = { sun = ["00:00-06:00"], sat = ["00:00-24:00"],')
    cli = line(night)
    cli.now = "2026-10-24T00:20:00+00:00"
    cli.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 6, "--into", "Cold one",
    )  # fmt: skip
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1")
    book(cli, "2026-10-25T01:30", "P-2")
    kit = unused(cli)
    assert kit["todos"][0] == "booking move B-1 --start 2026-10-25T02:30+02:00"
    cli.ok(*shlex.split(kit["todos"][0]))
    assert states(cli) == {"B-1": ("warming", "P-1")}


def test_a_booking_that_just_lost_its_kit_may_come_back_to_it(cli: Line) -> None:
    """Moved to Friday, B-1 frees P-1; it is the nearest that could move to it, and its new kit stays for others."""
    cli.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 2, "--into", "Cold one",
    )  # fmt: skip
    book(cli, "2026-03-03T14:00", "P-1")
    cli.ok("warmup", "pull", "B-1")
    cli.ok("booking", "move", "B-1", "--start", "2026-03-06T09:00")
    assert unused(cli)["moves"] == [{"booking": "B-1", "start": "2026-03-05T07:15:00Z"}]
