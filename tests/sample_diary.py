"""The diary of the made-up season: opening hours, kits' rules and bookings, with when each kit is taken out.

Everything that the practice file says (hours, closures, warm-up) is read from it. The bookings that the season's story
needs are named in STORY and TELEPHONE; the rest are drawn from the free times with a fixed seed. Times are whole
minutes since 1970-01-01 UTC.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil
from typing import Any

from sample_fridges import local, minute

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Span = tuple[int, int]

SICK_DAY = date(2026, 2, 11)
EXPORTS = ("2026-01-14T17:20", "2026-02-23T08:20", "2026-04-13T08:20")
"""When the diary's three exports were made."""

TIMES = {
    "mon": ("09:00", "10:45", "14:00", "15:30"),
    "tue": ("09:00", "10:45", "14:00", "15:45", "17:15"),
    "wed": ("09:00", "10:45", "12:30", "14:15"),
    "thu": ("09:30", "11:15", "14:15", "16:00"),
    "fri": ("09:00", "10:45", "12:30"),
    "sat": ("09:15", "10:45"),
}
"""The clock times at which the practice books."""

NOT_TAKEN_OUT = {
    "ARCH": [("2026-01-31T08:00", "2026-01-31T23:59"), ("2026-02-28T08:00", "2026-03-02T23:59")],
    "TOOTH": [("2026-02-05T18:00", "2026-02-09T23:59"), ("2026-03-24T08:00", "2026-03-24T23:59")],
}
"""When no booking may need a kit to be taken out: a fault holds what is there, or the holiday makes it very long."""


class Rules:
    """What the practice file says, as far as the season needs it."""

    def __init__(self, text: dict[str, Any]) -> None:
        self.hours: dict[str, list[str]] = text["practice"]["hours"]
        self.margin: int = text["practice"]["margin_minutes"]
        self.closed = [(c["from"], c["to"]) for c in text["practice"]["closed"]]
        self.products: dict[str, dict[str, Any]] = {p["code"]: p for p in text["product"]}
        self.limits: dict[str, tuple[float, float]] = {f["name"]: (f["low"], f["high"]) for f in text["fridge"]}
        self.procedures: dict[str, dict[str, Any]] = {p["code"]: p for p in text["procedure"]}
        self.suppliers: dict[str, dict[str, Any]] = {s["name"]: s for s in text["supplier"]}
        self.initials: list[str] = [p["initials"] for p in text["person"]]

    def spans(self, day: date) -> list[Span]:
        """The staffed spans of a day as the practice plans it."""
        if any(first <= day <= last for first, last in self.closed):
            return []
        ends = [hours.split("-") for hours in self.hours.get(WEEKDAYS[day.weekday()], [])]
        return [(minute(f"{day}T{a}"), minute(f"{day}T{b}")) for a, b in ends]

    def delivers(self, product: str, when: datetime) -> bool:
        """Whether a product's supplier delivers on that weekday, and somebody is there."""
        supplier = self.suppliers[self.products[product]["supplier"]]
        there = any(a <= when.timestamp() // 60 < b for a, b in self.spans(when.date()))
        return there and WEEKDAYS[when.weekday()] in supplier["delivery_days"]

    def kit(self, procedure: str) -> str | None:
        """The cold kit that a procedure needs."""
        uses = [u["product"] for u in self.procedures[procedure]["uses"]]
        return next((p for p in uses if "keep" in self.products[p]), None)

    def length(self, procedure: str, cycles: int | None) -> int:
        """Minutes of a booking."""
        p = self.procedures[procedure]
        usual = p.get("cycles", 0) if cycles is None else cycles
        return int(p["minutes"] + usual * p.get("minutes_per_cycle", 0))

    def loose(self, procedure: str, cycles: int | None) -> dict[str, int]:
        """Pieces of each supply that a procedure takes from the shelf: what its kit contains is used first."""
        p, kit = self.procedures[procedure], self.kit(procedure)
        usual = p.get("cycles", 0) if cycles is None else cycles
        inside: dict[str, int] = self.products[kit].get("contains", {}) if kit else {}
        wanted = {
            u["product"]: u.get("each", 0)
            + (ceil(usual / u["per_cycles"]) if "per_cycles" in u else 0)
            + u.get("spare", 0)
            - inside.get(u["product"], 0)
            for u in p["uses"]
            if u["product"] != kit
        }
        return {product: n for product, n in wanted.items() if n > 0}

    def take_out(self, product: str, start: int, end: int) -> Span | None:
        """The minutes on the last staffed day before a booking in which its kit may be taken out, or None."""
        p = self.products[product]
        by, since = start - 60 * p["warmup_hours"], end + 15 - 60 * p["max_out_hours"]
        for back in range(1, 5):
            day = local(start).date() - timedelta(days=back)
            for first, last in self.spans(day):
                window = max(first + self.margin, since), min(last - self.margin, by)
                if window[0] < window[1]:
                    barred = ((minute(a), minute(b)) for a, b in NOT_TAKEN_OUT[product])
                    return None if any(a <= window[1] and window[0] <= b for a, b in barred) else window
        return None


@dataclass
class Booking:
    """One booking. ``starts`` holds (known since, start): the last is where it took place or will."""

    procedure: str
    made: int
    starts: list[Span]
    patient: str = ""
    cycles: int | None = None
    cancelled: int | None = None
    """When the diary showed it as cancelled."""
    role: str = ""
    name: str = ""
    """Its number in the diary (K1042), or the program's own (B-31) where it was typed in."""

    @property
    def start(self) -> int:
        return self.starts[-1][1]

    def start_known(self, at: int) -> int:
        """Its start as the diary showed it at ``at``."""
        return [s for known, s in self.starts if known <= at][-1]


STORY = [  # procedure, made, start, role
    ("both-arches", "2026-01-09T11:20", "2026-01-28T10:45", "missed sealed"),
    ("both-arches", "2026-01-12T15:05", "2026-02-11T14:15", "sick day"),
    ("both-arches", "2025-12-18T10:10", "2026-02-19T11:15", "cancelled by telephone"),
    ("single-tooth", "2026-02-17T17:30", "2026-03-05T14:15", "missed opened"),
    ("both-arches", "2026-02-10T09:40", "2026-03-20T10:45", "moved by telephone"),
    ("single-tooth", "2026-02-20T12:05", "2026-03-24T10:45", "cancelled with its kit out"),
    ("both-arches", "2026-02-19T14:45", "2026-04-14T10:45", ""),
    ("both-arches", "2026-02-16T16:10", "2026-04-14T15:45", ""),
    ("both-arches", "2026-04-13T08:10", "2026-04-15T10:45", ""),
    ("single-tooth", "2026-04-08T11:35", "2026-04-15T14:15", ""),
    ("single-tooth", "2026-04-09T15:20", "2026-04-17T09:00", ""),
]
"""Bookings that something happens to, or that make today's work."""

TELEPHONE = [  # procedure, made, start: too late for one diary export and over before the next
    ("single-tooth", "2026-01-19T15:10", "2026-01-22T09:30"),
    ("both-arches", "2026-01-22T11:45", "2026-01-27T14:00"),
    ("single-tooth", "2026-01-30T10:20", "2026-02-04T12:30"),
    ("both-arches", "2026-02-05T16:40", "2026-02-10T10:45"),
    ("both-arches", "2026-02-13T13:15", "2026-02-18T09:00"),
    ("single-tooth", "2026-02-17T11:05", "2026-02-19T16:00"),
    ("both-arches", "2026-03-06T11:50", "2026-03-11T10:45"),
    ("single-tooth", "2026-03-10T18:10", "2026-03-13T10:45"),
    ("both-arches", "2026-03-18T14:20", "2026-03-23T14:00"),
    ("shade-visit", "2026-03-26T11:10", "2026-03-28T10:45"),
    ("both-arches", "2026-03-27T12:21", "2026-03-31T10:45"),
    ("single-tooth", "2026-04-08T09:25", "2026-04-10T12:30"),
]


def days(first: date, last: date) -> Iterator[date]:
    """Every day from ``first`` to ``last``."""
    for n in range((last - first).days + 1):
        yield first + timedelta(days=n)


class Diary:
    """Draws bookings into the free times of the practice."""

    def __init__(self, rules: Rules, seed: int) -> None:
        self.rules = rules
        self.chance = random.Random(seed)
        self.bookings: list[Booking] = []
        self.taken: set[int] = set()
        for procedure, made, start, role in STORY:
            self._enter(Booking(procedure, minute(made), [(minute(made), minute(start))], role=role))
        for procedure, made, start in TELEPHONE:
            self._enter(Booking(procedure, minute(made), [(minute(made), minute(start))], role="telephone"))

    def _enter(self, booking: Booking) -> None:
        self.bookings.append(booking)
        self.taken.add(booking.start)

    def pick(self, n: int) -> int:
        """A whole number from 0 to n - 1."""
        return int(self.chance.random() * n)

    def free(self, first: date, last: date) -> list[int]:
        """Free starts on planned days, at most two bookings on any day."""
        found = []
        for day in days(first, last):
            starts = [minute(f"{day}T{t}") for t in TIMES[WEEKDAYS[day.weekday()]]] if self.rules.spans(day) else []
            full = sum(local(s).date() == day for s in self.taken) >= 2
            if not full and day not in (SICK_DAY, SICK_DAY + timedelta(days=1)):
                found += [s for s in starts if s not in self.taken]
        return found

    def fits(self, procedure: str, start: int, cycles: int | None) -> bool:
        """Whether it lies inside one staffed span and its kit can be warm in time."""
        end = start + self.rules.length(procedure, cycles)
        kit = self.rules.kit(procedure)
        inside = any(a <= start and end <= b for a, b in self.rules.spans(local(start).date()))
        return inside and (kit is None or self.rules.take_out(kit, start, end) is not None)

    def staffed_minute(self, first: int, last: int) -> int:
        """A minute in staffed hours between two minutes, more often late than early."""
        for _ in range(1000):
            at = max(first + self.pick(last - first), first + self.pick(last - first))
            if any(a + 5 <= at < b - 5 for a, b in self.rules.spans(local(at).date())):
                return at
        raise ValueError("no staffed minute between", local(first), local(last))

    def draw(self, procedures: dict[str, int], first: date, last: date, made: Span, lead: int = 45) -> list[Booking]:
        """So many bookings of each procedure, starting between two days and made between two minutes."""
        drawn = []
        for procedure, count in procedures.items():
            for _ in range(count):
                choices = [s for s in self.free(first, last) if self.fits(procedure, s, None)]
                start = choices[self.pick(len(choices))]
                latest = min(made[1], start - 3 * 1440)
                when = self.staffed_minute(max(made[0], min(start - lead * 1440, latest - 7 * 1440)), latest)
                cycles = self._cycles(procedure, start)
                booking = Booking(procedure, when, [(when, start)], cycles=cycles)
                self._enter(booking)
                drawn.append(booking)
        return drawn

    def _cycles(self, procedure: str, start: int) -> int | None:
        """Now and then a booking asks for more cycles than usual."""
        most = self.rules.procedures[procedure].get("max_cycles")
        more = self.chance.random() < 0.2
        return most if more and most and self.fits(procedure, start, most) else None

    def move(self, booking: Booking, known: int, first: date, last: date) -> None:
        """Another start for a booking, as the diary showed it from ``known`` on."""
        choices = [s for s in self.free(first, last) if self.fits(booking.procedure, s, booking.cycles)]
        booking.starts.append((known, choices[self.pick(len(choices))]))
        self.taken.add(booking.start)

    def tell_stories(self) -> None:
        """The moves and cancellations that were made by telephone, outside the exports."""
        for b in self.bookings:
            if b.role == "sick day":
                b.starts.append((minute("2026-02-11T07:56"), minute("2026-02-13T09:00")))
            elif b.role == "moved by telephone":
                b.starts.append((minute("2026-03-12T10:44"), minute("2026-03-27T10:45")))
            elif b.role == "cancelled by telephone":
                b.cancelled = minute("2026-02-12T10:05")
            elif b.role == "cancelled with its kit out":
                b.cancelled = minute("2026-03-24T08:45")

    def name_all(self) -> None:
        """Numbers in the order in which bookings were made, and a code for each patient.

        A booking that was typed in has the program's own number: B-1, B-2 … in the order in which the program
        first heard of each, whether typed or from an export.
        """
        number, heard = 1002, []
        for n, b in enumerate(sorted(self.bookings, key=lambda b: (b.made, b.start))):
            b.patient = f"P-{100 + (211 + 37 * n) % 900}"
            typed = b.role == "telephone"
            known = b.made if typed else min(minute(e) for e in EXPORTS if minute(e) >= b.made)
            heard.append((known, b.start, b))
            if not typed:
                number += 1 + (n % 4 == 0)
                b.name = f"K{number}"
        for n, (_, _, b) in enumerate(sorted(heard, key=lambda h: h[:2])):
            b.name = b.name or f"B-{n + 1}"
