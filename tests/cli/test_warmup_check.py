"""warmup check: a calendar, a step that can be typed for every state and that helps, and what broke what was served.

Derived throughout from the tests' practice: 24 h to warm, 72 h out at most, 105 minutes, staffed 08:00 to 18:00 (Friday
to 16:00), nobody at the week-end; Amsterdam, one hour ahead of UTC until 2026-03-29.
"""

import re
import shlex
from collections.abc import Callable
from typing import Any

import pytest
from conftest import PRACTICE, Line


def stocked(line: Line, n: int = 6, lot: str = "A1", at: str = "2026-03-01T08:00") -> None:
    line.ok(
        "stock", "receive", "KIT", "--lot", lot, "--expiry", "2026-12-31", "--quantity", n, "--into", "Cold one",
        "--at", at,
    )  # fmt: skip


def book(line: Line, start: str, patient: str = "P-1") -> Any:
    return line.ask("booking", "add", "white", "--start", start, "--patient", patient)


def only(line: Line, **at: str) -> Any:
    (row,) = line.ask("warmup", "check", **at)["bookings"]
    return row


def typed(line: Line, todo: str) -> None:
    """Types a proposed step; it is taken."""
    said = line(*shlex.split(todo))
    assert said.code in (0, 1), (todo, said.err)


# --- a step that can be typed, and that helps ---


def test_planned_due_warming_and_ready_by_what_they_say_to_type(both: Line) -> None:
    stocked(both)
    book(both, "2026-03-05T10:00")
    row = only(both)
    assert (row["state"], row["todo"]) == ("planned", "warmup list --day 2026-03-04")
    typed(both, row["todo"])
    both.now = "2026-03-04T07:30:00+00:00"
    row = only(both)
    assert (row["state"], row["todo"]) == ("due", "warmup pull B-1")
    typed(both, row["todo"])
    row = only(both)
    assert (row["state"], row["todo"]) == ("warming", "warmup labels P-1 --out labels.html")
    typed(both, row["todo"])
    both.now = "2026-03-05T08:00:00+00:00"
    row = only(both)
    assert (row["state"], row["todo"]) == ("ready", "booking done B-1")
    both.now = "2026-03-05T11:00:00+00:00"
    typed(both, row["todo"])
    assert both.ask("warmup", "check")["bookings"] == []


def test_late_names_the_earliest_start_and_moving_there_cures_it(both: Line) -> None:
    stocked(both)
    book(both, "2026-03-03T09:30")  # now Monday 10:00: the 24 h are too long by half an hour
    row = only(both)
    assert (row["state"], row["earliest_start"]) == ("late", "2026-03-03T09:00:00Z")
    assert row["todos"] == ["booking move B-1 --start 2026-03-03T10:10"]  # ten minutes to do it
    typed(both, row["todos"][0])
    assert only(both)["state"] == "due"


@pytest.mark.parametrize("habit", ["margin_minutes = 0", "margin_minutes = 30", 'rounds = ["08:30", "16:00"]'])
@pytest.mark.parametrize("way", [0, 1])
def test_each_way_out_of_blocked_cures_it(line: Callable[..., Line], habit: str, way: int) -> None:
    cli = line(PRACTICE.replace("max_out_hours = 72", "max_out_hours = 36").replace("margin_minutes = 0", habit))
    stocked(cli)
    book(cli, "2026-03-09T09:00")  # out from Saturday 22:45 to Sunday 09:00, while nobody is there
    row = only(cli)
    assert row["state"] == "blocked" and "somebody comes in at Sun 8 Mar" in row["why"]
    assert "it starts at" in row["why"] and len(row["todos"]) == 2
    assert row["todos"][1].startswith("practice open 2026-03-08 --from ")
    typed(cli, row["todos"][way])
    assert only(cli)["state"] == "planned"


def test_nobody_is_asked_to_come_in_by_night_where_the_evening_does(line: Callable[..., Line]) -> None:
    cli = line(PRACTICE.replace("warmup_hours = 24", "warmup_hours = 30"))
    stocked(cli)
    cli.ok("practice", "closed", "2026-03-06", "--why", "training")
    book(cli, "2026-03-09T08:30")  # by Sunday 02:30, from Friday 10:15
    row = only(cli)
    # Sunday 02:30 is the last moment; by day it is Saturday 20:00.
    assert row["todos"][1] == 'practice open 2026-03-07 --from 19:45 --to 20:15 --why "to take out a kit"'
    typed(cli, row["todos"][1])
    assert (only(cli)["state"], only(cli)["take_out_staffed_by"]) == ("planned", "2026-03-07T19:15:00Z")


def test_short_says_which_order_comes_in_time_and_which_too_late(both: Line) -> None:
    book(both, "2026-03-05T10:00")  # take out by Wednesday 10:00
    book(both, "2026-03-11T10:00", "P-2")
    # Ordered on Monday before 14:00: two days later, on Wednesday, counted from closing time, 18:00.
    rows = both.ask("warmup", "check")["bookings"]
    assert "none is on order; ordered by Mon 2 Mar 14:00 it comes Wed 4 Mar 18:00" in rows[0]["why"]
    assert "too late for it; from Fri 6 Mar 08:00 on" in rows[0]["why"] and "in time" in rows[1]["why"]
    assert rows[0]["todos"] == ["reorder list", "booking move B-1 --start 2026-03-06T08:00"]
    both.ok("reorder", "place", "Harbour Supplies", "KIT=4")
    rows = both.ask("warmup", "check")["bookings"]
    assert [r["state"] for r in rows] == ["short", "short"]
    assert "O-1 brings 4 by Wed 4 Mar 18:00: too late for it; from Fri 6 Mar 08:00 on" in rows[0]["why"]
    assert rows[0]["earliest_start"] == "2026-03-06T07:00:00Z"
    assert rows[1]["why"].endswith("O-1 brings 4 by Wed 4 Mar 18:00: in time")
    for todo in rows[0]["todos"]:
        typed(both, todo)
    # The order comes, and both are served.
    both.now = "2026-03-04T16:00:00+00:00"
    both.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold one",
        "--order", "O-1",
    )  # fmt: skip
    assert [r["state"] for r in both.ask("warmup", "check")["bookings"]] == ["planned", "planned"]


def test_a_piece_on_order_cures_one_booking_and_an_overdue_order_is_asked_after(cli: Line) -> None:
    cli.ok("reorder", "place", "Harbour Supplies", "KIT=4")
    for n in range(5):
        book(cli, f"2026-03-1{n // 3}T{9 + 3 * (n % 3):02}:00", f"P-{n}")
    why = [r["why"] for r in cli.ask("warmup", "check")["bookings"]]
    assert ["O-1" in w for w in why] == [True] * 4 + [False] and "none is on order" in why[4]
    later = cli.ask("warmup", "check", now="2026-03-05T09:00:00+00:00")["bookings"][0]
    assert "O-1 was due Wed 4 Mar 18:00 and has not come: ask Harbour Supplies" in later["why"]
    assert later["todos"] == ["reorder orders"]


def test_short_beside_held_stock_says_what_waits_for_a_decision(cli: Line) -> None:
    stocked(cli, 1)
    book(cli, "2026-03-05T10:00")
    cli.ok("stock", "quarantine", "KIT", "A1", "--why", "torn")
    row = only(cli)
    assert row["state"] == "short" and "1 in quarantine (R-4)" in row["why"]
    for todo in row["todos"][:1]:
        typed(cli, todo)


# --- what broke it ---


def broken(line: Line) -> list[tuple[str, str, str | None]]:
    return [(b["booking"], b["state"], b["entry"]) for b in line.ask("warmup", "check")["broken"]]


def only_state(line: Line, booking: str) -> str:
    return next(r["state"] for r in line.ask("warmup", "check")["bookings"] if r["booking"] == booking)


def test_a_quarantine_is_named_for_what_it_broke(both: Line) -> None:
    stocked(both, 2)
    book(both, "2026-03-05T10:00")
    book(both, "2026-03-06T10:00", "P-2")
    book(both, "2026-03-09T10:00", "P-3")  # never had a kit
    assert broken(both) == []
    held = both.ask(
        "stock", "quarantine", "KIT", "A1", "--why", "torn", "--quantity", 1, now="2026-03-02T10:00:00+00:00"
    )
    both.ok("fridge", "log", "4", "--fridge", "Cold one", now="2026-03-02T11:00:00+00:00")  # has nothing to do with it
    both.now = "2026-03-02T12:00:00+00:00"
    assert broken(both) == [("B-2", "short", held["entry"])]
    shown = both("warmup", "check").out
    assert f"{held['entry']}, Mon 2 Mar" in shown and "torn" in shown
    both.ok("stock", "release", "KIT", "A1", "--why", "seen by the maker", "--by", "AB")
    assert broken(both) == []


def test_a_discard_a_use_and_a_closed_day_are_named(both: Line) -> None:
    stocked(both, 3)
    for n, day in enumerate(("2026-03-05", "2026-03-06", "2026-03-09"), 1):
        book(both, f"{day}T10:00", f"P-{n}")
    gone = both.ask(
        "stock", "discard", "KIT", "A1", "--quantity", 1, "--why", "fell", "--by", "AB", now="2026-03-02T10:00:00+00:00"
    )
    both.now = "2026-03-02T11:00:00+00:00"
    assert broken(both) == [("B-3", "short", gone["entry"])]
    used = both.ask("stock", "use", "KIT", 1, "--why", "training", now="2026-03-02T12:00:00+00:00")
    closed = both.ask("practice", "closed", "2026-03-04", "--why", "storm", now="2026-03-02T13:00:00+00:00")
    both.now = "2026-03-02T14:00:00+00:00"
    # Thursday's kit can leave from Monday 11:45 on, until the last staffed moment is closed.
    assert broken(both) == [("B-2", "short", used["entry"]), ("B-3", "short", gone["entry"])]
    both.ok("practice", "closed", "2026-03-03", "--why", "storm", now="2026-03-02T14:10:00+00:00")
    both.now = "2026-03-02T14:20:00+00:00"
    assert only_state(both, "B-1") == "due"
    part = both.ask(
        "practice", "closed", "2026-03-02", "--from", "15:00", "--why", "storm", now="2026-03-02T14:30:00+00:00"
    )
    both.now = "2026-03-02T15:00:00+00:00"
    # The last kit goes to Friday's booking now, which can still be served.
    assert ("B-1", "short", part["entry"]) in broken(both) and closed["entry"] not in str(broken(both))


def test_an_excursion_is_named_by_what_brought_its_readings(cli: Line) -> None:
    stocked(cli, 1, at="2026-03-02T06:30")
    book(cli, "2026-03-05T10:00")
    cli.now = "2026-03-02T15:00:00+00:00"
    cli.file(
        "log.csv",
        "timestamp,celsius\n" + "".join(f"2026-03-02T{h:02}:00:00Z,{9 if h == 12 else 4}\n" for h in range(6, 15)),
    )
    said = cli.ask("fridge", "import", "log.csv", "--fridge", "Cold one")
    assert ("B-1", "short", said["entry"]) in broken(cli)


def test_where_only_time_went_by_no_record_is_blamed(cli: Line) -> None:
    stocked(cli, 1)
    book(cli, "2026-03-05T10:00")
    cli.now = "2026-03-04T12:00:00+00:00"
    (b,) = cli.ask("warmup", "check")["broken"]
    assert (b["booking"], b["state"], b["entry"]) == ("B-1", "late", None)


def test_a_moved_booking_is_judged_from_its_move_on(cli: Line) -> None:
    stocked(cli, 1)
    book(cli, "2026-03-05T10:00")
    cli.ok("booking", "move", "B-1", "--start", "2026-03-03T09:00", now="2026-03-02T10:00:00+00:00")
    cli.now = "2026-03-02T11:00:00+00:00"
    assert only(cli)["state"] == "late" and broken(cli) == []  # it was late from the moment at which it was moved


# --- the calendar ---


def test_the_calendar_has_a_line_a_booking_under_its_day_at_80_columns(
    line: Callable[..., Line], monkeypatch: pytest.MonkeyPatch
) -> None:
    import os

    monkeypatch.setattr("shutil.get_terminal_size", lambda *_: os.terminal_size((80, 24)))
    cli = line(PRACTICE.replace('product = "KIT", each = 1', 'product = "KIT", each = 2'))
    stocked(cli, 5, lot="LOT-2026-0031")
    for start in ("2026-03-05T10:00", "2026-03-05T14:00", "2026-03-12T10:00", "2026-03-30T10:00"):
        book(cli, start, f"P-{start[8:13]}")
    shown = cli("warmup", "check", "--days", "14").out.splitlines()
    assert max(map(len, shown)) <= 80
    heads = [x for x in shown if re.match(r"\w", x) and "2026" in x]
    assert heads == ["Thu 5 Mar 2026", "Thu 12 Mar 2026"]
    lines = [x for x in shown if re.match(r"  \d\d:\d\d  B-", x)]
    assert [x.split()[:2] for x in lines] == [["10:00", "B-1"], ["14:00", "B-2"], ["10:00", "B-3"]]
    # Two kits each: the third has one of its two, and stands as short.
    assert (
        "planned" in lines[0] and "KIT lot LOT-2026-0031 +1" in lines[0] and "take out by Wed 4 Mar 10:00" in lines[0]
    )
    assert "! SHORT" in lines[2]
