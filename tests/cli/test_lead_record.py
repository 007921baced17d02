"""What a supplier's orders took, from orders and deliveries on record to the list; price breaks and a chance of use too.

The tests' practice: staffed Monday to Thursday 08:00 to 18:00, Friday to 16:00 in Amsterdam; orders on Mondays and
Thursdays until 14:00, two lead days stated, deliveries Monday to Friday. Now is Monday 2 March 2026, 10:00 there.
"""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from conftest import PRACTICE, Line
from scipy import stats

SUPPLIER = "Harbour Supplies"
MONDAY = date(2026, 1, 12)
LATER = {"now": "2026-03-02T09:05:00+00:00"}


def ordered(cli: Line, number: int, *came: tuple[int, int]) -> None:
    """An order of 4 kits on a Monday, and (days later, pieces) of what came of it; none of it is kept."""
    monday = MONDAY + timedelta(weeks=number - 1)
    cli.ok("reorder", "place", SUPPLIER, "KIT=4", "--at", f"{monday}T09:00")
    for days, pieces in came:
        day, lot = monday + timedelta(days=days), f"L{number}-{days}"
        taken = (
            "--lot",
            lot,
            "--expiry",
            "2027-01",
            "--quantity",
            pieces,
            "--into",
            "Cold one",
            "--order",
            f"O-{number}",
        )
        cli.ok("stock", "receive", "KIT", *taken, "--at", f"{day}T10:00")
        cli.ok(
            "stock", "discard", "KIT", lot, "--quantity", pieces, "--why", "test", "--by", "AB", "--at", f"{day}T11:00"
        )


def supplier(cli: Line, *more: str) -> dict:
    return cli.ask("reorder", "list", *more)["suppliers"][0]


@pytest.fixture
def recorded(both: Line) -> Line:
    """Six orders: four of two days, one of four, and one of fourteen."""
    for number, days in enumerate((2, 2, 4, 2, 14, 2), 1):
        ordered(both, number, (days, 4))
    return both


# derived: lead days 2 (4 of 6), 4 and 12 (to a Monday: twelve are Saturday, then on to Monday; the week-end is not the
# supplier's). The next order, of Monday the 9th, is warm on Thursday 12 18:00, Saturday 14 16:00 or Tuesday 24 18:00. Two a
# week are expected in 48 staffed hours: 46 are left of this week, then 40, or 48, or 48, 48 and 20
MEANS = {2: 2 * (46 + 40) / 48, 4: 2 * (46 + 48) / 48, 12: 2 * (46 + 48 + 48 + 20) / 48}
CHANCES = {2: Fraction(4, 6), 4: Fraction(1, 6), 12: Fraction(1, 6)}


def enough(pieces: int) -> float:
    """The chance that so many are enough, over the three ways."""
    return float(sum(CHANCES[n] * float(stats.poisson.cdf(pieces, MEANS[n])) for n in MEANS))


def test_six_orders_take_the_place_of_what_is_stated(recorded: Line) -> None:
    said = supplier(recorded)
    assert said["lead"] == {"stated_days": 2, "orders": 6, "shortest_days": 2, "longest_days": 14}
    # half of them came within two days: Wednesday the 4th; and the next one is warm on Thursday the 12th
    (row,) = said["lines"]
    assert (said["arrives"], row["covers_until"]) == ("2026-03-04", "2026-03-12T17:00:00Z")
    assert row["unbooked_mean"] == pytest.approx(MEANS[2])
    level = next(n for n in range(30) if enough(n) >= 0.95)
    # the two days alone would be content with less
    assert stats.poisson.ppf(0.95, MEANS[2]) == 7 < level == 9
    assert (row["known_demand"], row["unbooked_quantile"], row["need"], row["order_quantity"]) == (0, 9, 9, 12)
    assert row["achieved"] == row["no_shortage"] == pytest.approx(enough(12), abs=1e-6)
    assert "6 orders took 2 to 14 days" in row["why"][0]
    assert (
        row["need"]
        == row["known_demand"] + row["unbooked_quantile"] - (row["usable"] - row["expiring_unused"]) - row["on_order"]
    )
    for words in (("list",), ("explain", "KIT")):
        assert "here Wed 4 Mar 2026 (6 orders took 2 to 14 days, 2 days stated)" in recorded("reorder", *words).out
    # as of an instant before the last of them came there were five, and what is stated held
    before = supplier(recorded, "--as-of", "2026-02-18T09:59")
    assert before["lead"] == {"stated_days": 2, "orders": None, "shortest_days": None, "longest_days": None}
    # an order is due when four of five would have come: within four days
    placed = recorded.ask("reorder", "place", SUPPLIER)
    assert placed["due"] == "2026-03-06"


def test_bookings_count_in_the_ways_that_reach_them(recorded: Line) -> None:
    # derived: a booking on Monday the 23rd is beyond the usual span and inside the last way only: one piece more there, and
    # one expected less in its week, which had 20 of 48 hours: 2 x 20 / 48 - 1 is nothing
    recorded.ok(
        "booking", "add", "white", "--start", "2026-03-23T10:00", "--patient", "P-1", "--at", "2026-03-02T09:00"
    )
    (row,) = supplier(recorded)["lines"]
    last = 2 * (46 + 48 + 48) / 48

    def reached(pieces: int) -> float:
        parts = ((CHANCES[2], MEANS[2], pieces), (CHANCES[4], MEANS[4], pieces), (CHANCES[12], last, pieces - 1))
        return float(sum(chance * float(stats.poisson.cdf(n, mean)) for chance, mean, n in parts))

    level = next(n for n in range(30) if reached(n) >= 0.95)
    assert (row["known_demand"], row["unbooked_quantile"]) == (0, level)
    assert row["no_shortage"] == pytest.approx(reached(row["order_quantity"]), abs=1e-6)


def test_what_tells_and_what_does_not(cli: Line) -> None:
    # derived: parts weigh by their pieces; a cancelled order with nothing come, an open one and a taken-back delivery tell
    # nothing; a closed order tells what came of it
    for number in range(1, 4):
        ordered(cli, number, (2, 4))
    ordered(cli, 4, (2, 1), (4, 3))
    ordered(cli, 5)
    cli.ok("reorder", "cancel", "O-5", "--why", "double", "--at", "2026-02-09T12:00")
    ordered(cli, 6, (3, 2))
    assert supplier(cli)["lead"]["orders"] is None
    cli.ok("reorder", "close", "O-6", "--why", "the rest was broken", "--at", "2026-02-20T12:00")
    ordered(cli, 7, (2, 4))
    assert supplier(cli)["lead"] == {"stated_days": 2, "orders": 6, "shortest_days": 2, "longest_days": 4}
    # the mixture: days 2 in 4 1/4 of 6, 3 in 1, 4 in 3/4: within two days 70.8 %, so it is due after three
    assert cli.ask("reorder", "place", SUPPLIER, "KIT=4")["due"] == "2026-03-05"


def test_the_practice_file_may_keep_what_is_stated(line) -> None:
    cli = line(PRACTICE.replace("lead_days = 2\n", "lead_days = 2\nlead_from_orders = false\n"))
    for number in range(1, 7):
        ordered(cli, number, (4, 4))
    said = supplier(cli)
    assert (said["lead"]["orders"], said["arrives"]) == (None, "2026-03-04")
    assert "took" not in said["lines"][0]["why"][0]
    assert cli.ask("reorder", "place", SUPPLIER)["due"] == "2026-03-04"


def test_old_orders_are_forgotten(line) -> None:
    # derived: two years of 730 days before 2 March 2026 begin on 2 March 2024
    cli = line(at="2024-01-01T08:00:00+00:00")
    for number in range(1, 7):
        monday = date(2024, 2, 26) + timedelta(weeks=number - 1)
        cli.ok("reorder", "place", SUPPLIER, "KIT=4", "--at", f"{monday}T09:00")
        lot = (
            "--lot",
            f"L{number}",
            "--expiry",
            "2024-06",
            "--quantity",
            4,
            "--into",
            "Cold one",
            "--order",
            f"O-{number}",
        )
        cli.ok("stock", "receive", "KIT", *lot, "--at", f"{monday + timedelta(days=3)}T10:00")
    as_of = "2026-02-25T09:00"
    assert supplier(cli, "--as-of", as_of)["lead"]["orders"] == 6
    assert supplier(cli, "--as-of", "2026-02-26T12:00")["lead"]["orders"] is None


BREAKS = PRACTICE.replace(
    "pack_price = 100.0\n", "pack_price = 100.0\nprice_breaks = [{ packs = 3, pack_price = 60.0 }]\n"
)


def test_a_price_break_reaches_the_list_the_order_and_the_file(line) -> None:
    # derived: 8 wanted are two packs of 100.00, three cost 180.00
    cli = line(BREAKS)
    cli.ok("booking", "add", "white", "--start", "2026-03-09T10:00", "--patient", "P-1", "--at", "2026-03-02T09:00")
    said = supplier(cli)
    (row,) = said["lines"]
    assert (row["order_quantity"], row["packs"], row["cost"], said["total"]) == (12, 3, 180.0, 180.0)
    assert "3 packs cost 180.00, 2 would cost 200.00: 12" in row["why"][2]
    cli.ok("reorder", "list", "--csv", "o.csv")
    assert (cli.folder / "o.csv").read_text().splitlines()[1] == f"{SUPPLIER},KIT,Cold kit,3,12,60.00,180.00"
    placed = cli.ask("reorder", "place", SUPPLIER)
    assert (placed["lines"][0]["pack_price"], placed["lines"][0]["cost"], placed["total"]) == (60.0, 180.0, 180.0)
    # fewer than the break are at the full price
    again = cli.ask("reorder", "place", SUPPLIER, "KIT=8", **LATER)
    assert (again["lines"][0]["pack_price"], again["total"]) == (100.0, 200.0)


@pytest.mark.parametrize(("key", "pieces"), [("", 8), ("use_chance = 0.5\n", 8), ("use_chance = 0.995\n", 0)])
def test_a_chance_of_use_reaches_the_list(line, key: str, pieces: int) -> None:
    # derived: 7 needed, two packs; here on Wednesday 4 March 18:00, good for 28 days, until Wednesday 1 April 18:00: staffed 46 hours of
    # this week, 48 of three, 30 of the last (two days and the whole Wednesday), at two in 48: Poisson 9.167. At least 8 come
    # with .6953, 3 with .99455, 2 with .9989: so with .995 two are sure, which is no pack of four
    text = PRACTICE.replace("shelf_life_days = 300\n", f"shelf_life_days = 28\n{key}")
    row = supplier(line(text))["lines"][0]
    mean = 2 * (46 + 3 * 48 + 30) / 48
    sure = [float(stats.poisson.sf(n - 1, mean)) for n in (8, 3, 2)]
    assert sure[0] > 0.5 and sure[1] < 0.995 < sure[2]
    assert (row["need"], row["order_quantity"]) == (7, pieces)
    assert row["limited_by"] == (["pack"] if pieces else ["pack", "shelf_life"])


def test_the_practices_own_chance_is_that_of_products_without_one(line) -> None:
    text = PRACTICE.replace("shelf_life_days = 300\n", "shelf_life_days = 28\n")
    strict = text.replace("[practice]\n", "[practice]\nuse_chance = 0.995\n")
    assert supplier(line(strict))["lines"][0]["order_quantity"] == 0


def test_held_stock_says_what_it_would_be_if_released(cli: Line) -> None:
    # derived: 2 x 46 / 48 + 2 x 40 / 48 = 3.58: .95 at 7, so 7 needed, two packs; with the 4 that are held, 3: one pack
    taken = ("--lot", "A1", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold one", "--at", "2026-03-02T08:30")
    cli.ok("stock", "receive", "KIT", *taken)
    cli.ok("stock", "quarantine", "KIT", "A1", "--why", "label", "--quantity", 4)
    (row,) = supplier(cli)["lines"]
    assert (row["usable"], row["held"], row["need"], row["order_quantity"]) == (0, 4, 7, 8)
    assert "4 held: if released, need 3 and order 4" in row["why"]
    assert "KIT: 4 held: if released, need 3 and order 4" in cli("reorder", "list").out


def test_a_fridge_that_is_off_gives_no_room(line) -> None:
    # derived: the second fridge has no stock and 2 spaces; the first one, of 40, is off: nothing of 8 fits
    cli = line(
        PRACTICE.replace(
            'name = "Cold two"\nlow = 2.0\nhigh = 8.0\ncapacity = 40',
            'name = "Cold two"\nlow = 2.0\nhigh = 8.0\ncapacity = 2',
        )
    )
    assert supplier(cli)["lines"][0]["order_quantity"] == 8
    cli.ok("fridge", "off", "Cold one", "--why", "defrosting")
    (row,) = supplier(cli)["lines"]
    assert (row["order_quantity"], row["limited_by"]) == (0, ["pack", "space"])
    assert cli.ask("reorder", "explain", "KIT")["lines"][0]["free_space"] == 2
