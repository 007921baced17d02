"""Ordering through the command line: the answers, the exit codes, the screen, the CSV file; on SQLite and PostgreSQL.

The tests' practice: staffed Monday to Thursday 08:00 to 18:00, Friday to 16:00 in Amsterdam; orders on Mondays and
Thursdays until 14:00, here two days later. Now is Monday 2 March 2026, 10:00 there.
"""

import csv
import os
import shutil
import subprocess
import sys

import pytest
from conftest import PRACTICE, Line

LINE_KEYS = (
    "product order_quantity packs covers_until known_demand unbooked_mean unbooked_quantile usable on_order expiring_unused "
    "need target target_kind achieved limited_by expected_waste why"
)
SUPPLIER = "Harbour Supplies"


def booked(line: Line, *starts: str) -> None:
    for n, start in enumerate(starts):
        line.ok("booking", "add", "white", "--start", start, "--patient", f"P-{n}", "--at", "2026-03-02T09:00")


def received(line: Line, product: str, n: int, into: str, *more: str) -> None:
    line.ok(
        "stock", "receive", product, "--lot", "A1", "--expiry", "2026-12-31", "--quantity", n, "--into", into,
        *(more or ("--at", "2026-03-02T08:30")),
    )  # fmt: skip


def entries(line: Line) -> int:
    return len(line.ask("records", "history")["entries"])


def test_the_list_in_full(both: Line) -> None:
    received(both, "KIT", 2, "Cold one")
    received(both, "SWAB", 60, "Cupboard")
    booked(both, "2026-03-09T10:00", "2026-03-10T10:00", "2026-03-10T12:00")
    said = both("reorder", "list", "--json")
    assert said.code == 0
    (supplier,) = said.json["suppliers"]
    # derived: cut-off 14:00 in Amsterdam is 13:00 UTC in winter; Monday and two days
    assert (supplier["supplier"], supplier["order_by"], supplier["arrives"]) == (
        SUPPLIER,
        "2026-03-02T13:00:00Z",
        "2026-03-04",
    )
    assert (supplier["total"], supplier["currency"]) == (200.0, "EUR")
    (row,) = supplier["lines"]
    assert set(LINE_KEYS.split()) <= set(row)
    # derived: the order of Monday the 9th is here on Wednesday the 11th at 18:00 (17:00 UTC), warm on Thursday. Of this
    # week 46 of 48 staffed hours are left and of the next one 40; two a week are expected. 2 x 46 / 48 = 1.9167, and
    # 2 x 40 / 48 - 3 booked is nothing more. Poisson 1.9167 reaches .95 at 4: .9523 (at 3: .8696)
    assert row["covers_until"] == "2026-03-12T17:00:00Z"
    want = {
        "product": "KIT", "known_demand": 3, "unbooked_quantile": 4, "usable": 2, "on_order": 0, "expiring_unused": 0, "need": 5,
        "order_quantity": 8, "packs": 2, "target": 0.95, "target_kind": "cycle", "limited_by": ["pack"],
    }  # fmt: skip
    assert {k: row[k] for k in want} == want
    assert row["unbooked_mean"] == pytest.approx(92 / 48, abs=1e-6)
    assert len(row["why"]) >= 3
    assert (
        row["need"]
        == row["known_demand"] + row["unbooked_quantile"] - (row["usable"] - row["expiring_unused"]) - row["on_order"]
    )
    # a kit holds the four swabs that it takes: six cycles need none from the cupboard
    assert said.json["nothing_needed"] == ["SWAB"]
    assert [(j["procedure"], j["chance"]) for j in said.json["joint"]] == [("white", row["no_shortage"])]


def test_an_order_from_the_list_to_the_fridge(both: Line) -> None:
    booked(both, "2026-03-09T10:00")
    placed = both("reorder", "place", "harbour supplies", "--json")
    assert placed.code == 0
    assert (placed.json["order"], placed.json["supplier"], placed.json["due"]) == ("O-1", SUPPLIER, "2026-03-04")
    (row,) = placed.json["lines"]
    assert (row["product"], row["quantity"], row["packs"], placed.json["total"]) == ("KIT", 8, 2, 200.0)
    assert placed.json["entry"].startswith("R-")
    later = {"now": "2026-03-02T09:05:00+00:00"}
    assert both.ask("reorder", "list", **later)["suppliers"] == []
    said = both("reorder", "orders", "--json", **later)
    assert (said.code, said.json["orders"][0]["state"]) == (0, "open")
    # nothing has come by Thursday
    thursday = {"now": "2026-03-05T09:00:00+00:00"}
    said = both("reorder", "orders", "--json", **thursday)
    assert (said.code, said.json["attention"], said.json["orders"][0]["state"]) == (1, 1, "overdue")
    listed = both("reorder", "list", "--json", **thursday)
    assert listed.code == 1
    assert listed.json["overdue"][0]["order"] == "O-1" and "O-1" in listed.json["warnings"][0]
    assert listed.json["suppliers"][0]["lines"][0]["on_order"] == 0
    said = both("reorder", "expect", "O-1", "--on", "fri", "--json", **thursday)
    assert (said.code, said.json["due"], said.json["was_due"]) == (0, "2026-03-06", "2026-03-04")
    assert both("reorder", "list", **thursday).code == 0
    friday = {"now": "2026-03-06T12:00:00+00:00"}
    args = (
        "stock",
        "receive",
        "KIT",
        "--lot",
        "N",
        "--expiry",
        "2027-01",
        "--quantity",
        6,
        "--into",
        "Cold one",
        "--order",
        "O-1",
    )
    assert both(*args, **friday).code == 0
    (row,) = both.ask("reorder", "orders", **friday)["orders"][0]["lines"]
    want = {"product": "KIT", "quantity": 8, "received": 6, "to_come": 2, "proposed": 8, "pack_price": 100.0}
    assert row == {**want, "why": None}
    said = both("reorder", "close", "O-1", "--why", "two were broken", "--json", **friday)
    assert (said.code, said.json["state"], said.json["not_coming"]) == (
        0,
        "closed",
        [{"product": "KIT", "quantity": 2}],
    )
    assert both.ask("reorder", "orders", **friday)["orders"] == []
    assert both.ask("reorder", "orders", "--as-of", "2026-03-06T12:59", **friday)["orders"] != []
    assert both("records", "verify", **friday).code == 0


def test_cancel(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=4")
    said = cli("reorder", "cancel", "O-1", "--why", "double", "--json")
    assert (said.code, said.json["state"]) == (0, "cancelled")
    assert cli.ask("reorder", "orders")["orders"] == []
    assert cli("reorder", "cancel", "O-1", "--why", "again").code == 3


def test_undo_takes_an_order_back(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=4")
    assert cli.ask("reorder", "orders")["orders"]
    cli.ok("undo", "--why", "typed twice")
    assert cli.ask("reorder", "orders")["orders"] == []


REFUSED = (
    (("place", "Harbor Supplies"), 3, 'did you mean "Harbour Supplies"'),
    (("place", SUPPLIER, "KIT=x"), 3, '"x" is not a whole number'),
    (("place", SUPPLIER, "KIT=0"), 3, "leaves nothing"),
    (("place", SUPPLIER, "SWAB=0"), 3, "nothing to leave out"),
    (("place", SUPPLIER, "KIT=-4"), 3, "-4 cannot be"),
    (("place", SUPPLIER, "KIT=1.5"), 3, "not a whole number"),
    (("place", SUPPLIER, "KIT=2000000"), 3, "slip"),
    (("place", SUPPLIER, "KIT"), 3, "not PRODUCT=N"),
    (("place", SUPPLIER, "=4"), 3, "not PRODUCT=N"),
    (("place", SUPPLIER, "KITT=4"), 3, 'did you mean "KIT"'),
    (("place", SUPPLIER, "KIT=4", "--at", "2026-03-02T11:00"), 3, "5 minutes ahead"),
    (("place",), 2, "SUPPLIER"),
    (("expect", "O-9", "--on", "fri"), 3, 'no order "O-9"'),
    (("expect", "O-1", "--on", "3/4/2026"), 3, "could be"),
    (("expect", "O-1", "--on", "2026-02-27"), 3, "Fri 27 Feb 2026"),
    (("expect", "O-1"), 2, "--on"),
    (("cancel", "O-1"), 2, "--why"),
    (("close", "R-1", "--why", "x"), 3, 'no order "R-1"'),
)


def test_what_is_refused_leaves_no_trace(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "SWAB=50")
    booked(cli, "2026-03-09T10:00")
    before = entries(cli)
    for words, code, err in REFUSED:
        said = cli("reorder", *words)
        assert (said.code, said.out) == (code, ""), words
        assert err in said.err, words
        assert entries(cli) == before, words


def test_nobody_orders_without_saying_who(cli: Line) -> None:
    cli.by = None
    assert cli("reorder", "place", SUPPLIER, "KIT=4").code == 3


def test_looking_at_what_there_is_not(cli: Line) -> None:
    for words in (("explain", "KITT"), ("explain",), ("list", "--csv", "no/such/folder/o.csv")):
        said = cli("reorder", *words, "--json")
        assert said.code == (2 if len(words) == 1 else 3)
        assert said.out == ""


def test_a_kit_for_a_booking_that_no_order_reaches_needs_a_person(cli: Line) -> None:
    booked(cli, "2026-03-03T15:00")
    said = cli("reorder", "list", "--json")
    assert said.code == 1
    assert said.json["warnings"][0].startswith("KIT: TOO LATE FOR 1")
    assert "! KIT: TOO LATE FOR 1" in cli("reorder", "list").out


def test_explain_shows_the_sum_and_what_it_is_made_of(cli: Line) -> None:
    received(cli, "KIT", 2, "Cold one")
    booked(cli, "2026-03-09T10:00", "2026-03-10T10:00")
    cli.ok("reorder", "place", SUPPLIER, "SWAB=50")
    said = cli("reorder", "explain", "kit", "--json")
    assert said.code == 0
    (row,) = said.json["lines"]
    assert set(LINE_KEYS.split()) <= set(row)
    assert row == row | cli.ask("reorder", "list")["suppliers"][0]["lines"][0]
    assert [(b["booking"], b["quantity"]) for b in row["bookings"]] == [("B-1", 1), ("B-2", 1)]
    assert sum(b["quantity"] for b in row["bookings"]) == row["known_demand"]
    # the expiry day itself is still good: until midnight in Amsterdam
    assert row["stock"] == [{"until": "2026-12-31T23:00:00Z", "quantity": 2}]
    assert row["expected"][0]["procedure"] == "white" and row["expected"][0]["mean"] == row["unbooked_mean"]
    # 80 spaces, 2 kits; the swabs on order need no fridge
    assert (row["orders"], row["free_space"]) == ([], 78)
    screen = cli("reorder", "explain", "KIT").out
    for text in ("booked until then", "B-1, B-2", "= need", "chance of no shortage"):
        assert text in screen


def test_explain_draws_how_the_stock_will_go(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "get_terminal_size", lambda fallback: os.terminal_size((80, 24)))
    received(cli, "KIT", 2, "Cold one")
    booked(cli, "2026-03-09T10:00", "2026-03-10T10:00", "2026-03-10T12:00")
    (row,) = cli.ask("reorder", "explain", "KIT")["lines"]
    path = row["outlook"]
    assert path["points"][0] == {"at": "2026-03-02T09:00:00Z", "expected": 2.0, "bad_case": 2.0}
    assert path["arrivals"] == [{"at": "2026-03-04T17:00:00Z", "quantity": 8, "order": "this order"}]
    # derived: 2 there and 8 that come, less 3 booked, 1.92 expected or 4 at the target
    (end,) = [x for x in path["points"] if x["at"] == row["covers_until"]]
    assert end["bad_case"] == 2 + 8 - 3 - row["unbooked_quantile"] == 3
    assert end["expected"] == pytest.approx(7 - row["unbooked_mean"], abs=1e-3)
    shown = cli("reorder", "explain", "KIT").out
    assert "+8" in shown and "in the bad case" in shown and len(shown.splitlines()) <= 24
    said = cli("reorder", "explain", "KIT", "--out", "kit.svg")
    assert said.code == 0 and "kit.svg" in said.out and "in the bad case" not in said.out
    assert "this order" in (cli.folder / "kit.svg").read_text(encoding="utf-8")


def test_the_screen_is_calm_at_eighty_columns(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    received(cli, "KIT", 2, "Cold one")
    booked(cli, "2026-03-03T14:00", "2026-03-03T15:00", "2026-03-09T10:00", "2026-03-10T10:00")
    cli.ok("reorder", "place", SUPPLIER, "SWAB=50", "--at", "2026-02-23T10:00")
    cli.ok("stock", "quarantine", "KIT", "A1", "--why", "label", "--quantity", 1)
    monkeypatch.setattr(shutil, "get_terminal_size", lambda fallback: os.terminal_size((80, 24)))
    shown = [cli("reorder", *words) for words in (("list",), ("explain", "KIT"), ("orders",))]
    for said in shown:
        assert said.code == 1
        assert max(map(len, said.out.splitlines())) <= 80, said.out
        assert len(said.out.splitlines()) <= 24, said.out
    # what needs a person comes first
    assert shown[0].out.startswith("! O-1 from Harbour Supplies was due")
    assert "! KIT: TOO LATE FOR 1" in shown[0].out and "! TOO LATE FOR 1" in shown[1].out
    assert "! overdue" in shown[2].out


def test_nothing_to_order_says_so(cli: Line) -> None:
    received(cli, "KIT", 40, "Cold one")
    said = cli("reorder", "list")
    assert (said.code, said.out.splitlines()[0]) == (0, "Nothing has to be ordered.")
    assert cli("reorder", "orders").out.startswith("No order is open.")


def test_the_csv_holds_what_is_proposed_and_no_formulas(line) -> None:
    text = PRACTICE.replace('name = "Cold kit"', 'name = "=1+1"').replace(f'"{SUPPLIER}"', '"@Sum, Ltd"')
    cli = line(text)
    booked(cli, "2026-03-09T10:00")
    said = cli("reorder", "list", "--csv", "order.csv", "--json")
    assert said.code == 0
    with (cli.folder / "order.csv").open(encoding="utf-8", newline="") as file:
        found = list(csv.reader(file))
    assert found == [
        ["supplier", "product", "name", "packs", "pieces", "pack_price", "total"],
        ["'@Sum, Ltd", "KIT", "'=1+1", "2", "8", "100.00", "200.00"],
    ]
    assert said.json["suppliers"][0]["lines"][0]["name"] == "=1+1"


def test_a_practice_with_prices_left_out(line) -> None:
    cli = line(PRACTICE.replace("pack_price = 100.0\n", ""))
    booked(cli, "2026-03-09T10:00")
    said = cli.ask("reorder", "list", "--csv", "o.csv")
    assert (said["suppliers"][0]["total"], said["suppliers"][0]["lines"][0]["cost"]) == (0.0, None)
    assert (cli.folder / "o.csv").read_text().splitlines()[1] == f"{SUPPLIER},KIT,Cold kit,2,8,,"
    placed = cli.ask("reorder", "place", SUPPLIER)
    assert (placed["lines"][0]["cost"], placed["total"]) == (None, 0.0)


def test_the_commands_load_only_what_every_command_line_loads() -> None:
    # The module is imported by every command line: what a command needs comes when it runs.
    code = "import sys, stockroom.cli.reorder; print([m for m in ('sqlalchemy', 'rich', 'numpy') if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.strip() == "[]"
