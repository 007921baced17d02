"""What a rehearsal orders first is what the order list proposes now, for any target that the practice might have.

Derived: the order list itself (its own cases stand elsewhere), asked for the target that is set. With a review a year ahead
there is one order in the weeks that are played, so what every run ordered shows what was played.
"""

from datetime import date, timedelta

import numpy as np
import pytest
from conftest import PRACTICE, Line

from stockroom.core.rehearsal import played
from stockroom.store.engine import opened
from stockroom.tasks.rehearsal_plan import days_needed, laid_out
from stockroom.tasks.rehearse import first_lines, source_of, turns_of
from stockroom.tasks.reorder import order_plan
from stockroom.tasks.rules import rules

pytestmark = pytest.mark.long  # it reckons; what it reads other tests read on any database


NOW = 1_772_442_000  # Monday 2026-03-02T09:00Z
SUPPLIER = "Harbour Supplies"
SHORT = PRACTICE.replace("shelf_life_days = 300", "shelf_life_days = 28")
BREAKS = "price_breaks = [{ packs = 3, pack_price = 60.0 }, { packs = 6, pack_price = 20.0 }]\n"
MADE_UP = {
    "plain": PRACTICE,
    "single pieces": PRACTICE.replace("pack_size = 4", "pack_size = 1"),
    "at least three packs": PRACTICE.replace("pack_size = 4", "pack_size = 2\nminimum_packs = 3"),
    "price breaks": PRACTICE.replace("pack_price = 100.0\n", "pack_price = 100.0\n" + BREAKS),
    "price breaks that spoil": SHORT.replace("pack_price = 100.0\n", "pack_price = 100.0\n" + BREAKS),
    "sure to be used": SHORT.replace("pack_size = 4", "pack_size = 1\nuse_chance = 0.9"),
    "short lives": SHORT.replace("shelf_life_days = 28", "shelf_life_days = 9").replace("pack_size = 4", "pack_size = 1"),
    "little room": PRACTICE.replace("capacity = 40", "capacity = 5").replace("pack_size = 4", "pack_size = 1"),
    "a fill target": PRACTICE.replace("margin_minutes = 0", 'margin_minutes = 0\ntarget_kind = "fill"'),
    "a large minimum": PRACTICE.replace('cutoff = "14:00"', 'cutoff = "14:00"\nminimum_order = 900.0'),
    "a review of three days": PRACTICE.replace("margin_minutes = 0", "margin_minutes = 0\nreview_days = 3"),
}  # fmt: skip


def receive(line: Line, lot: str, expiry: str, pieces: int, at: str, *more: object) -> None:
    words = ("--lot", lot, "--expiry", expiry, "--quantity", pieces, "--into", "Cold one", "--at", at)
    line.ok("stock", "receive", "KIT", *words, *more)


def book(line: Line, *starts: str) -> None:
    for n, start in enumerate(starts):
        line.ok("booking", "add", "white", "--start", start, "--patient", f"P-{n}", "--at", "2026-03-02T09:00")


def busy(line: Line, old: int = 2) -> Line:
    """Stock that expires at different times, bookings near and far, an order that is due on Wednesday."""
    if old:
        receive(line, "OLD", "2026-03-06", old, "2026-02-27T09:00")
    receive(line, "NEW", "2026-12-31", 1, "2026-02-27T09:00")
    line.ok("reorder", "place", SUPPLIER, "KIT=1", "--why", "x", "--at", "2026-02-27T09:30")
    book(line, "2026-03-05T10:00", "2026-03-10T10:00", "2026-03-11T10:00", "2026-03-27T10:00")
    return line


def measured(line: Line) -> Line:
    """Six orders on record: four of two days, one of four and one of fourteen."""
    for number, days in enumerate((2, 2, 4, 2, 14, 2), 1):
        monday = date(2026, 1, 5) + timedelta(weeks=number)
        line.ok("reorder", "place", SUPPLIER, "KIT=4", "--at", f"{monday}T09:00")
        day = monday + timedelta(days=days)
        receive(line, f"L{number}", "2027-01", 4, f"{day}T10:00", "--order", f"O-{number}")
        words = ("--quantity", 4, "--why", "x", "--by", "AB", "--at", f"{day}T11:00")
        line.ok("stock", "discard", "KIT", f"L{number}", *words)
    return line


BY_THE_SWAB = (
    PRACTICE.replace("pack_size = 50", "pack_size = 1").replace('{ product = "KIT", each = 1 }, ', "").replace("per_cycles = 2, spare = 1", "each = 1")
)  # fmt: skip


def remembered(line: Line, weeks: int = 12, ahead: tuple[int, ...] = (9, 1, 5)) -> Line:
    """Two bookings a week for so many past weeks, a third every other week, made so many days before; all are done. Those
    of the weeks to come are booked as far as they would be by now.
    """
    words = (
        "--lot",
        "S1",
        "--expiry",
        "2028-01-31",
        "--quantity",
        60,
        "--into",
        "Cupboard",
        "--at",
        "2025-11-24T09:00",
    )
    line.ok("stock", "receive", "SWAB", *words)
    monday, rows = date(2026, 3, 2), ["id,procedure,start,patient,state,made"]
    for week in range(-weeks, 3):
        for n, before in enumerate(ahead[: 3 - week % 2]):
            start = monday + timedelta(weeks=week, days=1 + n)
            if (made := start - timedelta(days=before)) < monday:
                name = f"{week + weeks}-{n}"
                rows.append(f"{name},white,{start}T10:00,P-{name},,{made}T12:00")
    line.file("b.csv", "\n".join(rows) + "\n")
    assert not line.ask("booking", "import", "b.csv")["rejected"]
    for n in range(1, 1 + sum(3 - week % 2 for week in range(-weeks, 0))):
        line.ok("booking", "done", f"B-{n}")
    return line


def listed(line: Line, product: str) -> int:
    rows = [r for s in line.ask("reorder", "list")["suppliers"] for r in s["lines"] if r["product"] == product]
    return rows[0]["order_quantity"] if rows else 0


def first_is_as_listed(line: Line, product: str = "KIT") -> dict:
    """For the target that holds, and for another once it is set. Answers with the site's rehearsal."""
    (site,) = line.ask("reorder", "rehearse", product, "--runs", 100, "--weeks", 4)["sites"]
    first = {row["target"]: row["first_order"] for row in site["targets"]}
    assert first[site["target"]] == listed(line, product)
    for target in (0.8, 0.99):
        line.ok("practice", "target", product, target, "--why", "to see", now="2026-03-02T09:00:00+00:00")
        assert first[target] == listed(line, product), target
        line.ok("undo", "--why", "seen")
    return site


@pytest.mark.parametrize("name", MADE_UP)
def test_the_first_order_is_that_of_the_list(line, name: str) -> None:
    made = busy(line(MADE_UP[name]), old=0)
    site = first_is_as_listed(made)
    assert site["lead_orders"] is None
    alone, first = undecided(made), [row["first_order"] for row in site["targets"]]
    # where what is expected to be used cuts the order: a rehearsal takes today for over, the list does not
    near = {"price breaks that spoil": 4, "short lives": 1}.get(name, 0)
    assert all(abs(a - b) <= near for a, b in zip(alone, first, strict=True)), (alone, first)


@pytest.mark.parametrize("name", ["plain", "single pieces", "price breaks", "a fill target"])
def test_and_where_lead_times_are_on_record(line, name: str) -> None:
    made = busy(measured(line(MADE_UP[name])), old=0)
    site = first_is_as_listed(made)
    assert site["lead_orders"] == 6
    assert "lead times: as on record, 6 orders took 2 to 14 days" in made.ok("reorder", "rehearse", "KIT").out
    assert undecided(made) == [row["first_order"] for row in site["targets"]]


def undecided(line: Line, product: str = "KIT") -> list[int]:
    """What the policy that is played orders first where it is left to itself. What is withheld because the whole supplier's
    order is worth too little is none of its business.
    """
    with opened(line.where).reading() as conn:
        rule = rules(conn, NOW)
        plan = order_plan(conn, rule, NOW)
        ((here, expected),) = plan.bases
        wanted = here.products[product]
        way = turns_of(here, wanted, 28)[:1]
        first = first_lines(plan, here, expected, wanted)
        source = source_of(conn, rule, here, expected, wanted, days_needed(here, wanted, way, 28))
        layout = laid_out(here, wanted, way, source, first, 28)
    forced = layout.plan.first
    assert forced is not None
    if any("supplier" in one.limited_by for one in first.values()):
        return forced[: len(first)].tolist()
    forced[:] = -1
    drawn = layout.orders.drawn(np.random.default_rng(1), 28, 5)
    got = played(layout.plan, lambda _, size: drawn, 5)
    return got.ordered[: len(first), 0].tolist()


@pytest.mark.parametrize("ahead", [(9, 1, 5), (0, 0, 0), (20, 15, 8)], ids=["some ahead", "none ahead", "far ahead"])
def test_and_where_the_practice_has_a_history(line, ahead: tuple[int, ...]) -> None:
    made = remembered(line(BY_THE_SWAB, at="2025-11-03T08:00:00+00:00"), ahead=ahead)
    site = first_is_as_listed(made, "SWAB")
    assert site["demand"]["source"] == "past weeks"
    assert undecided(made, "SWAB") == [row["first_order"] for row in site["targets"]]


def test_every_run_orders_it(line) -> None:
    # one order in the four weeks: all that is ordered, a year's worth of it
    made = busy(line(PRACTICE.replace("margin_minutes = 0", "margin_minutes = 0\nreview_days = 366")))
    site = first_is_as_listed(made)
    for row in site["targets"]:
        band = row["ordered_pieces"]
        assert band["mean"] * 28 / 365 == pytest.approx(row["first_order"]) and row["first_order"] > 0
        assert band["run_low"] == band["run_high"] == pytest.approx(band["mean"])


def test_after_the_transfers_that_are_proposed(line) -> None:
    # derived: two sites of which one has more than it needs: the list of the other counts on what it is to be given, and so
    # does its rehearsal, which begins with that stock
    text = PRACTICE.replace('hours = { mon', '[[site]]\nname = "Quay"\nhours = { mon', 1).replace(
        '[[fridge]]\nname = "Cold one"',
        '[[site]]\nname = "Hill"\nhours = { mon = ["08:00-18:00"], wed = ["08:00-18:00"] }\n\n[[fridge]]\nsite = "Quay"\nname = "Cold one"',
    ).replace('[[fridge]]\nname = "Cold two"', '[[fridge]]\nsite = "Hill"\nname = "Cold two"').replace("[[shelf]]", '[[shelf]]\nsite = "Quay"')  # fmt: skip
    made = line(text.replace("pack_size = 4", "pack_size = 1"))
    receive(made, "MANY", "2026-04-20", 30, "2026-02-27T09:00")
    plan = made.ask("reorder", "list")
    assert plan["transfers"]
    moved = sum(t["quantity"] for t in plan["transfers"])
    sites = {s["site"]: s for s in made.ask("reorder", "rehearse", "KIT", "--runs", 100, "--weeks", 4)["sites"]}
    assert (sites["Quay"]["stock"], sites["Hill"]["stock"]) == (30 - moved, moved)
    for s in plan["suppliers"]:
        rows = [r["order_quantity"] for r in s["lines"] if r["product"] == "KIT"]
        now = next(t for t in sites[s["site"]]["targets"] if t["target"] == 0.95)
        assert now["first_order"] == sum(rows)
