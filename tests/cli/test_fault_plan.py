"""A fault of a fridge through the command line: what it says to do, in order, and whether that can be typed."""

import shlex
from collections.abc import Callable

import pytest
from conftest import PRACTICE, Line
from test_fridge import excursions, series, states, stock

NOW = "2026-03-02T09:00:00+00:00"  # 10:00 in Amsterdam


def plan(line: Line, fridge: str = "Cold one", **more: str) -> list[str]:
    args = [x for k, v in more.items() for x in (f"--{k.replace('_', '-')}", v)]
    found = line.ask("fridge", "check", *args)["fridges"]
    return next(f["plan"] for f in found if f["fridge"] == fridge)


def commands(lines: list[str]) -> list[list[str]]:
    """The words of each command that stands at the end of a line of a plan."""
    return [shlex.split(x.split(": stockroom ", 1)[1]) for x in lines if ": stockroom " in x]


def moves(lines: list[str]) -> list[list[str]]:
    return [c for c in commands(lines) if c[:2] == ["stock", "move"]]


def out_now(line: Line, name: str = "log.csv", values: tuple[float, ...] = (4.0, 9.0, 9.0)) -> None:
    """A logger file of "Cold one" that ends out of range at 08:50 UTC."""
    series(line, name, "2026-03-02T08:30:00", 10, list(values))
    line.ok("fridge", "import", name, "--fridge", "Cold one")


def kinds(lines: list[str]) -> list[str]:
    """The kind of each step, by its first words, in the order in which the steps stand."""
    words = {
        "do not use": "leave", "look at": "look", "move the": "move", "ask the maker": "ask", "then decide": "decide",
        "once it is over": "decide", "decide about": "decide", "the logger": "hand", "check ": "hand",
    }  # fmt: skip
    return [next((k for w, k in words.items() if w in x.split("(")[0]), x) for x in lines]


def test_while_it_lasts_the_plan_is_leave_look_move_ask_decide_in_that_order(cli: Line) -> None:
    # the order is common practice: leave alone, look, move, ask, decide; no source
    stock(cli, n=4)
    out_now(cli)
    said = plan(cli)
    assert kinds(said) == ["leave", "look", "move", "ask", "decide"]
    assert "4 x KIT lot A1" in said[0]
    assert "until the maker or the responsible clinician has answered" in said[0]
    assert "door" in said[1] and "plug" in said[1] and "thermostat" in said[1]
    # 4.0 at 08:30, 9.0 at 08:40 UTC: 6.0 is crossed after 4 of 10 minutes, at 09:34 in Amsterdam (derived)
    assert "Cold kit (KIT)" in said[3] and "A1 (4 pieces)" in said[3]
    assert "above its limit of 6.0 °C from" in said[3] and "09:34" in said[3] and "worst 9.0 °C" in said[3]
    assert "26 min so far" in said[3]
    assert said[4].endswith("--release|--discard --why … --answer … --by INITIALS")


def test_several_records_of_one_event_are_one_plan(cli: Line) -> None:
    stock(cli, n=4)
    out_now(cli)  # breaks the fridge's own 8.0 and the kit's 6.0: two excursions, one event
    cli.ok("fridge", "log", "9.5", "--fridge", "Cold one")  # and by hand, on both lines
    assert len(excursions(cli)) == 4
    said = plan(cli)
    assert kinds(said) == ["leave", "look", "move", "ask", "decide"]
    assert "the same event: E-" in said[-1]
    assert "worst 9.5 °C" in said[3]  # the worse of the two stands


def test_the_move_is_typed_as_it_stands_and_then_the_plan_has_no_move(cli: Line) -> None:
    stock(cli, n=4)
    cli.ok("fridge", "log", "4.0", "--fridge", "Cold two")
    out_now(cli)
    (move,) = moves(plan(cli))
    assert move == ["stock", "move", "--all", "--from", "Cold one", "--to", "Cold two"]
    cli.ok(*move)
    assert states(cli) == [("A1", "Cold two", 4, "quarantined")]
    assert kinds(plan(cli)) == ["leave", "look", "ask", "decide"]
    series(cli, "after.csv", "2026-03-02T09:00:00", 10, [4.0])
    cli.ok("fridge", "import", "after.csv", "--fridge", "Cold one")
    assert kinds(plan(cli)) == ["leave", "ask", "decide"]
    assert "at most 30 min" in plan(cli)[1]  # in range at 08:30, and again at 09:00
    decide = next(c for c in commands(plan(cli)) if c[:2] == ["fridge", "decide"])
    assert cli("fridge", "decide", decide[2], "--release", "--why", "x").code == 3
    cli.ok("fridge", "decide", decide[2], "--release", "--why", "maker answered", "--by", "CD")
    assert plan(cli) == []


def test_what_is_used_already_is_named_too(cli: Line) -> None:
    stock(cli, n=4, at="2026-03-02T08:00")
    series(cli, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 4.0])
    cli.ok("stock", "use", "KIT", 1, "--why", "training", "--at", "2026-03-02T09:00")
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    said = plan(cli)
    assert "3 x KIT lot A1 in Cold one" in said[0]
    assert "1 x KIT lot A1 of E-" in said[1] and "used already: tell the responsible clinician" in said[1]
    assert ["trace", "lot", "KIT", "A1"] in commands(said)


@pytest.mark.parametrize(
    ("why", "does"),
    [
        ("is switched off", [("fridge", "off", "Cold two", "--why", "defrosting")]),
        ("has an open excursion of its own", [("fridge", "log", "9.0", "--fridge", "Cold two")]),
        ("has 3 spaces left and this takes 4", [("receive", 37)]),
    ],
)
def test_where_no_other_fridge_can_take_it_a_box_is_named_and_called_unmonitored(
    cli: Line, why: str, does: list[tuple[object, ...]]
) -> None:
    for args in does:
        if args[0] == "receive":
            stock(cli, n=int(str(args[1])), lot="FULL", into="Cold two")
        else:
            cli.ok(*args)
    stock(cli, n=4)
    out_now(cli)
    said = plan(cli)
    (move,) = moves(said)
    assert move[-1] == "cool box"
    step = next(x for x in said if "stock move" in x)
    assert f"Cold two {why}" in step
    assert "unmonitored" in step
    done = cli(*move, "--json")
    assert done.code == 1
    assert any("nobody measures" in w for w in done.json["warnings"])
    assert {(p, s) for lot, p, _, s in states(cli) if lot == "A1"} == {("cool box", "quarantined")}


def test_tight_is_said_and_the_space_of_a_product_counts(line: Callable[..., Line]) -> None:
    cli = line(PRACTICE.replace("space = 1", "space = 3"))
    stock(cli, n=9, lot="THERE", into="Cold two")  # 27 of 40
    stock(cli, n=4)  # 12 more: 39 of 40, derived
    out_now(cli)
    step = next(x for x in plan(cli) if "stock move" in x)
    assert "tight: it then holds 39 of its 40 spaces" in step
    stock(cli, n=1, lot="ONE-MORE")  # 42
    step = next(x for x in plan(cli) if "stock move" in x)
    assert "Cold two has 13 spaces left and this takes 15" in step


def test_a_freezer_or_a_warm_fridge_is_no_refuge(line: Callable[..., Line]) -> None:
    cli = line(PRACTICE.replace('name = "Cold two"\nlow = 2.0\nhigh = 8.0', 'name = "Ice"\nlow = -25.0\nhigh = -15.0'))
    stock(cli, n=4)
    out_now(cli)
    (move,) = moves(plan(cli))
    assert move[-1] == "cool box"
    assert "Ice is for -25.0 °C to -15.0 °C" in next(x for x in plan(cli) if "stock move" in x)


def test_a_fridge_that_reads_too_warm_for_the_kit_though_fine_by_its_own_limits_is_no_refuge(cli: Line) -> None:
    cli.ok("fridge", "log", "7.0", "--fridge", "Cold two", "--at", "2026-03-02T09:30")  # 2 to 8, the kit is kept to 6
    stock(cli, n=4)
    out_now(cli)
    assert moves(plan(cli))[0][-1] == "cool box"
    assert "Cold two reads 7.0 °C" in next(x for x in plan(cli) if "stock move" in x)


def test_only_fridges_of_the_same_site_are_proposed(line: Callable[..., Line]) -> None:
    sites = '[[site]]\nname = "North"\nhours = { mon = ["08:00-18:00"] }\n[[site]]\nname = "South"\nhours = { mon = ["08:00-18:00"] }\n'
    text = PRACTICE.replace("[[fridge]]", sites + "\n[[fridge]]", 1)
    text = text.replace('name = "Cold one"', 'name = "Cold one"\nsite = "North"')
    text = text.replace('name = "Cold two"', 'name = "Cold two"\nsite = "South"')
    text = text.replace('name = "Cupboard"', 'name = "Cupboard"\nsite = "North"')
    cli = line(text)
    cli.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 2, "--into", "Cold one",
        "--at", "2026-03-02T08:00", "--site", "North",
    )  # fmt: skip
    series(cli, "log.csv", "2026-03-02T08:30:00", 10, [4.0, 9.0, 9.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one", "--site", "North")
    assert moves(plan(cli))[0][-1] == "cool box"


def test_an_awkward_name_can_be_typed_as_it_is_shown(line: Callable[..., Line]) -> None:
    cli = line(PRACTICE.replace('"Cold two"', "'Room \"B\" $1'"))
    stock(cli, n=1)
    out_now(cli)
    (move,) = moves(plan(cli))
    assert move[-1] == 'Room "B" $1'
    cli.ok(*move)


def test_log_check_and_day_sheet_say_the_same(cli: Line) -> None:
    stock(cli, n=4)
    said = cli.ask("fridge", "log", "9.0", "--fridge", "Cold one")
    assert said["advice"] == plan(cli)
    assert kinds(said["advice"]) == ["leave", "look", "move", "ask", "decide"]
    sheet = cli.ask("today")
    shown = [
        f"{f['what']}: {f['todo']}" if f["todo"] else f["what"]
        for role in ("assistant", "manager")
        for f in sheet[role]
    ]
    assert [x for x in shown if x in said["advice"]] == said["advice"]
    on_screen = cli.ok("fridge", "check").out
    for n, (text, command) in enumerate((x.split(": stockroom ", 1) for x in said["advice"] if ": stockroom " in x), 1):
        assert command.split()[0] in on_screen, (n, text)


def test_a_silence_asks_for_a_check_by_hand_and_for_an_answer(cli: Line) -> None:
    stock(cli, at="2026-03-02T04:00")
    series(cli, "a.csv", "2026-03-02T02:00:00", 10, [4.0, 4.0])
    series(cli, "b.csv", "2026-03-02T08:50:00", 10, [4.0])
    cli.ok("fridge", "import", "a.csv", "b.csv", "--fridge", "Cold one")
    said = plan(cli)
    assert kinds(said) == ["leave", "hand", "ask", "decide"]
    assert "nobody knows" in said[1] and commands(said)[0][:2] == ["fridge", "log"]
    assert "nobody measured it from" in said[2] and "6 h 40 min" in said[2]  # 02:10 to 08:50, derived


def test_out_of_range_within_an_allowance_still_says_to_look_and_move(line: Callable[..., Line]) -> None:
    # an allowance is a budget of minutes: it is no reason to leave the door open
    cli = line(
        PRACTICE.replace(
            'source = "label"', 'source = "label"\nallowance = { up_to = 10.0, minutes = 900, source = "letter" }'
        ).replace("high = 8.0\nlogger", "high = 12.0\nlogger")
    )
    stock(cli, n=4)
    out_now(cli)
    assert states(cli) == [("A1", "Cold one", 4, "usable")]
    assert kinds(plan(cli)) == ["look", "move"]
    assert any("thermostat" in f["what"] for f in cli.ask("today")["assistant"])


def test_as_of_the_middle_it_lasts_and_later_it_is_over(cli: Line) -> None:
    stock(cli, n=4, at="2026-03-02T08:00")
    series(cli, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 9.0, 4.0, 4.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    assert "move" in kinds(plan(cli, as_of="2026-03-02T08:35"))
    assert kinds(plan(cli, as_of="2026-03-02T09:15")) == ["leave", "ask", "decide"]
    assert plan(cli, as_of="2026-03-02T08:15") == []


def test_after_a_decision_about_a_part_the_plan_is_about_the_rest(cli: Line) -> None:
    stock(cli, n=2, lot="A1")
    stock(cli, n=3, lot="B2")
    series(cli, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 9.0, 4.0, 4.0])
    at = "2026-03-02T08:20:00+00:00"
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one", now=at)
    named = next(e["id"] for e in excursions(cli) if e["lots"])
    cli.ok("fridge", "decide", named, "--release", "--why", "answer", "--except", "KIT/B2", "--by", "CD", now=at)
    said = plan(cli, as_of="2026-03-02T09:20")
    assert kinds(said) == ["leave", "ask", "decide"]
    assert "3 x KIT lot B2" in said[0]
    assert not any("A1" in x for x in said)


def test_a_check_by_hand_that_was_out_asks_for_another_once_the_logger_is_back_in_range(cli: Line) -> None:
    stock(cli, n=4)
    out_now(cli)
    cli.ok("fridge", "log", "9.5", "--fridge", "Cold one", "--at", "2026-03-02T09:51")
    assert "move" in kinds(plan(cli))
    series(cli, "after.csv", "2026-03-02T09:00:00", 10, [4.0])
    cli.ok("fridge", "import", "after.csv", "--fridge", "Cold one")
    said = plan(cli)
    assert kinds(said) == ["leave", "hand", "ask", "decide"]
    assert "by hand again" in said[1]


# -- the box


def test_a_box_and_the_way_back_with_the_holds_and_the_minutes_that_nobody_measured(both: Line) -> None:
    stock(both, n=4, at="2026-03-02T08:00")
    both.ok("stock", "quarantine", "KIT", "A1", "--why", "seal", "--quantity", 1, "--at", "2026-03-02T08:01")
    both.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", "--at", "2026-03-02T08:05")
    series(both, "a.csv", "2026-03-02T06:55:00", 10, [4.0] * 13)
    both.ok("fridge", "import", "a.csv", "--fridge", "Cold one")
    said = both(
        "stock", "move", "--all", "--from", "Cold one", "--to", "cool box", "--at", "2026-03-02T08:10:00", "--json"
    )
    assert said.code == 1
    assert said.json["moved"] == [{"product": "KIT", "lot": "A1", "quantity": 3}]
    assert any("unmonitored" in w and "take it to a fridge soon" in w for w in said.json["warnings"])
    assert states(both) == [
        ("A1", "cool box", 1, "quarantined"),
        ("A1", "cool box", 2, "usable"),
        ("A1", "out", 1, "usable"),
    ]
    box = next(f for f in both.ask("today")["assistant"] if f["slug"] == "kept-warm")
    assert "3 pieces" in box["what"] and "cool box" in box["what"]
    assert shlex.split(box["todo"])[-1] in ("Cold one", "Cold two")
    before = both.ask("trace", "lot", "KIT", "A1")["exposure"]["minutes_unmonitored"]
    both.ok("stock", "move", "--all", "--from", "cool box", "--to", "Cold one", "--at", "2026-03-02T08:30:30")
    # logger at 07:05 to 08:55 UTC covers the stay from 07:30:30 on; the box is 20.5 minutes, derived
    assert {(p, n, s) for _, p, n, s in states(both)} == {
        ("Cold one", 1, "quarantined"), ("Cold one", 2, "usable"), ("out", 1, "usable"),
    }  # fmt: skip
    trace = both.ask("trace", "lot", "KIT", "A1")
    assert trace["exposure"]["minutes_unmonitored"] < before
    assert {(s["place"], s["from"], s["to"]) for s in trace["stays"] if s["place"] == "cool box"} == {
        ("cool box", "2026-03-02T07:10:00Z", "2026-03-02T07:30:30Z")
    }
    assert not [f for f in both.ask("today")["assistant"] if f["slug"] == "kept-warm"]


def test_moving_into_a_fridge_that_is_off_or_full_is_recorded_and_said(cli: Line) -> None:
    stock(cli, n=4)
    stock(cli, n=38, lot="FULL", into="Cold two")
    said = cli("stock", "move", "--all", "--from", "Cold one", "--to", "Cold two", "--json")
    assert said.code == 1
    assert any("holds 42 of its 40 spaces" in w for w in said.json["warnings"])
    cli.ok("fridge", "off", "Cold one", "--why", "defrosting")
    said = cli("stock", "move", "KIT", "A1", "--quantity", 1, "--from", "Cold two", "--to", "Cold one", "--json")
    assert said.code == 1
    assert any("switched off" in w for w in said.json["warnings"])


def test_moved_between_fridges_in_the_middle_held_or_spared_to_the_second_by_data_that_comes_later(both: Line) -> None:
    # 4.0 at 07:10, 8.0 at 07:20 UTC: 6.0 is crossed at 07:15:00, back at 07:45:00 (derived) = 08:15 and 08:45 local
    for lot in ("SPARED", "HELD"):
        stock(both, n=1, lot=lot, at="2026-03-02T07:00")
    for lot in ("IN", "LATE"):
        stock(both, n=1, lot=lot, at="2026-03-02T07:00", into="Cold two")
    for lot, source, target, at in (
        ("SPARED", "Cold one", "Cold two", "08:15:00"),
        ("HELD", "Cold one", "Cold two", "08:15:01"),
        ("IN", "Cold two", "Cold one", "08:45:00"),
        ("LATE", "Cold two", "Cold one", "08:45:01"),
    ):
        both.ok(
            "stock", "move", "KIT", lot, "--quantity", 1, "--from", source, "--to", target, "--at", f"2026-03-02T{at}"
        )
    series(both, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 8.0, 8.0, 8.0, 4.0])
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    assert {(lot, s) for lot, _, _, s in states(both)} == {
        ("SPARED", "usable"), ("HELD", "quarantined"), ("IN", "quarantined"), ("LATE", "usable"),
    }  # fmt: skip


# -- warm arrivals


@pytest.mark.parametrize(
    ("typed", "held"),
    [("6.0", 0), ("6.001", 4), ("2.0", 0), ("1.999", 4), ("-0.4", 4), ("4,5", 0)],
)
def test_a_delivery_is_judged_by_the_product_s_own_range_inclusive_on_both_sides(
    cli: Line, typed: str, held: int
) -> None:
    # kept at 2.0 to 6.0; the fridge's own limits (2 to 8) do not matter; derived
    said = cli(
        "stock", "receive", "KIT", "--lot", "W", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold one",
        "--arrived-at", typed, "--json",
    )  # fmt: skip
    assert said.code == (1 if held else 0)
    rows = cli.ask("stock", "list")["lots"]
    assert [(r["quantity"], r["state"]) for r in rows] == [(4, "quarantined" if held else "usable")]
    if held:
        assert rows[0]["causes"] == [said.json["entry"]]  # a cause of its own


def test_a_warm_arrival_serves_no_booking_until_a_named_person_decides_about_a_part_or_all(cli: Line) -> None:
    cli.ok("fridge", "log", "4.0", "--fridge", "Cold one")
    cli.ok("booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", "P-1")
    cli.ok(
        "stock", "receive", "KIT", "--lot", "W", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold one",
        "--arrived-at", "11",
    )  # fmt: skip
    assert [r["state"] for r in cli.ask("warmup", "check")["bookings"]] == ["short"]
    orders = [x for s in cli.ask("reorder", "list")["suppliers"] for x in s["lines"] if x["product"] == "KIT"]
    assert [(x["usable"], x["held"]) for x in orders] == [(0, 4)]
    assert cli("stock", "release", "KIT", "W", "--why", "answer").code == 3  # initials typed
    cli.ok("stock", "release", "KIT", "W", "--quantity", 1, "--why", "maker answered", "--by", "CD")
    assert [r["state"] for r in cli.ask("warmup", "check")["bookings"]] == ["planned"]
    cli.ok("stock", "discard", "KIT", "W", "--quantity", 3, "--why", "maker answered", "--by", "CD")
    assert states(cli) == [("W", "Cold one", 1, "usable")]


def test_a_product_without_a_range_is_not_judged_and_what_cannot_be_is_refused(cli: Line) -> None:
    args = ("stock", "receive", "SWAB", "--lot", "S", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cupboard")
    assert cli(*args, "--arrived-at", "19.5").code == 0
    assert cli(*args, "--arrived-at", "61").code == 3
    assert cli(*args, "--arrived-at", "-60.5").code == 3
    assert cli(*args, "--arrived-at", "warm").code == 3
    assert [r["quantity"] for r in cli.ask("stock", "list")["lots"]] == [4]


def test_a_likely_slip_of_an_arrival_is_recorded_as_doubtful_where_nobody_can_be_asked(cli: Line) -> None:
    # 45 typed for 4.5: beyond -10 to 20 °C
    args = ("stock", "receive", "KIT", "--lot", "W", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold one")
    said = cli(*args, "--arrived-at", "45", "--json")
    assert said.code == 1
    assert any("unusual" in w for w in said.json["warnings"])
    assert states(cli) == [("W", "Cold one", 4, "quarantined")]
    doubt = [b for b in cli.ask("records", "history")["entries"] if b["entry"] == said.json["entry"]]
    assert len(doubt) == 1


def test_what_an_allowance_covers_no_more_is_named_before_anything_is_held(line: Callable[..., Line]) -> None:
    # 30 minutes allowed: out since 07:14 UTC, covered when it is read at 07:25, used up an hour later; derived
    cli = line(
        PRACTICE.replace(
            'source = "label"', 'source = "label"\nallowance = { up_to = 8.0, minutes = 30, source = "letter" }'
        )
    )
    stock(cli, n=4, at="2026-03-02T08:00")
    series(cli, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 7.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one", now="2026-03-02T07:25:00+00:00")
    assert kinds(plan(cli, as_of="2026-03-02T08:25")) == ["look", "move"]
    said = plan(cli, as_of="2026-03-02T09:15")
    assert kinds(said) == ["leave", "look", "move", "ask", "decide"]
    assert "4 x KIT lot A1" in said[0]


def test_a_hold_that_a_later_entry_no_longer_supports_is_ended_by_the_command_shown(cli: Line) -> None:
    stock(cli, n=4, at="2026-03-02T08:00")
    series(cli, "log.csv", "2026-03-02T07:10:00", 10, [4.0, 9.0, 9.0, 4.0])
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    cli.ok(
        "stock", "move", "KIT", "A1", "--quantity", 2, "--from", "Cold one", "--to", "Cold two",
        "--at", "2026-03-02T08:05",
    )  # fmt: skip
    assert {(p, s) for _, p, _, s in states(cli)} == {("Cold one", "quarantined"), ("Cold two", "quarantined")}
    (typed,) = [c for c in commands(plan(cli)) if c[:2] == ["stock", "release"]]
    cli.ok(*["elsewhere" if w == "…" else "CD" if w == "INITIALS" else w for w in typed])
    assert states(cli) == [("A1", "Cold one", 2, "quarantined"), ("A1", "Cold two", 2, "usable")]
    assert not [c for c in commands(plan(cli)) if c[:2] == ["stock", "release"]]


def test_stock_in_a_fridge_that_is_off_and_out_of_range_is_moved_all_the_same(cli: Line) -> None:
    cli.ok("fridge", "off", "Cold one", "--why", "defrosting", "--at", "2026-03-02T09:00")
    out_now(cli)
    assert "look" not in kinds(plan(cli))  # empty and off: let be
    stock(cli, n=2, at="2026-03-02T09:55")
    assert "move" in kinds(plan(cli))


def test_a_later_check_by_hand_in_range_ends_the_move_and_asks_for_the_logger_s_file(cli: Line) -> None:
    stock(cli, n=4)
    out_now(cli)
    cli.ok("fridge", "log", "4.0", "--min", "3.9", "--max", "9.0", "--fridge", "Cold one", "--at", "2026-03-02T09:55")
    said = plan(cli)
    assert [k for k in kinds(said) if k in ("look", "move")] == []
    assert said[1].startswith("read the logger of Cold one out: by hand it is back in range")
    cli.ok(
        "fridge", "log", "6.5", "--fridge", "Cold one", "--at", "2026-03-02T09:57"
    )  # in range for the fridge, not the kit
    assert "move" in kinds(plan(cli))


def test_moving_into_a_fridge_that_is_out_of_range_is_said(cli: Line) -> None:
    stock(cli, n=4, into="Cold two")
    out_now(cli)
    said = cli("stock", "move", "--all", "--from", "Cold two", "--to", "Cold one", "--json")
    assert said.code == 1
    assert any("out of range itself" in w for w in said.json["warnings"])
    assert {s for *_, s in states(cli)} == {"quarantined"}
