"""In a group the order list first moves what one site has too many of to where it is needed; derived: counted by hand.

The tests' practice at two sites, 10:00 on Monday 2 March 2026. An order of that day is warm on Thursday the 5th at 18:00;
the one after it on Thursday the 12th. Two procedures a week are expected at each site: 3.58 until then (2 x (46 + 40) / 48 staffed hours).
"""

import os
import shlex
import shutil

import pytest
from conftest import PRACTICE, Line

HOURS = next(x for x in PRACTICE.splitlines() if x.startswith("hours"))
SITES = f'[[site]]\nname = "North"\n{HOURS}\n[[site]]\nname = "South"\n{HOURS}\n'
SUPPLIER = "Harbour Supplies"


def group(text: str = PRACTICE) -> str:
    text = text.replace(HOURS + "\n", "").replace("[[fridge]]\n", SITES + "[[fridge]]\n", 1)
    for name, site in (("Cold one", "North"), ("Cold two", "South"), ("Cupboard", "North")):
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\nsite = "{site}"\n')
    return text + '[[shelf]]\nname = "Top shelf"\nsite = "South"\n'


def came(cli: Line, n: int, lot: str, expiry: str, product: str = "KIT", into: str = "Cold one") -> None:
    cli.ok(
        "stock", "receive", product, "--lot", lot, "--expiry", expiry, "--quantity", n, "--into", into,
        "--at", "2026-03-02T08:00",
    )  # fmt: skip


def lines(said):
    return {(s["site"], x["product"]): x for s in said["suppliers"] for x in s["lines"]}


def test_what_expires_at_one_site_serves_the_other_before_anything_is_ordered(where, line) -> None:
    cli = line(group(), where=where)
    came(cli, 10, "L1", "2026-03-12")
    said = cli.ask("reorder", "list")
    # until Thursday the 12th is over 3.58 are expected at each: 6.42 are left at North, of which a bad case until its
    # own order is warm leaves enough; South can use 3 of them, as it has nothing
    (move,) = said["transfers"]
    assert {k: move[k] for k in ("product", "lot", "quantity", "from_site", "to_site", "reason", "cold", "to")} == {
        "product": "KIT", "lot": "L1", "quantity": 3, "from_site": "North", "to_site": "South", "reason": "expiring",
        "cold": True, "to": "Cold two",
    }  # fmt: skip
    south = lines(said)["South", "KIT"]
    # Poisson 3.58 reaches .95 at 7: without the transfer 7 needed and 8 ordered
    assert (south["need"], south["usable"], south["order_quantity"]) == (4, 3, 4)
    assert (south["transfer_in"], south["transfer_out"]) == (3, 0)
    assert south["why"][-1] == "3 of what is there to come from North first"
    assert (
        south["need"]
        == south["known_demand"]
        + south["unbooked_quantile"]
        - (south["usable"] - south["expiring_unused"])
        - south["on_order"]
    )
    # each site alone is told of it too
    for site in ("North", "South"):
        one = cli.ask("--site", site, "reorder", "list")
        assert one["transfers"] == [move]
        assert {x["site"] for x in one["suppliers"]} <= {site}
        assert lines(one) == {k: v for k, v in lines(said).items() if k[0] == site}
    # typed as it stands, it is done; the list then is the one that was shown
    words = shlex.split(move["command"])[1:]
    done = cli(*words, "--json")
    assert (done.code, done.json["notes"]) == (
        0,
        ["KIT went from North to South: how cold it was on the way is not on record"],
    )
    after = cli.ask("reorder", "list")
    assert after["transfers"] == []
    for key, row in lines(said).items():
        left_out = {"why", "transfer_in", "transfer_out"}
        assert {k: v for k, v in lines(after)[key].items() if k not in left_out} == {
            k: v for k, v in row.items() if k not in left_out
        }


def test_what_is_held_or_has_no_place_to_go_to_stays(line) -> None:
    cli = line(group())
    came(cli, 10, "L1", "2026-03-12")
    cli.ok("stock", "quarantine", "KIT", "L1", "--quantity", 8, "--why", "label")
    # two are free, and North itself needs them
    assert cli.ask("reorder", "list")["transfers"] == []
    cli.ok("undo", "--why", "slip", "--by", "AB")
    assert cli.ask("reorder", "list")["transfers"][0]["quantity"] == 3
    # only two spaces are left in the fridge to which it would go
    came(cli, 38, "X", "2026-03-01", into="Cold two")
    assert cli.ask("reorder", "list")["transfers"][0]["quantity"] == 2
    cli.ok("stock", "discard", "KIT", "X", "--quantity", 38, "--why", "expired", "--by", "AB")
    cli.ok("fridge", "off", "Cold two", "--why", "defrosting")
    assert cli.ask("reorder", "list")["transfers"] == []


def test_a_supply_goes_from_shelf_to_shelf_and_nothing_is_said_of_cold(line) -> None:
    text = PRACTICE.replace("contains = { SWAB = 4 }", "")
    cli = line(group(text))
    came(cli, 400, "S1", "2027-12-31", "SWAB", "Cupboard")
    (move,) = [t for t in cli.ask("reorder", "list")["transfers"] if t["product"] == "SWAB"]
    # no warm-up: until Wednesday the 11th, 2 x (46 + 30) / 48 = 3.17; Poisson reaches .95 at 6 (.9574): 24 swabs
    assert (move["quantity"], move["reason"], move["to"], move["cold"]) == (24, "surplus", "Top shelf", False)
    assert lines(cli.ask("reorder", "list")).get(("South", "SWAB")) is None
    # where some stands already, it goes there
    came(cli, 4, "S2", "2027-12-31", "SWAB", "Cold two")
    (move,) = [t for t in cli.ask("reorder", "list")["transfers"] if t["product"] == "SWAB"]
    assert (move["quantity"], move["to"]) == (20, "Cold two")


def test_whoever_orders_is_told_what_the_order_counts_on(line) -> None:
    cli = line(group())
    came(cli, 10, "L1", "2026-03-12")
    said = cli.ask("--site", "South", "reorder", "place", SUPPLIER)
    assert [x["quantity"] for x in said["lines"]] == [4]
    assert any(x.startswith("this counts on 3 x KIT lot L1") for x in said["notes"])
    assert "3 x KIT lot L1" in cli("reorder", "list").out


def test_the_screen_says_it_first(line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "get_terminal_size", lambda fallback: os.terminal_size((80, 24)))
    cli = line(group())
    came(cli, 10, "L1", "2026-03-12")
    for words in (("list",), ("explain", "KIT")):
        out = cli("reorder", *words).out
        assert out.startswith("First, between the sites")
        assert 'stock move KIT L1 --quantity 3 --from "Cold one" --to "Cold two"' in out
        assert "keep KIT at 2.0 to 6.0 °C on the way" in out
        assert "Caution: KIT: Do not use if the seal is broken." in out
        assert max(map(len, out.splitlines())) <= 80


def test_one_site_has_nobody_to_ask(cli: Line) -> None:
    came(cli, 10, "L1", "2026-03-12")
    said = cli.ask("reorder", "list")
    assert said["transfers"] == [] and all(x["transfer_in"] == x["transfer_out"] == 0 for x in lines(said).values())
