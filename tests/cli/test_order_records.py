"""Orders as records: what is placed, what comes of it in one part or many, what is odd about it, how it ends.

The tests' practice: Monday 2 March 2026, 10:00 in Amsterdam; packs of 4 kits and 50 swabs, 300 days of shelf life usual
for kits; two a week expected. An order of that Monday is due on Wednesday the 4th at 18:00 there. Expectations without
another source are derived: counted by hand.
"""

import contextlib
import io
import os
import sys

import pytest
from conftest import PRACTICE, Line
from freezegun import freeze_time

from stockroom.cli.main import main

SUPPLIER = "Harbour Supplies"
OTHER = """
[[supplier]]
name = "Dry Goods"
order_days = ["mon"]
lead_days = 1
delivery_days = ["tue"]

[[product]]
code = "CARD"
name = "Card"
supplier = "Dry Goods"
kind = "supply"
"""
WED, THU, FRI = ({"now": f"2026-03-0{d}T09:00:00+00:00"} for d in (4, 5, 6))


def came(line: Line, n: int, product: str = "KIT", *more: str, lot: str = "L1", expiry: str = "2026-12-31", **now):
    into = "Cold one" if product == "KIT" else "Cupboard"
    words = ("--lot", lot, "--expiry", expiry, "--quantity", n, "--into", into, *more)
    return line("stock", "receive", product, *words, "--json", **now)


def record(line: Line, order: str = "O-1", *more: str, **now):
    (found,) = line.ask("reorder", "orders", order, *more, **now)["orders"]
    return found


def counts(found):
    return [(x["product"], x["quantity"], x["received"], x["to_come"]) for x in found["lines"]]


def test_part_deliveries_close_an_order_by_themselves(both: Line) -> None:
    both.ok("reorder", "place", SUPPLIER, "KIT=8", "SWAB=50")
    said = came(both, 3, "KIT", "--order", "O-1", **WED)
    assert (said.code, said.json["to_come"]) == (
        0,
        [{"product": "KIT", "quantity": 5}, {"product": "SWAB", "quantity": 50}],
    )
    assert "of O-1 (to come: 5 x KIT, 50 x SWAB)" in said.json["what"]
    assert came(both, 50, "SWAB", "--order", "O-1", **WED).code == 0
    assert record(both, **WED)["state"] == "open"
    assert counts(record(both, **WED)) == [("KIT", 8, 3, 5), ("SWAB", 50, 50, 0)]
    # Wednesday 18:00 has passed: what has not come is overdue
    assert (record(both, **THU)["state"], both("reorder", "orders", **THU).code) == ("overdue", 1)
    said = came(both, 5, "KIT", "--order", "O-1", lot="L2", **THU)
    assert (said.code, said.json["to_come"]) == (0, [])
    assert both.ask("reorder", "orders", **THU)["orders"] == []
    found = record(both, **THU)
    assert found["state"] == "received"
    assert [(r["product"], r["lot"], r["quantity"], r["place"]) for r in found["receipts"]] == [
        ("KIT", "L1", 3, "Cold one"),
        ("SWAB", "L1", 50, "Cupboard"),
        ("KIT", "L2", 5, "Cold one"),
    ]
    # as of each moment
    assert counts(record(both, "O-1", "--as-of", "2026-03-04T09:59", **FRI)) == [
        ("KIT", 8, 0, 8),
        ("SWAB", 50, 0, 50),
    ]
    assert [o["order"] for o in both.ask("reorder", "orders", "--all", **FRI)["orders"]] == ["O-1"]
    assert both.ask("reorder", "orders", "--all", "--as-of", "2026-03-01")["orders"] == []
    # the last delivery was a slip: the order is open again
    both.ok("undo", "--why", "slip", **FRI)
    assert counts(record(both, **FRI)) == [("KIT", 8, 3, 5), ("SWAB", 50, 50, 0)]
    assert both("records", "verify", **FRI).code == 0


def test_what_came_is_recorded_and_what_is_odd_is_named(line) -> None:
    cli = line(PRACTICE + OTHER)
    cli.ok("reorder", "place", SUPPLIER, "KIT=8", "--why", "a course")
    cli.ok("reorder", "place", "Dry Goods", "CARD=5")
    more = came(cli, 9, "KIT", "--order", "O-1", **WED)
    assert (more.code, more.json["warnings"]) == (1, ["O-1 had 8 KIT still to come, 9 came"])
    none_ordered = came(cli, 2, "SWAB", "--order", "o-1", **WED)
    assert (none_ordered.code, none_ordered.json["warnings"]) == (1, [f"O-1 to {SUPPLIER} has no SWAB"])
    theirs = came(cli, 2, "CARD", "--order", "1", **WED)
    assert theirs.json["warnings"] == [f"O-1 to {SUPPLIER} has no CARD, which is listed with Dry Goods"]
    assert counts(record(cli, **WED)) == [("KIT", 8, 9, 0), ("SWAB", 0, 2, 0), ("CARD", 0, 2, 0)]
    assert "came without having been ordered" in cli("reorder", "orders", "O-1", **WED).out
    # one of O-2 came before it was ordered, as the record has it
    early = came(cli, 1, "CARD", "--order", "O-2", "--at", "2026-03-02T09:00", **WED)
    assert early.json["warnings"] == ["O-2 was only placed on Mon 2 Mar 2026"]
    cli.ok("reorder", "cancel", "O-2", "--why", "too dear", **WED)
    after = came(cli, 2, "CARD", "--order", "O-2", **THU)
    assert (after.code, after.json["warnings"]) == (1, ["O-2 was cancelled: too dear"])
    # what came before it was cancelled, and is typed in afterwards, is in order
    assert came(cli, 2, "CARD", "--order", "O-2", "--at", "2026-03-03T09:00", **FRI).json["warnings"] == []
    found = record(cli, "O-2", **FRI)
    assert (found["state"], counts(found)) == ("cancelled", [("CARD", 5, 5, 0)])
    assert came(cli, 4, "CARD", "--order", "O-9", **FRI).code == 3
    assert cli("records", "verify", **FRI).code == 0


def test_each_step_of_an_order_can_be_taken_back(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=8")
    for step in (("cancel", "O-1", "--why", "x"), ("close", "O-1", "--why", "x"), ("expect", "O-1", "--on", "fri")):
        before = record(cli)
        cli.ok("reorder", *step)
        now = record(cli)
        assert (now["state"], now["due"]) != (before["state"], before["due"])
        assert [c["kind"] for c in now["changes"]] == [step[0]]
        # the order itself cannot go while something builds on it
        assert cli("undo", "R-2", "--why", "x").code == 3
        cli.ok("undo", "--why", "slip")
        assert record(cli) == before
    came(cli, 8, "KIT", "--order", "O-1")
    assert cli("undo", "R-2", "--why", "x").code == 3
    cli.ok("undo", "--why", "slip")
    cli.ok("undo", "R-2", "--why", "slip")
    assert cli("reorder", "orders", "O-1").code == 3


def test_the_shelf_life_that_is_left(cli: Line) -> None:
    # 2 March to 11 April: 40 days; two a week are expected: 11.4, so all eight will be used
    said = came(cli, 8, expiry="2026-04-11")
    assert said.code == 1
    assert said.json["warnings"] == ["KIT lot L1 came with 40 days left, 300 are usual"]
    assert (said.json["days_left"], said.json["usual_days"], said.json["expected_unused"]) == (40, 300, 0)
    assert "stock return KIT L1 --quantity 8" in cli(
        "stock", "receive", "KIT", "--lot", "L1", "--expiry", "2026-04-11", "--quantity", 8, "--into", "Cold one"
    ).out  # fmt: skip


def test_what_will_not_be_used_before_it_expires(cli: Line) -> None:
    # 40 days and their last one: 2 x 41 / 7 less the nine hours of this Monday = 11.6 of 20 used, 8.4 left
    said = came(cli, 20, expiry="2026-04-11")
    assert said.json["expected_unused"] == 8
    assert said.json["warnings"][1] == "of KIT lot L1 8 pieces are expected to be left on Sat 11 Apr 2026"
    assert cli.ask("stock", "expiring")["lots"][0]["unused"] == 8
    # 100 more with as many days as usual: not short-dated, so it is told but asks for nobody
    said = came(cli, 100, lot="L2", expiry="2026-12-27")
    assert (said.code, said.json["warnings"]) == (1, ["Cold one holds 120 of its 40 spaces"])
    assert any(x.startswith("of KIT lot L2 ") for x in said.json["notes"])


@pytest.mark.parametrize(("days", "short"), ((224, True), (225, False)))
def test_from_when_on_a_delivery_is_short_dated(cli: Line, days: int, short: bool) -> None:
    # three quarters of 300 are 225: 2 March + 224 days is 12 October
    expiry = "2026-10-12" if days == 224 else "2026-10-13"
    said = came(cli, 1, expiry=expiry)
    assert (said.json["days_left"], said.code) == (days, int(short))


def test_a_supply_that_no_rule_uses_is_not_called_left_over(line) -> None:
    cli = line(PRACTICE + OTHER)
    said = came(cli, 500, "CARD")
    assert (said.code, said.json["expected_unused"], said.json["notes"]) == (0, 0, [])


def test_a_delivery_without_its_order_says_which_it_may_be(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=8")
    said = came(cli, 8, **WED)
    assert (said.code, said.json["order"]) == (0, None)
    assert said.json["notes"][0] == "KIT is still to come of O-1 (8): this was not counted against it"
    assert came(cli, 8, "KIT", "--from", "the practice next door", **WED).json["notes"] == []


class Terminal(io.StringIO):
    """What a person sees and types."""

    def isatty(self) -> bool:
        return True


def asked(line: Line, monkeypatch: pytest.MonkeyPatch, answers: str, *words: object) -> str:
    """A command by somebody at a terminal, who gives some answers; what was asked."""
    monkeypatch.setattr(sys, "stdin", Terminal(answers))
    monkeypatch.setenv("STOCKROOM_DB", line.where)
    monkeypatch.setenv("STOCKROOM_BY", "AB")
    os.environ.pop("STOCKROOM_SITE", None)
    told = Terminal()
    with freeze_time(line.now), contextlib.redirect_stderr(told), contextlib.redirect_stdout(io.StringIO()):
        assert main([str(w) for w in words]) in (0, 1)
    return told.getvalue()


def test_somebody_at_a_terminal_is_asked_why(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    # derived: 2 x 46 / 48 of this week and 2 x 48 / 48 of the next, to the Thursday: Poisson 3.58 reaches .95 at 7: 8
    told = asked(cli, monkeypatch, "a course\n", "reorder", "place", SUPPLIER, "KIT=12", "SWAB=50")
    assert told.startswith("This is not as proposed (12 x KIT, not 8; 50 x SWAB, not 0). Why?")
    assert [(x["product"], x["proposed"], x["why"]) for x in record(cli)["lines"]] == [
        ("KIT", 8, "a course"),
        ("SWAB", 0, "a course"),
    ]
    assert cli.ask("records", "history")["entries"][-1]["what"].endswith("50 x SWAB, not 0): a course")
    cli.ok("undo", "--why", "again")
    # as proposed nothing is asked
    assert asked(cli, monkeypatch, "", "reorder", "place", SUPPLIER) == ""
    assert [x["why"] for x in record(cli, "O-2")["lines"]] == [None]
    cli.ok("undo", "--why", "again")
    # no answer: recorded all the same
    assert "Why?" in asked(cli, monkeypatch, "\n", "reorder", "place", SUPPLIER, "KIT=0", "SWAB=50")
    assert cli.ask("records", "history")["entries"][-1]["what"].endswith(
        "not as proposed (50 x SWAB, not 0; 8 x KIT left out): no reason given"
    )


def test_nobody_is_asked_where_nobody_is_there(cli: Line) -> None:
    said = cli("reorder", "place", SUPPLIER, "KIT=12", "--json")
    assert (said.code, said.json["differs"]) == (0, [{"product": "KIT", "quantity": 12, "proposed": 8}])
    assert said.json["what"].endswith("not as proposed (12 x KIT, not 8): no reason given")


def test_at_a_terminal_the_order_that_it_fits_is_offered(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=8")
    words = ("stock", "receive", "kit", "--lot", "L", "--expiry", "2026-12-31", "--quantity", 2, "--into", "cold one")
    assert "still to come of O-1" in asked(cli, monkeypatch, "n\n", *words)
    assert counts(record(cli)) == [("KIT", 8, 0, 8)]
    asked(cli, monkeypatch, "y\n", *words)
    assert counts(record(cli)) == [("KIT", 8, 2, 6)]
    cli.ok("reorder", "place", SUPPLIER, "KIT=4")
    # two orders it could be of: not asked
    assert "Is this" not in asked(cli, monkeypatch, "", *words)


GROUP = """
[[site]]
name = "North"
HOURS
[[site]]
name = "South"
HOURS
[[fridge]]
name = "Cold one"
site = "North"
"""


def test_a_group_keeps_the_orders_of_its_sites_apart(line) -> None:
    hours = next(x for x in PRACTICE.splitlines() if x.startswith("hours"))
    text = PRACTICE.replace(hours + "\n", "").replace(
        '[[fridge]]\nname = "Cold one"\n', GROUP.replace("HOURS", hours), 1
    )
    text = text.replace('name = "Cold two"\n', 'name = "Cold two"\nsite = "South"\n').replace(
        'name = "Cupboard"\n', 'name = "Cupboard"\nsite = "South"\n'
    )
    cli = line(text)
    cli.ok("--site", "North", "reorder", "place", SUPPLIER, "KIT=4")
    cli.ok("--site", "South", "reorder", "place", SUPPLIER, "KIT=4")
    assert [o["site"] for o in cli.ask("--site", "South", "reorder", "orders")["orders"]] == ["South"]
    assert cli("--site", "South", "reorder", "cancel", "O-1", "--why", "x").code == 3
    said = cli(
        "stock", "receive", "KIT", "--lot", "L", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold two",
        "--order", "O-1", "--json",
    )  # fmt: skip
    assert (said.code, said.json["warnings"]) == (1, ["O-1 is of North, this went to Cold two of South"])
    assert cli("--site", "South", "reorder", "sheet", "O-1", "--out", "s.html").code == 3


def test_orders_at_eighty_columns(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    import shutil

    monkeypatch.setattr(shutil, "get_terminal_size", lambda fallback: os.terminal_size((80, 24)))
    cli.ok("reorder", "place", SUPPLIER, "KIT=8", "SWAB=150", "--why", "a course in the spring and the summer after it")
    came(cli, 3, "KIT", "--order", "O-1", **WED)
    cli.ok("reorder", "expect", "O-1", "--on", "2026-03-11", **THU)
    for words in ((), ("--all",), ("O-1",)):
        said = cli("reorder", "orders", *words, **THU)
        assert said.code == 0
        assert max(map(len, said.out.splitlines())) <= 80, said.out
    shown = cli("reorder", "orders", "O-1", **THU).out
    assert "due Wed 11 Mar 2026" in shown and "expected on Wed 11 Mar 2026" in shown
    assert "3 x KIT lot L1 into Cold one" in shown


def test_an_order_from_before_the_practice_had_sites(line) -> None:
    """It is of the first site, as everything is that names none (derived)."""
    cli = line()
    cli.ok("reorder", "place", SUPPLIER, "KIT=4")
    hours = next(x for x in PRACTICE.splitlines() if x.startswith("hours"))
    text = PRACTICE.replace(hours + "\n", "").replace(
        '[[fridge]]\nname = "Cold one"\n', GROUP.replace("HOURS", hours), 1
    )
    text = text.replace('name = "Cold two"\n', 'name = "Cold two"\nsite = "South"\n')
    cli.file("p2.toml", text.replace('name = "Cupboard"\n', 'name = "Cupboard"\nsite = "South"\n'))
    cli.ok("practice", "load", "p2.toml", "--yes", "--at", "2026-03-03T09:00", **WED)
    assert [o["site"] for o in cli.ask("reorder", "orders", **WED)["orders"]] == ["North"]
    assert came(cli, 2, "KIT", "--order", "O-1", **WED).json["warnings"] == []
    assert came(cli, 2, **WED).json["notes"][0] == "KIT is still to come of O-1 (2): this was not counted against it"
