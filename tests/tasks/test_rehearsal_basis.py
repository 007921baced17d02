"""What a rehearsal is made of: past weeks from the record, and a plan that plays as the same does piece by piece.

Expectations are derived, beside each check.
"""

import numpy as np
import pytest
from conftest import PRACTICE, Line
from rehearsal_cases import by_the_piece

from stockroom.core.rehearsal import played
from stockroom.core.turns import turns
from stockroom.store.engine import opened
from stockroom.tasks.future_use import FromFile, days_ahead, from_file
from stockroom.tasks.order_basis import sites_now
from stockroom.tasks.past_weeks import past_weeks
from stockroom.tasks.rehearsal_plan import Layout, days_needed, laid_out
from stockroom.tasks.reorder import at_target, order_plan
from stockroom.tasks.rules import rules

NOW = 1_772_442_000  # Monday 2026-03-02T09:00Z, 10:00 in Amsterdam


def received(line: Line, product: str, lot: str, expiry: str, n: int, into: str, at: str) -> None:
    line.ok("stock", "receive", product, "--lot", lot, "--expiry", expiry, "--quantity", n, "--into", into, "--at", at)


def test_use_is_read_with_its_day_and_how_long_ahead_it_was_booked(cli: Line) -> None:
    # The product is there from Wednesday 14 January: its first whole week is that of Monday 19. Six until today.
    received(cli, "KIT", "A1", "2026-12-31", 9, "Cold one", "2026-01-14T09:00")
    cli.ok("booking", "add", "white", "--start", "2026-01-27T10:00", "--patient", "P-1", "--at", "2026-01-16T09:00")
    cli.ok("warmup", "pull", "B-1", "--at", "2026-01-26T09:30")
    cli.ok("booking", "done", "B-1", now="2026-01-27T16:00:00+00:00")
    cli.ok("stock", "use", "KIT", 2, "--why", "training", "--at", "2026-02-20T12:00")
    # in the week of the delivery itself, and in this one: neither is a whole week on record
    cli.ok("stock", "use", "KIT", 1, "--why", "training", "--at", "2026-01-15T12:00")
    cli.ok("stock", "use", "KIT", 1, "--why", "training", "--at", "2026-03-02T08:30")
    cli.ok(
        "stock", "discard", "KIT", "A1", "--quantity", 1, "--why", "dropped", "--at", "2026-02-10T09:00", "--by", "AB"
    )
    with opened(cli.where).reading() as conn:
        rule = rules(conn, NOW)
        (here,) = sites_now(conn, rule, NOW, [""])
        past = past_weeks(conn, rule, here, here.products["KIT"])
        assert past_weeks(conn, rule, here, here.products["SWAB"]) is None
    assert past is not None and past.weeks == 6
    # Tuesday of the second week, booked eleven days before; Friday of the fifth, not booked
    want = np.zeros((6, 7), int)
    want[1, 1], want[4, 4] = 1, 2
    assert past.pieces.tolist() == want.tolist()
    assert past.ahead[1, 1].tolist() == [1] * 12 + [0]
    assert not past.ahead[4, 4].any()


SHORT = PRACTICE.replace("shelf_life_days = 300", "shelf_life_days = 9").replace(
    "pack_size = 4", "pack_size = 2\nminimum_packs = 2"
)


def layout_of(line: Line, code: str) -> tuple[Layout, FromFile]:
    with opened(line.where).reading() as conn:
        plan = order_plan(conn, rules(conn, NOW), NOW)
        ((here, expected),) = plan.bases
        product = here.products[code]
        way = turns(here.practice.suppliers[0], here.opening, NOW, 7, product.warm_after, 70)
        source = from_file(here, product, days_ahead(here, product, days_needed(here, product, way, 70)))
        first = {target: at_target(here, expected, product, target).line for target in (0.8, 0.95)}
        return laid_out(here, product, way, source, first, 70), source


def test_a_plan_plays_as_the_same_does_piece_by_piece(line) -> None:
    made = line(SHORT)
    # one lot that outlasts any delivery of today, one that does not, one on hold; an order that is due on Wednesday
    received(made, "KIT", "OLD", "2026-03-05", 3, "Cold one", "2026-02-27T09:00")
    received(made, "KIT", "LONG", "2026-03-25", 2, "Cold one", "2026-02-27T09:00")
    received(made, "KIT", "HELD", "2026-03-25", 4, "Cold one", "2026-02-27T09:00")
    made.ok("stock", "quarantine", "KIT", "HELD", "--why", "asked", "--at", "2026-02-27T10:00", "--by", "AB")
    made.ok("booking", "add", "white", "--start", "2026-03-06T10:00", "--patient", "P-1", "--at", "2026-02-27T09:00")
    made.ok("reorder", "place", "Harbour Supplies", "KIT=4", "--why", "x", "--at", "2026-02-27T09:30")
    layout, _ = layout_of(made, "KIT")
    plan = layout.plan
    assert (layout.stock, layout.coming, layout.held) == (5, 4, 4)
    # two fridges of 40, in which 9 stand; 4 are on order: 67 are free, and the 5 and 4 besides
    assert layout.room == 76
    # last days: Thursday the 5th is day 3, Wednesday the 25th day 23
    assert {lot for lot in plan.lots if lot[0] == 0} == {(0, 3, 3), (0, 23, 2)}
    # ordered on Friday for Monday's order day, here on Wednesday at 18:00, warm on Thursday at 18:00: from Friday on, day 4
    assert {row for row in plan.coming if row[0] == 0} == {(0, 4, 4)}
    # one day of its nine it stands there to warm
    assert (plan.unready, set(plan.life.tolist())) == (1, {8})
    drawn = layout.orders.drawn(np.random.default_rng(3), plan.periods, 3)
    got = played(plan, lambda _, size: drawn, 3)
    assert got.wasted.any() and got.lost.any()
    for row in range(len(plan.life)):
        for run in range(3):
            want = by_the_piece(plan, drawn, row, run)
            assert {k: int(getattr(got, k)[row % len(getattr(got, k)), run]) for k in want} == want


def test_demand_of_the_file_adds_up_to_what_is_expected(line) -> None:
    # Closed for a week in the third: nothing is drawn then. 2 a week, less the one booked in the first.
    made = line(
        PRACTICE.replace("margin_minutes = 0", "margin_minutes = 0\nclosed = [{ from = 2026-03-16, to = 2026-03-22 }]")
    )
    made.ok("booking", "add", "white", "--start", "2026-03-06T10:00", "--patient", "P-1", "--at", "2026-02-27T09:00")
    _, source = layout_of(made, "KIT")
    weekly = [source.expected[7 * n : 7 * n + 7].sum() for n in range(5)]
    # of this week's 48 hours 46 are left: 2 x 46 / 48 - 1 booked, and the booked one
    assert weekly == pytest.approx([2 * 46 / 48, 2, 0, 2, 2])
    assert (source.expected[[5, 6, 12, 13]] == 0).all()
