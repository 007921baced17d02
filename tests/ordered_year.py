"""A year of ordering in a made-up practice, played twice over the same demand: by the program's list, and by a textbook.

People book days or weeks ahead, some cancel, some take more cycles than planned. Every Monday what the program proposes is
ordered; every working day what was booked or cancelled is recorded; kits leave the fridge a day ahead; what is lacking is
borrowed, so that each shortage is counted once. The textbook is periodic review, order up to a level, and knows nothing
of bookings; it is given the level that serves best in hindsight.
"""

import csv
import heapq
import io
import itertools
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from stockroom.store.engine import Store
from stockroom.tasks.act import Act
from stockroom.tasks.finish import Outcome, done
from stockroom.tasks.hold_stock import discard
from stockroom.tasks.import_bookings import import_bookings
from stockroom.tasks.list_stock import stock_report
from stockroom.tasks.place_order import place
from stockroom.tasks.receive import Delivery, receive
from stockroom.tasks.reorder import order_plan
from stockroom.tasks.rules import rules
from stockroom.tasks.setup import init
from stockroom.tasks.take_out import take_out

ZONE = ZoneInfo("Europe/Amsterdam")
FIRST = date(2026, 1, 5)
"""The first Monday on which something is ordered. The record begins on the Friday before."""
BEFORE = 3
LIFE = {"KIT": 84, "GEL": 40, "MIX": 11}
"""Days that a delivery can be used."""
PLACE = {"KIT": "Cold one", "GEL": "Cupboard", "MIX": "Cupboard"}
A_WEEK = 14.0
CANCELLED = 0.08
CYCLES = {5: 0.1, 6: 0.6, 7: 0.2, 8: 0.1}
AHEAD = ((2, 6, 0.35), (7, 14, 0.4), (15, 35, 0.25))
"""(from, to, share): how many days before its start a booking is made."""
LEAD = 3
OPENING = {"KIT": 25, "GEL": 120, "MIX": 18}


def practice(target: float, kind: str = "cycle") -> str:
    """The practice file. Invented."""
    hours = ", ".join(f'{day} = ["08:00-18:00"]' for day in ("mon", "tue", "wed", "thu", "fri"))
    return f"""
[practice]
name = "Saltgrass Dental"
timezone = "Europe/Amsterdam"
currency = "EUR"
margin_minutes = 0
review_days = 7
service_target = {target}
target_kind = "{kind}"
hours = {{ {hours} }}
[[fridge]]
name = "Cold one"
low = 2.0
high = 8.0
[[shelf]]
name = "Cupboard"
[[supplier]]
name = "Harbour Supplies"
order_days = ["mon"]
lead_days = {LEAD}
delivery_days = ["mon", "tue", "wed", "thu", "fri"]
[[product]]
code = "KIT"
name = "Cold kit"
supplier = "Harbour Supplies"
kind = "kit"
keep = {{ low = 2.0, high = 8.0 }}
source = "label"
warmup_hours = 24
shelf_life_days = {LIFE["KIT"]}
[[product]]
code = "GEL"
name = "Gel"
supplier = "Harbour Supplies"
kind = "supply"
shelf_life_days = {LIFE["GEL"]}
[[product]]
code = "MIX"
name = "Mixed fresh"
supplier = "Harbour Supplies"
kind = "supply"
shelf_life_days = {LIFE["MIX"]}
[[procedure]]
code = "white"
minutes = 30
minutes_per_cycle = 10
cycles = 6
max_cycles = 8
expected_per_week = {A_WEEK * (1 - CANCELLED):.4g}
uses = [ {{ product = "KIT", each = 1 }}, {{ product = "GEL", per_cycles = 1 }}, {{ product = "MIX", each = 1 }} ]
"""


@dataclass(frozen=True, slots=True)
class Visit:
    """One booking, as it will turn out."""

    code: str
    start: int
    made: int
    cancelled_at: int | None
    cycles: int

    @property
    def end(self) -> int:
        """When it is over as planned."""
        return self.start + 60 * (30 + 6 * 10)


def instant(day: date, hour: float) -> int:
    """UTC seconds of a local time of day."""
    whole = datetime(day.year, day.month, day.day, tzinfo=ZONE) + timedelta(hours=hour)
    return int(whole.replace(tzinfo=ZONE).astimezone(UTC).timestamp())


def visits(seed: int, weeks: int) -> list[Visit]:
    """Everything that is booked for so many weeks and the five after them."""
    chance = np.random.default_rng(seed)
    found: list[Visit] = []
    for week in range(weeks + 5):
        for _ in range(chance.poisson(A_WEEK)):
            day = FIRST + timedelta(days=7 * week + int(chance.integers(5)))
            start = instant(day, 9 + float(chance.integers(32)) / 4)
            low, high, _ = AHEAD[int(chance.choice(3, p=[share for *_, share in AHEAD]))]
            made = instant(day - timedelta(days=int(chance.integers(low, high + 1))), 8 + 9 * float(chance.random()))
            gone = None
            if chance.random() < CANCELLED:
                gone = int(chance.integers(made, start - 30 * 3600))
            cycles = int(chance.choice(list(CYCLES), p=list(CYCLES.values())))
            found.append(Visit(f"X{len(found)}", start, made, gone, cycles))
    return found


@dataclass(slots=True)
class Tally:
    """What a policy came to, by product: shortages by cycle, pieces wasted, stock at the end of each day."""

    cycles: dict[str, Counter[int]] = field(default_factory=lambda: {p: Counter() for p in LIFE})
    asked: Counter[str] = field(default_factory=Counter)
    short: Counter[str] = field(default_factory=Counter)
    wasted: Counter[str] = field(default_factory=Counter)
    stock: dict[str, list[int]] = field(default_factory=lambda: {p: [] for p in LIFE})
    said: dict[str, list[float]] = field(default_factory=lambda: {p: [] for p in LIFE})
    """What the program said of each cycle: the chance of no shortage, or the part of demand served."""

    def served(self, product: str, weeks: int) -> list[bool]:
        """For each week's order whether nothing was short from its arrival to that of the next one."""
        return [not self.cycles[product][week] for week in range(weeks)]


@dataclass(slots=True)
class Shelf:
    """The pieces of the products, lot by lot, kept apart from the program; a policy orders, demand takes."""

    weeks: int
    tally: Tally = field(default_factory=Tally)
    lots: dict[str, list[list[int]]] = field(default_factory=lambda: {p: [] for p in LIFE})
    """(end of use, week of its order, pieces) of each lot."""
    coming: Counter[str] = field(default_factory=Counter)

    def there(self, product: str) -> int:
        """Pieces on hand."""
        return sum(n for *_, n in self.lots[product])

    def arrives(self, product: str, pieces: int, end: int, week: int) -> None:
        """A delivery."""
        if pieces:
            heapq.heappush(self.lots[product], [end, week, pieces])

    def takes(self, product: str, pieces: int, at: int, until: int) -> int:
        """Uses pieces, first expired first out, that can be used ``until`` then; answers how many were lacking, and counts
        them in the cycle of ``at``.
        """
        wanted = pieces
        for lot in sorted(self.lots[product]):
            used = min(lot[2], wanted) if lot[0] >= until else 0
            lot[2] -= used
            wanted -= used
        self.lots[product] = sorted(lot for lot in self.lots[product] if lot[2])
        # the order of week w is there from Thursday 18:00 of that week on
        week = (at - instant(FIRST + timedelta(days=LEAD), 18) + 7 * 86_400) // (7 * 86_400) - 1
        if 0 <= week < self.weeks:
            self.tally.asked[product] += pieces
            self.tally.short[product] += wanted
            if wanted:
                self.tally.cycles[product][week] += wanted
        return wanted

    def spoiled(self, product: str, at: int) -> list[list[int]]:
        """The lots whose time is over, taken away."""
        gone = [lot for lot in self.lots[product] if lot[0] <= at]
        self.lots[product] = [lot for lot in self.lots[product] if lot[0] > at]
        self.tally.wasted[product] += sum(n for *_, n in gone)
        return gone

    def evening(self) -> None:
        """Counts what is there at the end of a day."""
        for product in LIFE:
            self.tally.stock[product].append(self.there(product))


def end_of(day: date, product: str) -> int:
    """The end of use of what comes on a day."""
    return instant(day + timedelta(days=LIFE[product] + 1), 0)


def demand(found: list[Visit]) -> list[tuple[int, str, Visit]]:
    """(instant, product, visit) whenever something is taken: kits a day ahead, the rest at the start."""
    kept = [v for v in found if v.cancelled_at is None]
    return sorted(
        itertools.chain(
            ((v.start - 24 * 3600, "KIT", v) for v in kept),
            ((v.start, product, v) for v in kept for product in ("GEL", "MIX")),
        ),
        key=lambda e: (e[0], e[1], e[2].code),
    )  # fmt: skip


def taken(product: str, visit: Visit) -> int:
    """Pieces of a product that a visit takes."""
    return visit.cycles if product == "GEL" else 1


def days(weeks: int) -> list[date]:
    """Every day of so many weeks, and of the one after them, in which the last order is used."""
    return [FIRST + timedelta(days=n) for n in range(-BEFORE, 7 * (weeks + 1))]


def textbook(found: list[Visit], weeks: int, levels: dict[str, int]) -> Tally:
    """Each Monday up to a level of what is there and on order; nothing is known of bookings."""
    shelf, due = Shelf(weeks), demand(found)
    for product in LIFE:
        shelf.arrives(product, OPENING[product], end_of(FIRST, product), -1)
    at = 0
    for day in days(weeks):
        for product in LIFE:
            shelf.spoiled(product, instant(day, 0))
        if day.weekday() == 0:
            orders = {p: max(0, levels[p] - shelf.there(p)) for p in LIFE}
        comes = instant(day, 18)
        for late in (False, True):
            while at < len(due) and (due[at][0] < (comes if not late else instant(day, 24))):
                moment, product, visit = due[at]
                shelf.takes(product, taken(product, visit), moment, visit.end)
                at += 1
            if not late and day.weekday() == LEAD:
                week = (day - FIRST).days // 7
                for product, pieces in orders.items():
                    shelf.arrives(product, pieces, end_of(day, product), week)
        shelf.evening()
    return shelf.tally


class Year:
    """The same by the program: its own database, its own list, every event on record."""

    def __init__(self, where: str, seed: int, weeks: int, target: float, kind: str = "cycle") -> None:
        self.visits, self.weeks = visits(seed, weeks), weeks
        self.shelf, self.kind = Shelf(weeks), kind
        begins = instant(FIRST - timedelta(days=BEFORE), 7)
        text = practice(target, kind).encode()
        self.store: Store
        self.store, _ = init(where, self._act(begins - 3600), text, "practice.toml")
        for product in LIFE:
            self._received(product, OPENING[product], FIRST, begins, None)
        self._told: dict[str, str] = {}
        self._number = 0

    def _act(self, at: int) -> Act:
        return Act("AB", at, at, at_given=True)

    def _received(
        self, product: str, pieces: int, day: date, at: int, order: str | None, lender: str | None = None
    ) -> None:
        expiry = day + timedelta(days=LIFE[product])
        lot = f"{product[0]}{expiry:%m%d}{'B' if lender else ''}"
        receive(
            self.store,
            self._act(at),
            Delivery(product, lot, expiry, PLACE[product], pieces, order=order, lender=lender),
        )
        if lender is None:
            self.shelf.arrives(product, pieces, end_of(day, product), (day - FIRST).days // 7)

    def _diary(self, at: int) -> None:
        """What was booked and cancelled by now, as the practice's own list says it."""
        out = io.StringIO()
        rows = csv.writer(out, lineterminator="\n")
        rows.writerow(["id", "procedure", "start", "patient", "state", "made"])
        new = 0
        for v in self.visits:
            state = "cancelled" if v.cancelled_at is not None and v.cancelled_at <= at else "booked"
            if (
                v.made <= at
                and self._told.get(v.code) != state
                and not (state == "cancelled" and v.code not in self._told)
            ):
                start, made = (datetime.fromtimestamp(x, UTC).isoformat() for x in (v.start, v.made))
                rows.writerow([v.code, "white", start, f"P-{v.code}", state, made])
                self._told[v.code] = state
                new += 1
        if new:
            said = import_bookings(self.store, self._act(at), out.getvalue().encode(), "diary.csv")
            assert not said.fields["rejected"], said

    def _ordered(self, at: int) -> dict[str, int]:
        """Orders what is proposed, all of it."""
        with self.store.reading() as conn:
            plan = order_plan(conn, rules(conn, at), at)
        lines = {p.product.code: p.line for s in plan.suppliers for p in s.products}
        for product in LIFE:
            line = lines[product]
            self.shelf.tally.said[product].append(line.achieved)
        if not any(line.order_quantity for line in lines.values()):
            return {}
        said = place(self.store, self._act(at), "Harbour Supplies", [], None)
        self._number += 1
        assert said.fields["order"] == f"O-{self._number}"
        return {line["product"]: line["quantity"] for line in said.fields["lines"]}

    def _taken(self, moment: int, product: str, visit: Visit) -> None:
        day = datetime.fromtimestamp(moment, ZONE).date()
        lacking = self.shelf.takes(product, taken(product, visit), moment, visit.end)
        if lacking:
            self._received(product, lacking, day, moment, None, "a neighbour")
        if product == "KIT":
            take_out(self.store, self._act(moment), booking=visit.code)
        elif product == "MIX":  # the last of a visit's products
            done(self.store, self._act(moment), visit.code, Outcome(cycles=visit.cycles))

    def play(self, each: Callable[[int], None] = lambda week: None) -> Tally:
        """All weeks; ``each`` is told the week that begins."""
        due, at, orders = demand(self.visits), 0, dict[str, int]()
        for day in days(self.weeks):
            week = (day - FIRST).days // 7
            for product in LIFE:
                for end, _, pieces in self.shelf.spoiled(product, instant(day, 0)):
                    expiry = datetime.fromtimestamp(end, ZONE).date() - timedelta(days=1)
                    self._thrown(product, f"{product[0]}{expiry:%m%d}", pieces, instant(day, 0) + 60)
            self._diary(instant(day, 8))
            if day.weekday() == 0:
                each(week)
                orders = self._ordered(instant(day, 8.5))
            for late in (False, True):
                while at < len(due) and due[at][0] < instant(day, 24 if late else 18):
                    self._taken(*due[at])
                    at += 1
                if not late and day.weekday() == LEAD:
                    for product, pieces in orders.items():
                        self._received(product, pieces, day, instant(day, 18) - 1, f"O-{self._number}")
                    orders = {}
            self.shelf.evening()
        return self.shelf.tally

    def _thrown(self, product: str, lot: str, pieces: int, at: int) -> None:
        discard(self.store, self._act(at), product, lot, quantity=pieces, why="expired")

    def on_hand(self, at: int) -> Counter[str]:
        """What the program says is there."""
        with self.store.reading() as conn:
            rows = stock_report(conn, rules(conn, at), at).rows
        return Counter({p: sum(r.quantity for r in rows if r.product == p and r.pull is None) for p in LIFE})
