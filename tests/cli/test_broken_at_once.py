"""Who takes kits away is told at once which bookings that breaks: those that `warmup check` has lacking a kit now, and had not.

Derived throughout from the tests' practice: 24 h to warm, 72 h out at most, staffed 08:00 to 18:00; Amsterdam, one hour ahead
of UTC, now Monday 2026-03-02 10:00 there.
"""

from collections.abc import Callable
from typing import Any

import pytest
from conftest import PRACTICE, Line

BY = ("--by", "AB")


def stock(line: Line, n: int, lot: str = "A1", into: str = "Cold one", product: str = "KIT", **at: str) -> None:
    line.ok(
        "stock", "receive", product, "--lot", lot, "--expiry", "2026-12-31", "--quantity", n, "--into", into,
        "--at", at.get("at", "2026-03-01T08:00"),
    )  # fmt: skip


def book(line: Line, start: str, *more: str) -> str:
    said = line.ask("booking", "add", "white", "--start", start, "--patient", f"P-{start[5:]}", *more)
    return str(said["booking"])


def lacking(line: Line, **now: str) -> set[str]:
    """The bookings that no kit serves, by the look that anybody may take."""
    rows = line.ask("warmup", "check", **now)["bookings"]
    return {r["booking"] for r in rows if r["state"] in ("late", "blocked", "short")}


def takes(line: Line, *words: Any, now: str | None = None) -> tuple[list[str], Any]:
    """(what the command says it broke, its answer); the same is to be seen before and after it, and nothing else."""
    when = {} if now is None else {"now": now}
    before = lacking(line, **when)
    said = line(*words, "--json", now=now)
    assert said.code in (0, 1), said
    broken: list[str] = said.json["broken"]
    assert set(broken) == lacking(line, **when) - before and len(set(broken)) == len(broken)
    warned = [w for w in said.json["warnings"] if w.startswith("B-")]
    assert [w.split(":")[0] for w in warned] == broken
    assert said.code == 1 or not broken
    return broken, said


def test_quarantine_names_the_bookings_that_lose_their_kit(both: Line) -> None:
    stock(both, 2)
    book(both, "2026-03-05T10:00"), book(both, "2026-03-06T10:00")
    assert book(both, "2026-03-09T10:00") == "B-3"  # there is none for it from the beginning
    broken, said = takes(both, "stock", "quarantine", "KIT", "A1", "--quantity", 1, "--why", "torn")
    assert (broken, said.code) == (["B-2"], 1)
    assert "B-2: short: none of the 1 usable KIT is left that lasts until it ends" in said.json["warnings"]
    shown = both("stock", "quarantine", "KIT", "A1", "--quantity", 2, "--why", "all of it")
    assert shown.code == 1 and "! B-1: short: there is no usable KIT" in shown.out
    assert "stockroom warmup check" in shown.out
    both.ok("undo", "R-7", "--why", "slip")
    assert takes(both, "stock", "quarantine", "KIT", "A1", "--quantity", 2, "--why", "all of it")[0] == ["B-1"]


def test_what_is_held_already_is_discarded_without_breaking_anything(both: Line) -> None:
    stock(both, 2)
    book(both, "2026-03-05T10:00")
    assert takes(both, "stock", "quarantine", "KIT", "A1", "--quantity", 1, "--why", "torn")[0] == []
    both.now = "2026-03-02T09:01:00+00:00"
    assert takes(both, "stock", "discard", "KIT", "A1", "--quantity", 1, "--why", "torn", *BY)[0] == []
    broken, said = takes(both, "stock", "discard", "KIT", "A1", "--quantity", 1, "--why", "dropped", *BY)
    assert (broken, said.code) == (["B-1"], 1)


def test_a_kit_that_is_out_leaves_its_booking_late(both: Line) -> None:
    stock(both, 2)
    book(both, "2026-03-03T11:00")  # a kit has to be out by 11:00 today
    both.ok("warmup", "pull", "B-1")
    broken, said = takes(
        both, "stock", "discard", "--pull", "P-1", "--why", "dropped", *BY, now="2026-03-02T12:00:00+00:00"
    )
    assert broken == ["B-1"] and "B-1: late: it had to be out by Mon 2 Mar 11:00" in said.json["warnings"][0]


@pytest.mark.parametrize(
    "words",
    [
        ("stock", "quarantine", "KIT", "A1", "--pull", "P-1", "--why", "torn"),
        ("warmup", "back", "P-1"),
        ("stock", "return", "KIT", "A1", "--quantity", 1, "--place", "P-1", "--why", "lent"),
        ("undo", "R-5", "--why", "the wrong box"),
    ],
)
def test_every_way_in_which_a_kit_that_is_out_goes(cli: Line, words: tuple[Any, ...]) -> None:
    stock(cli, 2)
    book(cli, "2026-03-03T11:00")
    book(cli, "2026-03-06T10:00")
    cli.ok("warmup", "pull", "B-1")
    assert takes(cli, *words, now="2026-03-02T12:00:00+00:00")[0] == ["B-1"]


def test_a_kit_promised_to_another_booking(cli: Line) -> None:
    stock(cli, 1)
    book(cli, "2026-03-03T11:00")
    cli.ok("warmup", "pull", "B-1")
    book(cli, "2026-03-03T14:00")
    assert takes(cli, "warmup", "promise", "P-1", "B-2")[0] == ["B-1"]


@pytest.mark.parametrize(
    "words",
    [
        ("stock", "use", "KIT", 1, "--why", "training"),
        ("stock", "return", "KIT", "A1", "--quantity", 1, "--why", "lent"),
        ("stock", "count", "Cold one", "count.csv"),
        ("undo", "R-3", "--why", "counted twice"),
    ],
)
def test_every_way_in_which_a_kit_leaves_the_fridge(cli: Line, words: tuple[Any, ...]) -> None:
    stock(cli, 1)
    stock(cli, 1)
    cli.file("count.csv", "product,lot,quantity\nKIT,A1,1\n")
    book(cli, "2026-03-05T10:00"), book(cli, "2026-03-06T10:00")
    assert takes(cli, *words)[0] == ["B-2"]


def test_what_is_counted_at_more_or_on_a_shelf_breaks_nothing(cli: Line) -> None:
    stock(cli, 1)
    stock(cli, 8, "S1", "Cupboard", "SWAB")
    book(cli, "2026-03-05T10:00")
    cli.file("more.csv", "product,lot,quantity\nKIT,A1,2\n")
    cli.file("fewer.csv", "product,lot,quantity\nSWAB,S1,5\n")
    assert takes(cli, "stock", "count", "Cold one", "more.csv")[0] == []
    assert takes(cli, "stock", "count", "Cupboard", "fewer.csv")[0] == []
    assert takes(cli, "stock", "quarantine", "SWAB", "S1", "--why", "torn")[0] == []


def test_a_recall_that_holds_names_them_and_asks_for_a_person(both: Line) -> None:
    stock(both, 1)
    stock(both, 1, "A2")
    book(both, "2026-03-05T10:00"), book(both, "2026-03-06T10:00")
    assert "broken" not in both.ask("recall", "KIT", "A1")  # that only looks
    broken, said = takes(both, "recall", "KIT", "A1", "--hold", "--notice", "letter")
    assert (broken, said.code, said.json["attention"]) == (["B-2"], 1, 1)
    shown = both("recall", "KIT", "--all", "--hold")
    assert shown.code == 1 and "B-1: short: there is no usable KIT" in shown.out


def test_what_to_type_stands_once_under_all_of_them(cli: Line) -> None:
    stock(cli, 3)
    for day in ("05", "06", "09"):
        book(cli, f"2026-03-{day}T10:00")
    shown = cli("stock", "quarantine", "KIT", "A1", "--why", "torn").out
    assert shown.count("short: there is no usable KIT") == 3 and shown.count("stockroom warmup check") == 1
    assert shown.index("B-3: short") < shown.index("stockroom warmup check")


def test_a_booking_that_wants_two_kits_and_loses_the_second_one_is_named_once(line: Callable[..., Line]) -> None:
    cli = line(PRACTICE.replace('product = "KIT", each = 1', 'product = "KIT", each = 3'))
    stock(cli, 2)
    book(cli, "2026-03-05T10:00")
    said = cli.ask("stock", "quarantine", "KIT", "A1", "--why", "torn")  # one was lacking, now all three are
    assert said["broken"] == ["B-1"] and len([w for w in said["warnings"] if w.startswith("B-1")]) == 1


def test_what_was_cured_or_is_over_by_the_time_it_is_recorded_is_not_told(both: Line) -> None:
    stock(both, 1)
    book(both, "2026-03-05T10:00")
    past = ("--at", "2026-03-02T10:00")
    later = "2026-03-03T09:00:00+00:00"
    hold = ("stock", "quarantine", "KIT", "A1", "--why", "torn", *past, "--json")
    both.now = later
    assert both(*hold).json["broken"] == ["B-1"]
    both.ok("undo", "R-4", "--why", "trial")
    stock(both, 1, "A2", at="2026-03-02T16:00")
    said = both(*hold)
    assert said.json["broken"] == [] and not any(w.startswith("B-") for w in said.json["warnings"])
    both.ok("undo", "R-7", "--why", "trial")
    both.ok("booking", "cancel", "B-1", "--why", "moved away", "--at", "2026-03-02T17:00")
    assert both(*hold).json["broken"] == []


def test_a_decision_on_an_excursion_breaks_nothing_more(cli: Line) -> None:
    stock(cli, 1)
    book(cli, "2026-03-05T10:00")
    cli.ok("fridge", "log", "9.5", "--fridge", "Cold one")
    assert lacking(cli) == {"B-1"}
    cli.ok("fridge", "decide", "E-1", "--discard", "--why", "too warm", *BY)
    assert lacking(cli) == {"B-1"}


def test_of_a_group_the_site_at_which_kits_go(line: Callable[..., Line]) -> None:
    hours = next(x for x in PRACTICE.splitlines() if x.startswith("hours"))
    sites = f'[[site]]\nname = "North"\n{hours}\n[[site]]\nname = "South"\n{hours}\n'
    text = PRACTICE.replace(hours + "\n", "").replace("[[fridge]]\n", sites + "[[fridge]]\n", 1)
    for name, site in (("Cold one", "North"), ("Cold two", "South"), ("Cupboard", "North")):
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\nsite = "{site}"\n')
    cli = line(text)
    stock(cli, 1)
    stock(cli, 1, into="Cold two")
    for site in ("North", "South"):
        cli.ok("--site", site, "booking", "add", "white", "--start", "2026-03-05T10:00", "--patient", f"P-{site[0]}1")
    assert takes(cli, "--site", "South", "stock", "quarantine", "KIT", "A1", "--why", "torn")[0] == ["B-2"]
    assert takes(cli, "recall", "KIT", "A1", "--hold")[0] == ["B-1"]
