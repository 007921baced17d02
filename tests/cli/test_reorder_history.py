"""Ordering from the practice's own history, through the command line: booking curves, cycles, use outside bookings.

The practice is staffed on all days until midnight, so that orders cover whole weeks from a Monday on: the supplier of ONE
until the next Monday, that of TWO until the one after it, that of THREE a week longer.
"""

import csv
import io
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from conftest import Line

from stockroom.core.counts import mean_of, negative_binomial, poisson, quantile

ZONE = ZoneInfo("Europe/Amsterdam")
MONDAY = datetime(2026, 3, 2, tzinfo=ZONE)
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
HEAD = """
[practice]
name = "Saltgrass Dental"
timezone = "Europe/Amsterdam"
currency = "EUR"
review_days = 1
hours = { HOURS }
[[shelf]]
name = "Cupboard"
[[procedure]]
code = "white"
minutes = 30
minutes_per_cycle = 10
cycles = 6
max_cycles = 12
expected_per_week = 3
uses = [
  { product = "ONE", each = 1 }, { product = "TWO", each = 1 }, { product = "THREE", each = 1 },
  { product = "CUP", per_cycles = 1 },
]
""".replace("HOURS", ", ".join(f'{d} = ["00:00-24:00"]' for d in DAYS))
SUPPLY = """
[[supplier]]
name = "Van {code}"
order_days = {days}
lead_days = {lead}
delivery_days = {days}
[[product]]
code = "{code}"
name = "Supply"
supplier = "Van {code}"
kind = "supply"
"""
PRACTICE = HEAD + "".join(
    SUPPLY.format(code=code, lead=lead, days=list(DAYS)).replace("'", '"')
    for code, lead in (("ONE", 5), ("TWO", 12), ("THREE", 19), ("CUP", 5))
)
NOW = "2026-03-01T23:00:00+00:00"  # Monday the 2nd, 00:00 in Amsterdam
TRIANGLE = [[1, 2, 4, 5], [0, 1, 3, 3], [2, 3, 4, 6], [1, 1, 2, 4], [0, 2, 3], [1, 2], [1]]
"""Weeks by what was booked 3, 2, 1 and 0 weeks before their end. Published method: Wickham (1995), worked by hand."""


@pytest.fixture
def cli(line) -> Line:
    made = line(PRACTICE, at="2025-06-02T08:00:00+00:00")
    made.now = NOW
    return made


def local(at: datetime) -> str:
    return f"{at.astimezone(ZONE):%Y-%m-%dT%H:%M}"


def rows_of(triangle: list[list[int]], monday: datetime = MONDAY, early: int = 0) -> list[dict[str, str]]:
    """Bookings that make up a triangle of which the first row that is not complete begins on a Monday; all of them made
    ``early`` weeks earlier.
    """
    columns = len(triangle[0])
    complete = sum(len(row) == columns for row in triangle)
    found = []
    for n, row in enumerate(triangle):
        begins = monday + timedelta(weeks=n - complete)
        for stage, (before, after) in enumerate(zip([0, *row], row, strict=False)):
            # on the books by `columns - 1 - stage` weeks before the week's end
            made = begins + timedelta(weeks=1) - timedelta(weeks=columns - 1 - stage + early, hours=30)
            for _ in range(after - before):
                found.append({"start": local(max(begins + timedelta(days=5), made)), "made": local(made)})
    return found


def imported(cli: Line, rows: list[dict[str, str]], name: str = "b.csv", **more: str) -> None:
    out = io.StringIO()
    writer = csv.DictWriter(
        out, ["id", "procedure", "start", "patient", "cycles", "state", "made"], lineterminator="\n"
    )
    writer.writeheader()
    for n, row in enumerate(rows):
        writer.writerow({"id": f"{name}{n}", "procedure": "white", "patient": f"P-{n}", **row})
    cli.file(name, out.getvalue())
    said = cli.ask("booking", "import", name, **more)
    assert not said["rejected"], said


def lines(cli: Line, *words: str) -> dict[str, dict]:
    said = cli.ask("reorder", "list", *words)
    assert len(said["suppliers"]) + len(said["nothing_needed"]) >= 4
    return {row["product"]: row for s in said["suppliers"] for row in s["lines"]}


def expected(cli: Line, product: str, *words: str) -> dict:
    return cli.ask("reorder", "explain", product, *words)["lines"][0]


def test_the_published_triangle_through_the_list(cli: Line) -> None:
    # published: additive pick-up, advanced form; final bookings 4.25, 4.65, 4.65 of the three weeks to come
    imported(cli, rows_of(TRIANGLE))
    one, two, three = (expected(cli, code) for code in ("ONE", "TWO", "THREE"))
    assert [x["covers_until"] for x in (one, two, three)] == [
        "2026-03-08T23:00:00Z", "2026-03-15T23:00:00Z", "2026-03-22T23:00:00Z",
    ]  # fmt: skip
    done = 5 + 3 + 6 + 4  # nobody said what became of the past ones: they count as still to come
    assert [x["known_demand"] - done for x in (one, two, three)] == [3, 5, 6]
    finals = [x["known_demand"] - done + x["unbooked_mean"] for x in (one, two, three)]
    weeks = [finals[0], finals[1] - finals[0], finals[2] - finals[1]]
    assert weeks == pytest.approx([4.25, 4.65, 4.65], abs=1e-5)
    assert {(p["forecast"], p["weeks"], p["replayed_weeks"]) for x in (one, two, three) for p in x["expected"]} == {
        ("pickup", 4, 0)
    }
    assert "pick-up over 4 weeks" in one["why"][0]
    # derived: the pick-ups of the last week before the end are 1, 0, 2, 2: variance .9167 below the mean 1.25
    assert one["unbooked_quantile"] == quantile(poisson(1.25), 0.95)


def test_the_same_triangle_counted_to_the_weeks_beginning(cli: Line) -> None:
    # derived: the same columns a week earlier, so that nothing comes within the week itself: the fourth row is the week
    # that begins now, complete with 4, and the next two end at 4.25 and 4.65
    imported(cli, rows_of(TRIANGLE, MONDAY + timedelta(weeks=1), early=1))
    known = [expected(cli, code) for code in ("ONE", "TWO", "THREE")]
    finals = [x["known_demand"] - (5 + 3 + 6) + x["unbooked_mean"] for x in known]
    assert finals == pytest.approx([4, 4 + 4.25, 4 + 4.25 + 4.65], abs=1e-5)


@pytest.mark.parametrize("when", ["2026-03-04T10:00", "2026-03-08T00:00", "2026-03-29T13:30"])
def test_any_day_and_hour_is_the_beginning_of_a_week(cli: Line, when: str) -> None:
    # derived: the triangle as of any other moment; each order covers until the end of the sixth, 13th or 20th day, and
    # no booking begins in the hours after it. The last of these is the day of a clock change.
    moment = datetime.fromisoformat(when).replace(tzinfo=ZONE)
    imported(cli, rows_of(TRIANGLE, moment), "w.csv", now=(moment + timedelta(days=1)).astimezone(UTC).isoformat())
    found = [expected(cli, code, "--as-of", when) for code in ("ONE", "TWO", "THREE")]
    finals = [x["known_demand"] - 18 + x["unbooked_mean"] for x in found]
    assert finals == pytest.approx([4.25, 4.25 + 4.65, 4.25 + 4.65 + 4.65], abs=1e-5)


def steady(weeks: int, made_before: float = 10, monday: datetime = MONDAY) -> list[dict[str, str]]:
    """One booking a week for so many past weeks, on its Wednesday at noon, made so many days before."""
    starts = [monday - timedelta(weeks=n) + timedelta(days=2, hours=12) for n in range(weeks, 0, -1)]
    return [{"start": local(at), "made": local(at - timedelta(days=made_before))} for at in starts]


def test_four_complete_weeks_since_the_first_booking_was_made(cli: Line) -> None:
    # the rule: expected_per_week (3) until there are four complete weeks since the first booking was made
    begun = MONDAY - timedelta(weeks=4)
    made = [begun + timedelta(weeks=n, hours=n) for n in range(4)]
    rows = [{"start": local(at + timedelta(days=1)), "made": local(at)} for at in made]
    imported(cli, rows)
    before, after = "2026-03-01T23:59", "2026-03-02T00:00"
    (cold,) = expected(cli, "ONE", "--as-of", before)["expected"]
    assert (cold["forecast"], cold["weeks"]) == ("expected_per_week", 0)
    (warm,) = expected(cli, "ONE", "--as-of", after)["expected"]
    # derived: three of the four weeks took in one booking after they had begun, the first at its very beginning
    assert (warm["forecast"], warm["weeks"], warm["mean"]) == ("pickup", 4, 0.75)


def test_what_was_taken_over_without_saying_when_it_was_made_teaches_nothing(cli: Line) -> None:
    # 3 a week for the eight weeks to come, all taken over at once: they did not all come to be booked in that week
    begun = MONDAY - timedelta(weeks=5)
    rows = [{"start": local(begun + timedelta(weeks=n % 8, days=1)), "made": ""} for n in range(24)]
    imported(cli, rows, now=begun.astimezone(UTC).isoformat())
    (part,) = expected(cli, "ONE")["expected"]
    assert (part["forecast"], part["weeks"], part["mean"]) == ("pickup", 5, 0)


def test_cancellations_lower_the_mean_and_never_below_zero(cli: Line) -> None:
    # derived: of two bookings a week, made ten days before, one is cancelled on the Monday: -1 a week from then on
    imported(cli, steady(8) + steady(8))
    for n in range(1, 9):
        cli.ok(
            "booking", "cancel", f"B-{n}", "--why", "asked", "--at", local(MONDAY - timedelta(weeks=9 - n, hours=-10))
        )
    line = expected(cli, "ONE")
    assert (line["unbooked_mean"], line["unbooked_quantile"], line["expected"][0]["mean"]) == (0, 0, 0)
    assert line["known_demand"] == 8


def test_cycles_beyond_the_plan_go_into_the_demand_of_supplies(cli: Line) -> None:
    # derived: eight done, two of them with 8 cycles for 6. A cup a cycle: each known booking takes 6, and with chance
    # 1/4 two more; of ONE nothing changes. No week took in anything after it had begun, so nothing is still to be booked.
    imported(cli, steady(8) + [{"start": "2026-03-04T12:00", "made": "2026-02-20T10:00"}] * 3)
    for n in range(1, 9):
        assert expected(cli, "CUP")["beyond_plan"] == 0
        cli.ok("booking", "done", f"B-{n}", "--cycles", 8 if n > 6 else 6)
    line = expected(cli, "CUP")
    chances = [0.75**3, 0, 3 * 0.75**2 * 0.25, 0, 3 * 0.75 * 0.25**2, 0, 0.25**3]
    assert (line["known_demand"], line["unbooked_mean"], line["beyond_plan"]) == (18, 1.5, 1.5)
    assert sum(chances[:3]) < 0.95 <= sum(chances[:5]) and line["unbooked_quantile"] == 4
    assert (line["need"], line["achieved"]) == (22, pytest.approx(sum(chances[:5])))
    assert line["need"] == line["known_demand"] + line["unbooked_quantile"] - line["usable"]
    assert (line["expected"][0]["quantity_each"], line["expected"][0]["quantity_mean"]) == (6, 6.5)
    assert expected(cli, "ONE")["unbooked_mean"] == 0
    assert "+1.5 by cycles" in cli("reorder", "explain", "CUP").out


def test_a_procedure_stopped_early_counts_with_the_cycles_that_it_had(cli: Line) -> None:
    imported(cli, [*steady(8), {"start": "2026-03-04T12:00", "made": "2026-02-20T10:00"}])
    for n in range(1, 9):
        words = ("--cycles", 2, "--stopped") if n == 8 else ()
        cli.ok("booking", "done", f"B-{n}", *words)
    line = expected(cli, "CUP")
    # derived: one of eight took four cups less; less than planned counts as planned
    assert (line["known_demand"], line["beyond_plan"], line["unbooked_mean"], line["unbooked_quantile"]) == (
        6,
        -0.5,
        0,
        0,
    )


def used(cli: Line, quantities: list[int], product: str = "ONE") -> None:
    """Pieces used outside bookings in the weeks up to now, oldest first."""
    for n, quantity in enumerate(quantities):
        at = MONDAY - timedelta(weeks=len(quantities) - n) + timedelta(days=1, hours=9)
        if quantity:
            cli.ok("stock", "use", product, quantity, "--why", "dropped", "--at", local(at))


def test_use_outside_bookings_is_expected_to_go_on(cli: Line) -> None:
    first = local(MONDAY - timedelta(weeks=6))
    words = ("--lot", "A", "--expiry", "2028-01", "--quantity", 90, "--into", "Cupboard", "--at", first)
    cli.ok("stock", "receive", "ONE", *words)
    quiet = expected(cli, "ONE")
    assert quiet["outside_bookings"] == 0
    series = [0, 3, 0, 0, 5, 0]
    used(cli, series)
    line = expected(cli, "ONE")
    # derived (Teunter, Syntetos & Babai 2011, both constants .1): chance 0 -> .1 -> .09 -> .081 -> .1729 -> .15561; size
    # 3 -> 3.2; the weeks' variance 4.6667 is 3.5 times their mean of 1.3333
    mean = 0.15561 * 3.2
    assert line["outside_bookings"] == pytest.approx(mean, abs=1e-6)
    assert line["unbooked_mean"] == pytest.approx(quiet["unbooked_mean"] + mean, abs=1e-6)
    sums = [float(x) for x in negative_binomial(mean, mean * 3.5)]
    alone = [float(x) for x in poisson(quiet["unbooked_mean"])]
    together = [sum(sums[j] * alone[k - j] for j in range(len(sums)) if 0 <= k - j < len(alone)) for k in range(30)]
    assert line["unbooked_quantile"] == next(k for k in range(30) if sum(together[: k + 1]) >= 0.95)
    assert mean_of(negative_binomial(mean, mean * 3.5)) == pytest.approx(mean)
    assert expected(cli, "TWO")["outside_bookings"] == 0


def test_what_a_booking_took_beyond_the_rule_is_use_outside_bookings(cli: Line) -> None:
    imported(cli, steady(8))
    for n in range(1, 9):
        extra = ("--used", "ONE=2") if n == 8 else ()
        cli.ok("booking", "done", f"B-{n}", *extra)
    # derived: the record of ONE began with the first booking done, eight weeks ago: chance .1, size 2
    assert expected(cli, "ONE")["outside_bookings"] == pytest.approx(0.2)
    assert expected(cli, "TWO")["outside_bookings"] == 0


def test_a_few_weeks_of_use_outside_bookings_are_no_habit(cli: Line) -> None:
    used(cli, [4, 0, 0])
    assert expected(cli, "ONE")["outside_bookings"] == 0


def uneven(weeks: int) -> list[dict[str, str]]:
    """Five bookings in each of so many weeks up to now: made two weeks before, or all of them in the week itself."""
    rows = []
    for n in range(weeks, -1, -1):
        begins = MONDAY - timedelta(weeks=n)
        early = n % 2 == 0
        if n or early:
            made = begins - timedelta(weeks=2) if early else begins + timedelta(days=1)
            rows += [{"start": local(begins + timedelta(days=4)), "made": local(made)}] * 5
    return rows


def test_a_forecast_that_loses_to_a_simpler_one_is_not_used(cli: Line) -> None:
    # derived: each week comes to five, so the mean of the last ten never errs; pick-up adds two and a half to every week.
    imported(cli, uneven(21))
    said = cli.ask("reorder", "accuracy", "ONE")
    (record,) = said["forecasts"]
    assert (record["procedure"], record["products"], record["weeks_ahead"]) == ("white", ["ONE"], 1)
    assert (record["used"], record["replayed_weeks"]) == ("mean_10_weeks", 18)
    by = {c["forecast"]: c for c in record["candidates"]}
    assert [c["forecast"] for c in record["candidates"] if c["used"]] == ["mean_10_weeks"]
    assert (by["mean_10_weeks"]["rmse"], by["mean_10_weeks"]["bias"], by["mean_10_weeks"]["coverage"]) == (0, 0, 1)
    # derived: known only misses the five of every other week; expected_per_week, 3, two of them
    assert by["known_only"]["bias"] == pytest.approx(-2.5)
    assert by["known_only"]["rmse"] == pytest.approx(12.5**0.5, abs=1e-6)
    assert by["known_only"]["covered_weeks"] == 9
    assert by["expected_per_week"]["mae"] == pytest.approx(1)
    assert by["pickup"]["rmse"] > 2
    # derived: the naive forecast, last week's number, never errs: there is nothing to scale by
    assert by["pickup"]["mase"] is None
    (part,) = expected(cli, "ONE")["expected"]
    assert (part["forecast"], part["weeks"], part["replayed_weeks"], part["mean"]) == ("mean_10_weeks", 10, 18, 0)
    screen = " ".join(cli("reorder", "explain", "ONE").out.split())
    assert "mean of the last 10 weeks, by its record of 18 weeks" in screen
    # the week after this one: nothing is known of it yet, five are expected
    assert expected(cli, "TWO")["unbooked_mean"] == pytest.approx(5)
    screen = " ".join(cli("reorder", "accuracy").out.split())
    assert "> mean of the last 10 weeks" in screen and "its error 0 is smaller than that of pick-up" in screen


def test_few_replayed_weeks_decide_nothing(cli: Line) -> None:
    imported(cli, uneven(9))
    (record,) = cli.ask("reorder", "accuracy", "ONE")["forecasts"]
    assert (record["replayed_weeks"], record["used"]) == (6, "pickup")
    assert record["why"] == "6 replayed weeks, fewer than 8, decide nothing"
    (record,) = cli.ask("reorder", "accuracy", "ONE", "--weeks", 3)["forecasts"]
    assert (record["replayed_weeks"], record["used"]) == (3, "pickup")


def test_the_record_before_there_is_a_history(cli: Line) -> None:
    (record,) = cli.ask("reorder", "accuracy", "one")["forecasts"]
    assert (record["used"], record["candidates"]) == ("expected_per_week", [])
    assert record["why"] == "fewer than 4 complete weeks of bookings"
    assert "under 4 weeks of bookings" in cli("reorder", "accuracy").out


def test_what_cannot_be_replayed_is_refused(cli: Line) -> None:
    for words, text in ((("FOUR",), 'no procedure or product "FOUR"'), (("--weeks", 0), "0 weeks cannot be replayed")):
        said = cli("reorder", "accuracy", *words)
        assert (said.code, said.out) == (3, "") and text in said.err


def test_a_list_asked_for_later_is_the_list_of_then(cli: Line) -> None:
    imported(cli, rows_of(TRIANGLE))
    then = lines(cli, "--as-of", "2026-02-16T09:00"), cli.ask("reorder", "accuracy", "--as-of", "2026-02-16T09:00")
    later = "2026-03-05T09:00:00+00:00"
    imported(cli, [{"start": "2026-02-20T10:00", "made": "2026-02-19T10:00"}] * 5, "more.csv", now=later)
    cli.ok("booking", "cancel", "B-3", "--why", "asked", now=later)
    cli.ok("booking", "done", "B-1", "--cycles", 9, "--at", "2026-03-04T09:00", now=later)
    again = (
        lines(cli, "--as-of", "2026-02-16T09:00"),
        cli.ask("reorder", "accuracy", "--as-of", "2026-02-16T09:00"),
    )
    assert again == then


def test_each_site_learns_from_its_own_bookings(line) -> None:
    sites = '[[site]]\nname = "North"\n[[site]]\nname = "South"\n'
    text = PRACTICE.replace("[[shelf]]", sites + "[[shelf]]", 1).replace('"Cupboard"', '"Cupboard"\nsite = "North"')
    cli = line(text, at="2025-06-02T08:00:00+00:00")
    cli.now = NOW
    cli.ok("--site", "North", "booking", "add", "white", "--start", "2026-03-04T12:00", "--patient", "P-999")
    rows = [{"start": r["start"], "made": r["made"]} for r in rows_of(TRIANGLE)]
    out = "id,procedure,start,patient,cycles,state,made,site\n" + "".join(
        f"S{n},white,{r['start']},P-{n},,booked,{r['made']},South\n" for n, r in enumerate(rows)
    )
    cli.file("s.csv", out)
    assert not cli.ask("booking", "import", "s.csv")["rejected"]
    means = {x["site"]: x["expected"][0] for x in cli.ask("reorder", "explain", "ONE")["lines"]}
    assert (means["South"]["forecast"], means["South"]["mean"]) == ("pickup", 1.25)
    assert means["North"]["forecast"] == "expected_per_week"
    only = cli.ask("--site", "South", "reorder", "accuracy", "ONE")["forecasts"]
    assert [r["site"] for r in only] == ["South"]
