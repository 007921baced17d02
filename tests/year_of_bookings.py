"""A year of a made-up practice, event by event through the command line, beside a plain account of the same events.

The account is kept unit by unit and knows nothing of the program's own planning: it says which kit may serve which
booking by the rules alone, and networkx says how many bookings could be served at all.
"""

import contextlib
import copy
import io
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import networkx as nx
from conftest import Line, Said
from freezegun import freeze_time

from stockroom.cli.main import main
from stockroom.pages.answers import row_answer
from stockroom.store.engine import opened
from stockroom.tasks.warm_plan import warm_plan

HOUR, DAY = 3600, 86_400
MARGIN = 15 * 60
WARM = {"KIT": 24 * HOUR, "PAD": 30 * HOUR}
LASTS: dict[str, int | None] = {"KIT": 72 * HOUR, "PAD": None}
USES = {"white": ("KIT",), "duo": ("KIT", "KIT"), "mix": ("KIT", "PAD")}
MINUTES = {"white": 45 + 60, "duo": 60 + 60, "mix": 30 + 60}
PER_CYCLE = 10
CYCLES = 6
WEEK = {0: ((8, 0, 12, 30), (13, 30, 18, 0)), 1: ((8, 0, 18, 0),), 2: ((8, 0, 12, 0), (13, 0, 17, 30)), 3: ((9, 0, 19, 0),),
        4: ((8, 0, 15, 0),)}  # fmt: skip
NAMES = ("mon", "tue", "wed", "thu", "fri")


def practice(zone: str) -> str:
    """The practice file. Invented."""
    hours = ", ".join(
        f"{NAMES[d]} = [" + ", ".join(f'"{a:02d}:{b:02d}-{c:02d}:{e:02d}"' for a, b, c, e in spans) + "]"
        for d, spans in WEEK.items()
    )
    products = "".join(
        f'\n[[product]]\ncode = "{code}"\nname = "Cold {code.lower()}"\nsupplier = "Harbour Supplies"\nkind = "kit"\n'
        f'keep = {{ low = 2.0, high = 6.0 }}\nsource = "label"\nwarmup_hours = {WARM[code] // HOUR}\n'
        + (f"max_out_hours = {LASTS[code] // HOUR}\n" if LASTS[code] else "")
        + "returnable = true\n"
        for code in WARM
    )
    procedures = "".join(
        f'\n[[procedure]]\ncode = "{code}"\nminutes = {MINUTES[code] - CYCLES * PER_CYCLE}\nminutes_per_cycle = {PER_CYCLE}\n'
        f"cycles = {CYCLES}\nmax_cycles = 8\nexpected_per_week = 2\nuses = ["
        + ", ".join(f'{{ product = "{p}", each = {kits.count(p)} }}' for p in dict.fromkeys(kits))
        + "]\n"
        for code, kits in USES.items()
    )
    return (
        f'[practice]\nname = "Saltgrass Dental"\ntimezone = "{zone}"\ncurrency = "EUR"\nmargin_minutes = 15\nhours = {{ {hours} }}\n'
        '\n[[fridge]]\nname = "Cold one"\nlow = 2.0\nhigh = 6.0\n\n[[fridge]]\nname = "Cold two"\nlow = 2.0\nhigh = 6.0\n'
        '\n[[supplier]]\nname = "Harbour Supplies"\norder_days = ["mon"]\nlead_days = 2\n'
        'delivery_days = ["mon", "tue", "wed", "thu", "fri"]\n' + products + procedures
    )


@dataclass(slots=True)
class Unit:
    """One kit. ``spent``: seconds out on earlier outings; ``label``: the P-number of its last outing."""

    product: str
    lot: str
    expiry: date
    place: str
    held: bool = False
    pulled_at: int | None = None
    spent: int = 0
    label: int | None = None
    promised: int | None = None
    gone: str | None = None

    @property
    def out(self) -> bool:
        """True while it is out of the fridge."""
        return self.gone is None and self.pulled_at is not None


@dataclass(slots=True)
class Booked:
    """One booking."""

    number: int
    procedure: str
    start: int
    state: str = "booked"

    @property
    def end(self) -> int:
        """When it ends, with its usual cycles."""
        return self.start + 60 * MINUTES[self.procedure]


@dataclass(slots=True)
class Account:
    """What there is, by the events alone."""

    zone: ZoneInfo
    units: list[Unit] = field(default_factory=list)
    bookings: dict[int, Booked] = field(default_factory=dict)
    closed: dict[date, list[tuple[int, int]]] = field(default_factory=dict)
    """Minutes of a day in which nobody is in."""
    opened: dict[date, list[tuple[int, int]]] = field(default_factory=dict)
    known: dict[date, list[tuple[int, int]]] = field(default_factory=dict)
    """Spans that were worked out already."""

    def instant(self, day: date, minute: int) -> int:
        """UTC seconds of a minute of a local day."""
        return int(
            datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=self.zone)
            .astimezone(UTC)
            .timestamp()
        )

    def day(self, at: int) -> date:
        """The local day of an instant."""
        return datetime.fromtimestamp(at, self.zone).date()

    def spans(self, day: date) -> list[tuple[int, int]]:
        """The staffed minutes of a day, less what is closed, with what is opened."""
        if day in self.known:
            return self.known[day]
        minutes = set()
        for a, b, c, e in WEEK.get(day.weekday(), ()):
            minutes |= set(range(60 * a + b, 60 * c + e))
        for a, b in self.opened.get(day, ()):
            minutes |= set(range(a, b))
        for a, b in self.closed.get(day, ()):
            minutes -= set(range(a, b))
        found: list[tuple[int, int]] = []
        for minute in sorted(minutes):
            if found and found[-1][1] == minute:
                found[-1] = (found[-1][0], minute + 1)
            else:
                found.append((minute, minute + 1))
        self.known[day] = [(self.instant(day, a), self.instant(day, b)) for a, b in found]
        return self.known[day]

    def last_moment(self, by: int) -> int | None:
        """The latest moment, at or before one, that lies the margin inside a staffed span."""
        day = self.day(by)
        for back in range(40):
            found = [
                min(b - MARGIN, by)
                for a, b in self.spans(day - timedelta(days=back))
                if a + MARGIN <= b - MARGIN and a + MARGIN <= by
            ]
            if found:
                return max(found)
        return None

    def expiry_end(self, unit: Unit) -> int:
        """When its last day ends."""
        return self.instant(unit.expiry + timedelta(days=1), 0)

    def use_by(self, unit: Unit) -> int:
        """Until when a kit that is out is good, by all that is known."""
        lasts = LASTS[unit.product]
        assert unit.pulled_at is not None
        return (
            self.expiry_end(unit) if lasts is None else min(unit.pulled_at + lasts - unit.spent, self.expiry_end(unit))
        )

    def serves(self, unit: Unit, booking: Booked, now: int) -> bool:
        """True where the rules let this kit serve this booking."""
        if unit.gone or unit.held or self.expiry_end(unit) <= now or self.expiry_end(unit) < booking.end:
            return False
        if unit.out:
            assert unit.pulled_at is not None
            return unit.pulled_at + WARM[unit.product] <= booking.start and self.use_by(unit) >= booking.end
        by = booking.start - WARM[unit.product]
        moment = self.last_moment(by)
        if now > by or moment is None or moment < now:
            return False
        lasts = LASTS[unit.product]
        return lasts is None or booking.end - moment <= lasts - unit.spent

    def coming(self, now: int) -> list[Booked]:
        """Bookings that stand and have not begun."""
        return [b for b in self.bookings.values() if b.state == "booked" and b.start > now]

    def could_be_served(self, now: int, product: str) -> int:
        """How many kits of a product could serve, promises kept first, then all others at once: a maximum matching."""
        wants = [b for b in self.coming(now) for p in USES[b.procedure] if p == product]
        free: list[Unit] = []
        kept = 0
        for unit in (u for u in self.units if u.product == product and u.gone is None):
            holder = self.bookings.get(unit.promised or 0)
            if holder is None or holder.state != "booked":
                free.append(unit)
            elif holder.start <= now:
                if not self.serves(unit, holder, now):
                    free.append(unit)  # else it is at its booking
            elif self.serves(unit, holder, now) and holder in wants:
                wants.remove(holder)
                kept += 1
            else:
                free.append(unit)
        graph = nx.Graph()
        graph.add_nodes_from(("want", i) for i in range(len(wants)))
        for k, unit in enumerate(free):
            for i, booking in enumerate(wants):
                if self.serves(unit, booking, now):
                    graph.add_edge(("want", i), ("kit", k))
        top = [("want", i) for i in range(len(wants))]
        return kept + len(nx.bipartite.maximum_matching(graph, top_nodes=top)) // 2


def utc(text: str) -> int:
    """An instant of an answer as seconds."""
    return int(datetime.fromisoformat(text).timestamp())


SERVED = ("ready", "warming", "due", "planned")


class Year:
    """Plays the year; ``checked`` after each event is where the invariants are looked at."""

    def __init__(self, line: Line, zone: str, seed: int, bookings: int, days: int) -> None:
        self.line, self.chance = line, random.Random(seed)
        self.account = Account(ZoneInfo(zone))
        self.first, self.days, self.wanted = date(2026, 1, 12), days, bookings
        self.now = self.account.instant(self.first, 8 * 60)
        self.lots = 0
        self.store = opened(line.where)
        self.patients = 0
        self.plans: list[tuple[int, list[dict[str, object]]]] = []
        self.counts: dict[str, int] = {}
        self.frozen = freeze_time(datetime.fromtimestamp(self.now, UTC))
        self.clock = self.frozen.start()

    def told(self, *args: object) -> Said:
        """One command, now. It may need attention, it never fails."""
        said = self.typed(*args)
        assert said.code in (0, 1), (args, said)
        self.counts[" ".join(map(str, args[:2]))] = self.counts.get(" ".join(map(str, args[:2])), 0) + 1
        return said

    def typed(self, *args: object) -> Said:
        """One command line, now. The clock is frozen once and moved: to freeze it anew each time takes longer than most
        commands."""
        self.clock.move_to(datetime.fromtimestamp(self.now, UTC))
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(["--db", self.line.where, *map(str, args), "--json"])
        return Said(code, out.getvalue(), err.getvalue())

    def plan(self) -> list[dict[str, object]]:
        """The rows of the plan, each held against the account."""
        with self.store.reading() as conn:
            rows = [row_answer(r) for r in warm_plan(conn, self.now, cures=False).rows]
        self.checked(rows)
        return rows

    def checked(self, rows: list[dict[str, object]]) -> None:
        """No row uses a kit that may not serve it, none is used twice, and as many are served as could be."""
        account, now = self.account, self.now
        by_label = {u.label: u for u in account.units if u.out}
        pulls: set[int] = set()
        taken: dict[tuple[str, str], list[Booked]] = {}
        served: dict[str, int] = {}
        for row in rows:
            if row["state"] not in SERVED:
                assert row["pull"] is None, row
                continue
            booking = account.bookings[int(str(row["booking"])[2:])]
            served[str(row["product"])] = served.get(str(row["product"]), 0) + 1
            if row["pull"] is None:
                taken.setdefault((str(row["lot"]), str(row["place"])), []).append(booking)
                continue
            number = int(str(row["pull"])[2:])
            assert number not in pulls, f"P-{number} serves two bookings"
            pulls.add(number)
            unit = by_label[number]
            assert account.serves(unit, booking, now), (row, unit)
            warm = unit.pulled_at is not None and unit.pulled_at + WARM[unit.product] <= now
            assert row["state"] == ("ready" if warm else "warming"), row
        for (lot, place), needing in taken.items():
            there = [
                u
                for u in account.units
                if (u.lot, u.place) == (lot, place) and u.gone is None and not u.out and not u.held
            ]
            # As many different units of the lot as there are bookings for it, each able to serve its own.
            graph = nx.Graph()
            for i, booking in enumerate(needing):
                graph.add_edges_from(
                    (("b", i), ("u", k)) for k, u in enumerate(there) if account.serves(u, booking, now)
                )
            tops = [("b", i) for i in range(len(needing))]
            graph.add_nodes_from(tops)
            found = len(nx.bipartite.maximum_matching(graph, top_nodes=tops)) // 2
            assert found == len(needing), (lot, place, needing)
        for product in WARM:
            best = account.could_be_served(now, product)
            assert served.get(product, 0) == best, (
                f"{product} at {self.now}: {served.get(product, 0)} of {best} that could be served"
            )
        wanted = sum(len(USES[b.procedure]) for b in account.coming(now))
        assert len(rows) == wanted

    # What happens, each as a command and as an entry of the account.

    def receive(self, product: str, quantity: int, days: int) -> None:
        self.lots += 1
        lot, expiry = f"{product[0]}{self.lots:03d}", self.account.day(self.now) + timedelta(days=days)
        place = self.chance.choice(["Cold one", "Cold two"])
        self.told(
            "stock", "receive", product, "--lot", lot, "--expiry", expiry, "--quantity", quantity, "--into", place
        )
        self.account.units += [Unit(product, lot, expiry, place) for _ in range(quantity)]

    def book(self, day: date) -> None:
        procedure = self.chance.choices(list(USES), [6, 1, 2])[0]
        spans = [(a, b) for a, b in self.account.spans(day) if b - a >= 60 * MINUTES[procedure]]
        if not spans:
            return
        a, b = self.chance.choice(spans)
        start = a + 900 * self.chance.randrange((b - a - 60 * MINUTES[procedure]) // 900 + 1)
        if start <= self.now:
            return
        self.patients += 1
        said = self.told("booking", "add", procedure, "--start", self.text(start), "--patient", f"P-{self.patients}")
        number = int(said.json["booking"][2:])
        self.account.bookings[number] = Booked(number, procedure, start)

    def text(self, at: int) -> str:
        return datetime.fromtimestamp(at, self.account.zone).isoformat()

    def pull(self, booking: Booked) -> None:
        """Takes out what the booking needs, as the plan says. The program may not take what serves nobody."""
        said = self.typed("warmup", "pull", f"B-{booking.number}")
        if said.code == 3:
            return
        assert said.code in (0, 1), said
        for p in said.json["pulls"]:
            before = None if p["out_before"] is None else int(p["out_before"][2:])
            unit = next(
                u for u in self.account.units
                if (u.lot, u.place, u.gone, u.out, u.label) == (p["lot"], p["from"], None, False, before)
            )  # fmt: skip
            unit.pulled_at, unit.label, unit.promised = self.now, int(p["pull"][2:]), booking.number
            if p["use_by"] is not None:
                assert utc(p["use_by"]) == self.account.use_by(unit)
            assert utc(p["ready_at"]) == self.now + WARM[unit.product]

    def back(self, unit: Unit) -> None:
        assert unit.pulled_at is not None
        said = self.told("warmup", "back", f"P-{unit.label}")
        unit.spent += self.now - unit.pulled_at
        unit.pulled_at, unit.promised = None, None
        unit.held |= any("it is in quarantine" in warning for warning in said.json["warnings"])

    def finish(self, booking: Booked) -> None:
        """Done, stopped, or missed with the kit sealed or opened, typed in after its end."""
        had = [u for u in self.account.units if u.out and u.promised == booking.number]
        how = self.chance.random()
        if how < 0.08 or len(had) < len(USES[booking.procedure]):
            # Of a kit that was opened all that the booking needs is used up, be it from the fridge.
            sealed = self.chance.random() < 0.5 or len(had) < len(USES[booking.procedure])
            self.told(
                "booking",
                "missed",
                f"B-{booking.number}",
                *(("--kit", "sealed" if sealed else "opened") if had else ()),
            )
            booking.state = "missed"
            for unit in had:
                unit.promised = None
                if not sealed:
                    unit.gone = "used"
            return
        extra = ("--stopped", "--cycles", 2) if how < 0.14 else ()
        said = self.told("booking", "done", f"B-{booking.number}", *extra)
        booking.state = "done"
        assert {used["pull"] for used in said.json["used"]} == {f"P-{u.label}" for u in had}, (had, said)
        for used in said.json["used"]:
            unit = self.unit_used(used)
            unit.gone, unit.promised = "used", None
        for unit in had:
            if unit.gone is None:
                unit.promised = None

    def unit_used(self, used: dict[str, object]) -> Unit:
        if used.get("pull"):
            return next(u for u in self.account.units if u.out and f"P-{u.label}" == used["pull"])
        return next(u for u in self.account.units if u.gone is None and not u.out and u.lot == used["lot"])

    def move(self, booking: Booked, day: date) -> None:
        spans = [(a, b) for a, b in self.account.spans(day) if b - a >= booking.end - booking.start]
        if not spans:
            return
        start = self.chance.choice(spans)[0]
        if start <= self.now:
            return
        self.told("booking", "move", f"B-{booking.number}", "--start", self.text(start))
        booking.start = start
        for unit in self.account.units:
            # A kit that cannot serve it any more is free; one that can is kept.
            if unit.out and unit.promised == booking.number and not self.account.serves(unit, booking, self.now):
                unit.promised = None

    def cancel(self, booking: Booked) -> None:
        self.told("booking", "cancel", f"B-{booking.number}", "--why", "asked to")
        booking.state = "cancelled"
        for unit in self.account.units:
            if unit.promised == booking.number:
                unit.promised = None

    def promise(self, unit: Unit, booking: Booked) -> None:
        self.told("warmup", "promise", f"P-{unit.label}", f"B-{booking.number}")
        unit.promised = booking.number

    def quarantine(self, lot: str) -> None:
        units = [u for u in self.account.units if u.lot == lot and u.gone is None]
        self.told("stock", "quarantine", units[0].product, lot, "--why", "seal looks odd")
        for unit in units:
            unit.held = True

    def release(self, lot: str) -> None:
        units = [u for u in self.account.units if u.lot == lot and u.gone is None]
        self.told("stock", "release", units[0].product, lot, "--why", "maker says fine", "--by", "AB")
        for unit in units:
            unit.held = False

    def discard(self, units: list[Unit]) -> None:
        for unit in [u for u in units if u.out]:
            self.told("stock", "discard", "--pull", f"P-{unit.label}", "--why", "over", "--by", "AB")
            unit.gone, unit.promised = "discarded", None
        inside: dict[tuple[str, str, str], list[Unit]] = {}
        for unit in units:
            if unit.gone is None:
                inside.setdefault((unit.product, unit.lot, unit.place), []).append(unit)
        for (product, lot, place), found in inside.items():
            self.told(
                "stock",
                "discard",
                product,
                lot,
                "--quantity",
                len(found),
                "--place",
                place,
                "--why",
                "over",
                "--by",
                "AB",
            )
            for unit in found:
                unit.gone = "discarded"

    def close(self, day: date, part: bool) -> None:
        self.account.known.clear()
        if part:
            self.told("practice", "closed", day, "--from", "08:00", "--to", "12:00", "--why", "course")
            self.account.closed.setdefault(day, []).append((8 * 60, 12 * 60))
        else:
            self.told("practice", "closed", day, "--why", "course")
            self.account.closed.setdefault(day, []).append((0, 24 * 60))

    def open(self, day: date) -> None:
        self.account.known.clear()
        self.told("practice", "open", day, "--from", "10:00", "--to", "12:00", "--why", "catching up")
        self.account.opened.setdefault(day, []).append((10 * 60, 12 * 60))

    def undone(self, what: Iterator[None]) -> None:
        """Something that is recorded and taken back at once leaves all as it was."""
        kept = copy.deepcopy((self.account.units, self.account.bookings))
        next(what)
        self.told("undo", "--why", "slip")
        self.account.units, self.account.bookings = kept

    def play(self) -> None:
        """The year, day by day: what comes in, the plan followed (mostly), what became of the bookings, mishaps."""
        self.receive("KIT", 12, 200)
        self.receive("PAD", 6, 120)
        for n in range(self.days):
            day = self.first + timedelta(days=n)
            spans = self.account.spans(day)
            if not spans:
                continue
            self.now = spans[0][0] + MARGIN
            self.morning(day, n)
            self.follow(day)
            self.now = max(self.now, self.account.spans(day)[-1][1] - 60 if self.account.spans(day) else self.now)
            self.evening(day)

    def morning(self, day: date, n: int) -> None:
        """New bookings, changes, deliveries and mishaps of the day; after each the plan is looked at."""
        chance, rate = self.chance, 1.1 * self.wanted / (self.days * 5 / 7)
        rows = self.plan()
        begun = [b for b in self.account.bookings.values() if b.state == "booked" and b.start <= self.now]
        if (
            n % 7 in (1, 3) and not begun and len(self.plans) < 40
        ):  # what has begun is written in later, for its own time
            self.plans.append((self.now, self.told("warmup", "check").json["bookings"]))
            assert [planned(r) for r in self.plans[-1][1]] == [planned(r) for r in rows]
            self.now += 60  # what is recorded from here on had not happened at that moment
        todo = int(rate) + (chance.random() < rate % 1)
        for _ in range(todo):
            ahead = 0 if chance.random() < 0.06 else 1 if chance.random() < 0.1 else chance.randrange(2, 30)
            self.book(next(d for n in range(20) if self.account.spans(d := day + timedelta(days=ahead + n))))
        standing = self.account.coming(self.now)
        if day.weekday() == 1 and chance.random() < 0.95:
            self.receive("KIT", chance.choice([8, 12]), chance.choice([6, 40, 150, 300]))
        if day.weekday() == 2 and chance.random() < 0.6:
            self.receive("PAD", 4, chance.choice([10, 90]))
        if standing and chance.random() < 0.25:
            self.move(chance.choice(standing), day + timedelta(days=chance.randrange(0, 12)))
        if standing and chance.random() < 0.12:
            self.cancel(chance.choice(self.account.coming(self.now) or standing))
        self.mishap(day)
        self.plan()

    def mishap(self, day: date) -> None:
        """Holds and releases, closed and opened days, kits put back, promised anew, thrown away."""
        chance, units = self.chance, [u for u in self.account.units if u.gone is None]
        free = sorted({u.lot for u in units if not any(v.held for v in units if v.lot == u.lot)})
        held = sorted({u.lot for u in units if u.held})
        if free and chance.random() < 0.04:
            self.quarantine(chance.choice(free))
        if held and chance.random() < 0.25:
            self.release(chance.choice(held))
        ahead = day + timedelta(days=chance.randrange(1, 10))
        clear = ahead not in self.account.closed and ahead not in self.account.opened
        if clear and chance.random() < 0.04 and ahead.weekday() < 5:
            self.close(ahead, part=chance.random() < 0.4)
        elif clear and chance.random() < 0.1 and ahead.weekday() >= 5:
            self.open(ahead)
        loose = [u for u in units if u.out and not u.held and u.promised is None]
        for unit in loose:
            wanting = [
                b
                for b in self.account.coming(self.now)
                if unit.product in USES[b.procedure] and self.account.serves(unit, b, self.now)
            ]
            had = {u.promised for u in units}
            wanting = [b for b in wanting if b.number not in had]
            if self.account.use_by(unit) <= self.now:
                self.discard([unit])
            elif wanting and chance.random() < 0.3:
                self.promise(unit, chance.choice(wanting))
            elif chance.random() < 0.4:
                self.back(unit)
        over = [u for u in units if u.gone is None and self.account.expiry_end(u) <= self.now]
        if over and chance.random() < 0.5:
            self.discard(over)
        if chance.random() < 0.05:
            standing = self.account.coming(self.now)
            if standing:
                self.undone(iter_of(lambda: self.cancel(chance.choice(standing))))

    def follow(self, day: date) -> None:
        """Takes out what the plan wants today, at the last moment that it names; now and then somebody forgets."""
        done: set[int] = set()
        while True:
            rows = self.plan()
            due = sorted(
                (utc(str(r["take_out_staffed_by"])), int(str(r["booking"])[2:]))
                for r in rows
                if r["state"] == "due" and int(str(r["booking"])[2:]) not in done
            )
            if not due:
                return
            moment, number = due[0]
            assert moment >= self.now and self.account.day(moment) == day
            booking = self.account.bookings[number]
            # One that somebody forgot today is past helping, and was so before.
            before = self.unserved(rows) | {f"B-{n}" for n in done}
            self.now = moment
            # Time alone takes no kit from a booking that has not begun: the plan said that this moment is early enough.
            late = self.plan()
            assert self.unserved(late) <= before, (self.now, self.unserved(late) - before)
            done.add(number)
            if self.chance.random() < 0.97:
                self.pull(booking)

    def unserved(self, rows: list[dict[str, object]]) -> set[object]:
        """Bookings that have a kit too few."""
        return {r["booking"] for r in rows if r["state"] not in SERVED}

    def evening(self, day: date) -> None:
        """What became of the bookings that are over."""
        for booking in sorted(self.account.bookings.values(), key=lambda b: b.start):
            if booking.state == "booked" and booking.end <= self.now:
                self.finish(booking)
        self.plan()


def planned(row: dict[str, object]) -> tuple[object, ...]:
    """What a row plans, without its words."""
    return tuple(row[k] for k in ("booking", "product", "state", "lot", "place", "pull", "take_out_staffed_by"))


def iter_of(work: Callable[[], None]) -> Iterator[None]:
    """One step that is taken when it is asked for."""
    yield work()
