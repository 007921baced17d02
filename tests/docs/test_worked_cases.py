"""The worked case of every rule's page is computed here, and its figures must stand on the page as they come out.

Source of each: the page names it (published) or shows the arithmetic (derived).
"""

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
from conftest import PRACTICE, Line
from curve_cases import of_triangle
from doc_pages import DOCS, parts, prose

from stockroom.core.bands import ratio_band
from stockroom.core.booking_curve import curve, pickup
from stockroom.core.checks import StaffedDay, missed_checks
from stockroom.core.counts import poisson, quantile
from stockroom.core.demand import unbooked_mean_procedures
from stockroom.core.drift import limits
from stockroom.core.exposure import mkt_weighted
from stockroom.core.matching import Option, Want, assignment
from stockroom.core.opening import Opening
from stockroom.core.orders import OrderInput, joint_chance, order_line
from stockroom.core.play import Drawn, Plan
from stockroom.core.practice import Closure, Procedure, Product, Site, Use
from stockroom.core.rehearsal import CHUNK, played
from stockroom.core.spells import Line as LimitLine
from stockroom.core.spells import spells
from stockroom.core.takeout import Habits, take_out
from stockroom.core.units import degrees, milli_celsius
from stockroom.core.usage import used_by
from stockroom.formats.hibc_code import SIGNS
from stockroom.formats.scan import scanned
from stockroom.tasks.act import CAUTIONS

HOUR = 3600


def worked(page: str) -> str:
    return prose(parts((DOCS / "rules" / f"{page}.md").read_text(encoding="utf-8"), "##")["Worked case"])


def at(zone: str, *when: int) -> int:
    return int(datetime(*when, tzinfo=ZoneInfo(zone)).timestamp())  # type: ignore[arg-type, misc]


def test_temperatures() -> None:
    said = worked("temperatures")
    for shown in ("35.6", "46.4", "46.5"):
        exact = milli_celsius(shown, fahrenheit=True)
        assert shown in said and f"{exact / 1000:.3f} °C" in said
    assert milli_celsius("46.4", fahrenheit=True) == 8000 < milli_celsius("46.5", fahrenheit=True)


def test_excursions() -> None:
    said = worked("excursions")
    series = [7900, 8100, 8600, 9000, 8400, 7800]
    assert ", ".join(f"{m / 1000:.1f}" for m in series) in said
    (spell,) = spells(np.arange(6) * 300, np.array(series), LimitLine("warm", 8000), 3600, 3600)
    assert f"{spell.minutes} minutes, at most {spell.minutes_at_most:g}, the worst {degrees(spell.extreme)}" in said


def test_exposure() -> None:
    said = worked("exposure")
    assert f"{mkt_weighted([5, 15], [12, 12]):.6f} °C" in said
    assert f"{mkt_weighted([5, -2], [23, 1]):.6f} °C" in said


def test_checks() -> None:
    said = worked("checks")
    midnight = at("UTC", 2026, 3, 2)
    day = StaffedDay(
        date(2026, 3, 2), midnight, midnight + 17 * HOUR // 2, midnight + 35 * HOUR // 2, midnight + 24 * HOUR
    )
    middle = midnight + 13 * HOUR
    assert "the middle is 13:00" in said

    def missing(check: int) -> list[str]:
        return [c for _, c in missed_checks("twice", [day], [check], midnight + 48 * HOUR, frozenset(), 0)]

    assert missing(middle - 60) == ["closing"] and missing(middle) == ["opening"]
    low, high = limits(50, 2.0539)
    assert f"{high:.4f} and {low:.4f}" in said


def test_warmup() -> None:
    said = worked("warmup")
    zone = "Europe/Amsterdam"
    week = Opening(zone, Site("", (((480, 1080),),) * 4 + (((480, 960),), (), ())))
    habit = Habits(0, ())
    start = at(zone, 2026, 3, 29, 10)
    times = take_out(start, start + HOUR, 24 * HOUR, None, week, habit)
    assert times.by == at(zone, 2026, 3, 28, 9) and "2026-03-28 at 09:00" in said
    monday = at(zone, 2026, 3, 9, 9)
    times = take_out(monday, monday + 105 * 60, 24 * HOUR, 72 * HOUR, week, habit)
    assert [week.clock(t) for t in (times.not_before, times.by, times.staffed_by) if t] == [
        "Fri 6 Mar 10:45", "Sun 8 Mar 09:00", "Fri 6 Mar 16:00",
    ]  # fmt: skip
    assert "from Friday 10:45 on, by Sunday 09:00, and since nobody is there on Sunday, by Friday 16:00" in said


def test_matching() -> None:
    kits = [Option(8, 16, True), Option(9, 11, True)]
    wants = [Want(10, 11), Want(15, 16)]
    given = assignment(wants, kits)
    assert given == [1, 0]
    assert f"that at 15: {len([g for g in given if g is not None])}." in worked("matching")


def test_usage() -> None:
    said = worked("usage")
    procedure = Procedure("white", 45, 10, 6, 8, uses=(Use("KIT", each=1), Use("SWAB", per_cycles=2, spare=1)))
    plain = {"KIT": Product("KIT", "", "kit", ""), "SWAB": Product("SWAB", "", "supply", "")}
    packed = {**plain, "KIT": Product("KIT", "", "kit", "", contains=(("SWAB", 4),))}
    gross = [used_by(procedure, n, plain).gross["SWAB"] for n in (6, 7, 8)]
    assert "6 cycles use {}, 7 use {}, 8 use {}".format(*gross) in said
    loose = [used_by(procedure, n, packed).loose.get("SWAB", 0) for n in (6, 8)]
    assert loose == [0, 1] and f"6 cycles take none from the cupboard and 8 take {loose[1]}" in said


def test_barcodes() -> None:
    said, today = worked("barcodes"), date(2026, 1, 1)
    found = scanned("+A99912345/$$52001510X33", today)
    assert found.expiry is not None and (found.item, found.lot) == ("A99912345", "10X3")
    assert f"{found.expiry.day} January {found.expiry.year}" in said
    total = sum(SIGNS.index(sign) for sign in "+A99912345/$$52001510X3")
    assert f"sum to {total}: {total} = {total // 43} x 43 + {total % 43}" in said and SIGNS[total % 43] == "3"
    found = scanned("010952012345678817201225310300019539220299", today)
    assert found.expiry is not None and found.lot is None and f"{found.expiry:%d %B %Y}" in said
    total = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate("0952012345678"))
    assert f"sum to {total}: the last digit is {-total % 10}" in said


def test_demand() -> None:
    said = worked("demand")
    hours = (((540, 1020),),) * 5 + ((), ())
    monday = at("UTC", 2026, 3, 2)
    procedure = Procedure("white", 60, expected_per_week=3)

    def mean(known: int, *closed: Closure) -> float:
        opening = Opening("UTC", Site("", hours, closed))
        starts = [monday + 10 * HOUR] * known
        return unbooked_mean_procedures(procedure, opening, monday, monday + 7 * 24 * HOUR, starts)

    friday = Closure(date(2026, 3, 6), date(2026, 3, 6))
    assert f"one booking known, {mean(1):g} more are expected" in said
    assert f"− 1 = {mean(1, friday):.2g}" in said
    assert mean(4) == 0

    rows = [[int(n) for n in row.split()] for row in said.split("before its end: ")[1].split(". ")[0].split("; ")]
    found, grid = of_triangle(rows)
    counted = curve(found, grid)
    known, steps = counted.known(3)[grid.past], np.diff(pickup(counted, 3).mean[grid.past].sum(axis=1), prepend=0)
    far, near, last = steps[::-1]
    assert f"increments are {far:g}, {near:g} and {last:g}" in said
    finals = known + np.cumsum(steps)
    assert f"{known[0]} + {last:g} = {finals[0]:g}, {known[1]} + {near:g} + {last:g} = {finals[1]:g}" in said
    assert f"and {known[2]} + {far:g} + {near:g} + {last:g} = {finals[2]:g}." in said


def test_orders() -> None:
    said = worked("orders")
    enough = quantile(poisson(2.4), 0.95)
    assert f"that is enough is {enough}" in said
    kit = Product("KIT", "", "kit", "", pack_size=4, pack_price=Decimal(1))
    line = order_line(
        OrderInput(
            product=kit, now=0, arrives_at=5 * 86_400, covers_until=12 * 86_400, known=((86_400, 3), (2 * 86_400, 2)),
            unbooked=poisson(2.4), daily_rate=1.0, lots=((None, 4),),
        )
    )  # fmt: skip
    assert f"Need 3 + 2 + {enough} − 4 = {line.need}, so order {line.order_quantity}" in said
    page = prose((DOCS / "rules" / "orders.md").read_text(encoding="utf-8"))
    together = joint_chance({str(n): 0.95 for n in range(7)}, map(str, range(7)))
    assert f"Seven products at 0.95 are {together:.2f} together" in page


def test_rehearsal() -> None:
    said = worked("rehearsal")
    one = np.ones(1, np.int32)
    wanted = np.array([3, 1, 6], np.int32)
    plan = Plan(
        periods=3,
        level=np.full((3, 1), 5, np.int32),
        arrives=np.arange(3, dtype=np.int32)[:, None],
        life=2 * one,
        pack=one,
    )
    got = played(plan, lambda _, size: Drawn(wanted[:, None, None]), 1)
    assert "3, 1 and 6 are wanted" in said
    assert (
        f"{got.ordered[0, 0]} ordered = {got.demand[0, 0]} wanted − {got.lost[0, 0]} lost + {got.wasted[0, 0]} wasted"
        in said
    )
    long = replace(plan, periods=130, level=np.full((130, 1), 5, np.int32), arrives=np.arange(130, dtype=np.int32)[:, None], counted_from=30)  # fmt: skip
    draw = np.random.default_rng(1).poisson(3, (130, 1, 1500)).astype(np.int32)
    got = played(long, lambda number, size: Drawn(draw[:, :, number * CHUNK :][:, :, :size]), 1500)
    wasted, served = ratio_band(got.wasted[0], 100), ratio_band(got.lost[0], got.demand[0]).rest()
    # the exact figures stand in tests/core/test_rehearsal.py
    assert "are 0.3446 wasted a day and 95.51 % served" in said
    assert wasted.low <= 0.3446 <= wasted.high and served.low <= 0.9551 <= served.high


BOOKINGS = (
    "id,procedure,start,patient\nK1,white,2026-03-{day}T{hour}:00:00Z,P-101\nK2,white,2026-03-12T10:00:00Z,P-102\n"
)


def test_bookings(cli: Line) -> None:
    said = worked("bookings")
    cli.file("b.csv", BOOKINGS.format(day=11, hour=10))
    first = cli.ask("booking", "import", "b.csv")
    assert f"says {len(first['added'])} added" in said
    again = cli.ask("booking", "import", "b.csv")
    assert not again["added"] and f"nothing new: {again['unchanged']} unchanged" in said
    cli.file("b.csv", BOOKINGS.format(day=11, hour=11))
    later = cli.ask("booking", "import", "b.csv")
    assert f"an hour later says {len(later['moved'])} moved" in said


def test_cautions(cli: Line) -> None:
    page = prose((DOCS / "rules" / "cautions.md").read_text(encoding="utf-8"))
    assert all(text in page for text in CAUTIONS)
    words = ("stock", "receive", "KIT", "--lot", "W", "--expiry", "2027-01", "--quantity", 2, "--into", "Cold one")
    came = prose(cli(*words, "--arrived-at", "7.2").out)
    assert all(text in came for text in CAUTIONS) and "Do not use if the seal is broken." in came
    freed = prose(cli("stock", "release", "KIT", "W", "--why", "asked", "--by", "AB").out)
    assert CAUTIONS[1] in freed
    sentence = "This records your decision; it does not say that the kit is fit for use."
    assert sentence in freed and sentence in page


def test_recall(cli: Line) -> None:
    said = worked("recall")
    for lot in ("3C001", "3c001"):
        words = (
            "stock",
            "receive",
            "KIT",
            "--lot",
            lot,
            "--expiry",
            "2026-12-31",
            "--quantity",
            4,
            "--into",
            "Cold one",
        )
        cli.ok(*words, "--at", "2026-02-27T09:00")
    cli.ok("booking", "add", "white", "--start", "2026-03-03T12:00", "--patient", "P-1", "--at", "2026-02-27T09:05")
    cli.ok("warmup", "pull", "B-1", "--lot", "3C001")
    cli.ok("booking", "done", "B-1", now="2026-03-03T15:00:00+00:00")
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "3C001", now="2026-03-03T15:10:00+00:00")
    told = cli("recall", "KIT", "3C001", now="2026-03-03T16:00:00+00:00").out
    summed = "4 received = 2 on hand + 1 out + 1 used + 0 discarded + 0 returned"
    assert summed in prose(told) and summed in said
    assert "3 pieces of it can still be used" in told and "Three can still be used" in said


def test_receiving(cli: Line) -> None:
    said = worked("receiving")
    into = ("--expiry", "2026-04-11", "--into", "Cold one")
    left = {}
    for n in (8, 20):
        words = ("stock", "receive", "KIT", "--lot", f"L{n}", "--quantity", n, *into)
        left[n] = cli.ask(*words)
        cli.ok("undo", "--why", "the other one")
    assert f"expiry 11 April: {left[8]['days_left']} days, short-dated" in said
    assert left[8]["warnings"] and f"{left[8]['usual_days']} days are usual" in said
    assert f"Of 8 none will be left, of 20 there will be {left[20]['expected_unused']}" in said
    assert left[8]["expected_unused"] == 0


def test_transfers(line) -> None:
    said = worked("transfers")
    hours = next(x for x in PRACTICE.splitlines() if x.startswith("hours"))
    sites = f'[[site]]\nname = "North"\n{hours}\n[[site]]\nname = "South"\n{hours}\n'
    text = PRACTICE.replace(hours + "\n", "").replace("[[fridge]]\n", sites + "[[fridge]]\n", 1)
    for name, site in (("Cold one", "North"), ("Cold two", "South"), ("Cupboard", "North")):
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\nsite = "{site}"\n')
    cli = line(text)
    alone = cli.ask("--site", "South", "reorder", "list")["suppliers"][0]["lines"][0]
    assert f"have to order {alone['order_quantity']}" in said
    words = ("--lot", "L", "--expiry", "2026-03-12", "--quantity", 10, "--into", "Cold one")
    cli.ok("stock", "receive", "KIT", *words)
    found = cli.ask("--site", "South", "reorder", "list")
    (move,), (row,) = found["transfers"], found["suppliers"][0]["lines"]
    assert f"expects {row['unbooked_mean']:.2f} uses" in said
    assert f"{move['quantity']} go to {move['to_site']}" in said
    assert f"it then needs {row['need']} and orders {row['order_quantity']}" in said


def test_every_rule_has_its_case_here() -> None:
    rules = {p.stem for p in (DOCS / "rules").glob("*.md")}
    assert rules == {name.removeprefix("test_") for name in globals() if name.removeprefix("test_") in rules}
