"""What people typed in the made-up season: the commands in order, with the stock followed piece by piece.

Every kit that is taken out must be there, free, in date and in time, and every piece that is used must be on the shelf:
otherwise the season stops with an AssertionError. Times are whole minutes since 1970-01-01 UTC.
"""

import shlex
from collections import defaultdict
from collections.abc import Callable
from functools import partial
from typing import Any

from sample_diary import EXPORTS, Booking, Rules
from sample_fridges import STORE, SURGERY, local, minute

SHELF = "Dry cupboard"
PLACES = {"ARCH": SURGERY, "TOOTH": STORE}
"""Where each cold product lives; everything else stands in the cupboard."""

OPENING: list[tuple[str, str, str, int]] = [  # product, lot, expiry, quantity
    ("ARCH", "7H204", "2026-03-06", 5),
    ("ARCH", "7H311", "2026-05-29", 3),
    ("TOOTH", "T5520", "2026-09-30", 6),
    ("SWB", "S0812", "2028-02-29", 70),
    ("BARRIER", "GB61", "2026-08-31", 24),
    ("SHADE", "C19", "2029-06-30", 40),
    ("EYES", "ES440", "2029-01-31", 34),
    ("RETRACT", "R208", "2028-10-31", 22),
    ("BALM", "LB93", "2026-09-30", 62),
]
DELIVERIES: list[tuple[Any, ...]] = [  # at, product, lot, expiry, quantity, place, arrived at °C, order
    ("2026-01-22T10:20", "ARCH", "7J018", "2026-08-14", 8, SURGERY, "4.6", ""),
    ("2026-01-29T10:35", "TOOTH", "T5561", "2026-11-27", 6, STORE, "4.8", ""),
    ("2026-02-04T10:15", "BARRIER", "GB72", "2027-03-31", 30, SHELF, "", ""),
    ("2026-02-05T11:05", "ARCH", "7J077", "2026-09-04", 8, SURGERY, "5.1", "O-1"),
    ("2026-02-10T10:10", "TOOTH", "T5604", "2026-12-18", 6, STORE, "4.9", ""),
    ("2026-02-23T11:25", "SWB", "S0907", "2028-11-30", 50, SHELF, "", ""),
    ("2026-02-25T10:45", "BARRIER", "GB77", "2027-05-31", 20, SHELF, "", ""),
    ("2026-02-27T11:10", "RETRACT", "R231", "2029-03-31", 15, SHELF, "", ""),
    ("2026-03-02T10:50", "ARCH", "7K120", "2026-09-25", 8, STORE, "4.4", ""),
    ("2026-03-04T10:30", "EYES", "ES452", "2029-08-31", 20, SHELF, "", ""),
    ("2026-03-05T10:40", "TOOTH", "T5677", "2027-01-29", 6, STORE, "5.3", ""),
    ("2026-03-10T10:25", "ARCH", "7K188", "2026-10-23", 8, SURGERY, "3.9", ""),
    ("2026-03-11T11:00", "BARRIER", "GB79", "2027-06-30", 20, SHELF, "", ""),
    ("2026-03-18T10:53", "SHADE", "C22", "2029-10-31", 25, SHELF, "", ""),
    ("2026-03-20T11:15", "RETRACT", "R236", "2029-04-30", 15, SHELF, "", ""),
    ("2026-03-23T10:30", "ARCH", "7L046", "2026-11-06", 8, SURGERY, "4.7", ""),
    ("2026-03-25T10:20", "BALM", "LB88", "2026-04-30", 30, SHELF, "", ""),
    ("2026-03-25T10:26", "EYES", "ES455", "2029-09-30", 20, SHELF, "", ""),
    ("2026-03-26T10:55", "TOOTH", "T5693", "2027-02-12", 3, STORE, "4.5", ""),
    ("2026-03-27T10:30", "SWB", "S0931", "2029-01-31", 50, SHELF, "", ""),
    ("2026-03-30T11:05", "BARRIER", "GB83", "2027-07-31", 20, SHELF, "", ""),
    ("2026-04-09T10:35", "ARCH", "7G952", "2026-04-22", 8, SURGERY, "4.2", ""),
]
USES: list[tuple[Any, ...]] = [  # at, by, product, quantity, why
    ("2026-01-21T12:20", "SV", "SWB", 4, "training a new assistant"),
    ("2026-02-18T15:10", "MO", "BARRIER", 1, "dropped on the floor"),
    ("2026-03-12T17:35", "MO", "EYES", 2, "straps torn"),
    ("2026-04-01T11:25", "RT", "SHADE", 3, "given to a visitor who asked about shades"),
]


class Season:
    """Plays the season once. ``rows`` holds (minute, initials, command) in order."""

    def __init__(self, rules: Rules, bookings: list[Booking], now: int) -> None:
        self.rules, self.bookings, self.now = rules, bookings, now
        self.rows: list[tuple[int, str, str]] = []
        self.shelf: dict[tuple[str, str, str], int] = defaultdict(int)
        self.expiry: dict[tuple[str, str], str] = {}
        self.held: set[tuple[str, str, str]] = set()
        self.kits: dict[str, tuple[str, str, int, str]] = {}
        """Bookings whose kit is out -> (product, lot, taken out at, P-number)."""
        self.pulls = self.received = 0
        self._todo: list[tuple[int, int, Callable[[int], None]]] = []
        self._plan()
        for at, _, act in sorted(self._todo, key=lambda t: t[:2]):
            if at <= now:
                act(at)
        self.out = len(self.kits)

    def _on(self, at: int, act: Callable[[int], None]) -> None:
        self._todo.append((at, len(self._todo), act))

    def _type(self, text: str, by: str, *words: object) -> None:
        """A command typed at a local clock time."""
        self._on(minute(text), lambda at: self._row(at, by, *words))

    def _row(self, at: int, by: str, *words: object) -> None:
        assert by in self.rules.initials, by
        self.rows.append((at, by, shlex.join(str(w) for w in words)))

    # --- the plan ---

    def _plan(self) -> None:
        self._type("2026-01-15T09:02", "KE", "stock", "opening", "opening_stock.csv")
        self._on(minute("2026-01-15T09:02"), self._open)
        for text, at in zip(EXPORTS, ("2026-01-15T09:06", "2026-02-23T08:42", "2026-04-13T08:44"), strict=True):
            self._type(at, "RT", "booking", "import", f"bookings_{text[:10]}.csv")
        for text, *delivery in DELIVERIES:
            self._on(minute(text), partial(self._receive, *delivery))
        for text, *use in USES:
            self._on(minute(text), partial(self._use, *use))
        self._plan_orders()
        self._plan_logger_files()
        self._plan_faults()
        for n, booking in enumerate(sorted(self.bookings, key=lambda b: (b.made, b.start))):
            self._plan_booking(booking, n)

    def _plan_orders(self) -> None:
        self._type("2026-02-03T10:15", "KE", "reorder", "place", "Larkfen Cold Goods", "ARCH=8")
        self._type("2026-04-08T15:10", "KE", "reorder", "place", "Oxbarrow Dry Goods", "BARRIER=20", "SWB=50")

    def _plan_logger_files(self) -> None:
        def read(text: str, fridge: str, *files: str) -> None:
            names = [f"logger/{fridge.split()[0].lower()}_{f}.csv" for f in files]
            self._type(text, "MO", "fridge", "import", *names, "--fridge", fridge)

        read("2026-02-03T09:20", SURGERY, "2026-01")
        read("2026-02-03T09:26", STORE, "2026-01")
        read("2026-02-06T11:00", STORE, "readout_2026-02-06")
        read("2026-03-02T12:18", SURGERY, "2026-02", "readout_2026-03-02")
        read("2026-03-03T09:20", STORE, "2026-02")
        read("2026-04-01T09:20", SURGERY, "2026-03")
        read("2026-04-01T09:23", STORE, "2026-03")
        read("2026-04-14T08:34", SURGERY, "2026-04")
        read("2026-04-14T08:36", STORE, "2026-04")

    def _plan_faults(self) -> None:
        self._type("2026-01-30T08:55", "MO", "fridge", "explain", "2026-01-29", "--why", "both of us were called away")
        self._type("2026-02-18T09:05", "MO", "fridge", "explain", "2026-02-17", "--why", "left late, forgotten")
        self._on(minute("2026-02-05T17:50"), lambda _: self._hold("TOOTH", STORE))
        self._on(minute("2026-02-09T11:20"), self._release_tooth)
        closed = ("practice", "closed", "2026-02-11", "--why", "two of us ill, nobody in")
        self._type("2026-02-11T07:50", "KE", *closed)
        self._on(minute("2026-02-28T09:00"), lambda _: self._hold("ARCH", SURGERY))
        self._on(minute("2026-03-02T12:30"), self._discard_arch)
        self._on(minute("2026-03-04T15:20"), self._move_back)
        why = "battery of the logger empty, a check by hand covers the time"
        self._type("2026-04-01T09:32", "MO", "fridge", "explain", "2026-03-15", "--why", why)
        self._on(minute("2026-04-11T12:18"), lambda _: self._hold("TOOTH", STORE))

    def _plan_booking(self, b: Booking, n: int) -> None:
        kit = self.rules.kit(b.procedure)
        if b.role == "telephone":
            cycles = ("--cycles", b.cycles) if b.cycles else ()
            words = ("booking", "add", b.procedure, "--start", iso(b.start), "--patient", b.patient, *cycles)
            self._on(b.made, lambda at: self._row(at, "RT", *words))
        if b.role in ("sick day", "moved by telephone"):
            known, moved = b.starts[1]
            self._on(known, lambda at: self._row(at, "RT", "booking", "move", b.name, "--start", iso(moved)))
        if b.role.startswith("cancelled"):
            assert b.cancelled
            words = ("booking", "cancel", b.name, "--why", "rang to cancel")
            self._type(iso(b.cancelled)[:16], "RT", *words)
        if b.cancelled is not None and b.role != "cancelled with its kit out":
            return
        if kit:
            start = b.starts[0][1] if b.role == "sick day" else b.start
            window = self.rules.take_out(kit, start, start + self.rules.length(b.procedure, b.cycles))
            assert window, b
            at = window[0] + n * 23 % min(75, window[1] - window[0])
            self._on(at, lambda at: self._pull(at, b, kit))
        if b.role == "missed sealed":
            self._on(b.start + 25, lambda at: self._missed(at, b, "sealed"))
            self._on(b.start + 32, lambda at: self._back(at, b))
        elif b.role == "missed opened":
            self._on(b.start + 20, lambda at: self._missed(at, b, "opened"))
        elif b.cancelled is None:
            self._plan_done(b, n)
        else:
            self._on(b.cancelled + 435, lambda at: self._discard_out(at, b))

    def _plan_done(self, b: Booking, n: int) -> None:
        """It took place: now and then with a cycle more than booked, or with a swab or two more."""
        procedure = self.rules.procedures[b.procedure]
        booked = b.cycles if b.cycles is not None else procedure.get("cycles", 0)
        done = booked + (n % 9 == 4 and booked < procedure.get("max_cycles", 0))
        more = ("--cycles", done) if done != booked else ()
        used = {"SWB": 2} if n % 17 == 6 else {}
        at = b.start + self.rules.length(b.procedure, done) + n % 8
        by = ("SV", "MO")[n % 2]
        self._on(at, lambda at: self._done(at, by, b, done, more, used))

    # --- what happens ---

    def _open(self, _: int) -> None:
        for product, lot, expiry, quantity in OPENING:
            self.expiry[product, lot] = expiry
            self.shelf[product, lot, PLACES.get(product, SHELF)] += quantity

    def _receive(
        self, product: str, lot: str, expiry: str, quantity: int, place: str, celsius: str, order: str, at: int
    ) -> None:
        assert quantity % self.rules.products[product]["pack_size"] == 0, (product, quantity)
        assert self.rules.delivers(product, local(at)), (product, local(at))
        self.expiry[product, lot] = expiry
        self.shelf[product, lot, place] += quantity
        self.received += 1
        words = ["stock", "receive", product, "--lot", lot, "--expiry", expiry, "--quantity", quantity, "--into", place]
        words += ["--arrived-at", celsius] if celsius else []
        words += ["--order", order] if order else []
        self._row(at, ("MO", "RT")[self.received % 2], *words)

    def _take(self, at: int, product: str, quantity: int, last: str) -> list[tuple[str, str, str]]:
        """Takes pieces that are free and in date on ``last``, first expired first out; the units taken."""
        taken: list[tuple[str, str, str]] = []
        order = sorted(k for k in self.shelf if k[0] == product and k not in self.held)
        for key in sorted(order, key=lambda k: self.expiry[k[:2]]):
            while len(taken) < quantity and self.shelf[key] and self.expiry[key[:2]] >= last:
                self.shelf[key] -= 1
                taken.append(key)
        assert len(taken) == quantity, f"{local(at):%Y-%m-%d %H:%M}: {product} has run out"
        return taken

    def _use(self, by: str, product: str, quantity: int, why: str, at: int) -> None:
        self._take(at, product, quantity, str(local(at).date()))
        self._row(at, by, "stock", "use", product, quantity, "--why", why)

    def _pull(self, at: int, b: Booking, kit: str) -> None:
        ((_, lot, _),) = self._take(at, kit, 1, str(local(b.start).date()))
        self.pulls += 1
        self.kits[b.name] = (kit, lot, at, f"P-{self.pulls}")
        known = min(minute(e) for e in EXPORTS if minute(e) >= b.made) if b.role != "telephone" else b.made
        assert known + 30 < at, (b, local(at))
        self._row(at, ("MO", "SV", "MO")[self.pulls % 3], "warmup", "pull", b.name)

    def _done(self, at: int, by: str, b: Booking, cycles: int, more: tuple[object, ...], used: dict[str, int]) -> None:
        today = str(local(at).date())
        if self.rules.kit(b.procedure):
            product, lot, pulled, _ = self.kits.pop(b.name)
            p = self.rules.products[product]
            assert pulled + 60 * p["warmup_hours"] <= b.start and at <= pulled + 60 * p["max_out_hours"], b
            assert self.expiry[product, lot] >= today
        for product, quantity in self.rules.loose(b.procedure, cycles).items():
            self._take(at, product, quantity + used.get(product, 0), today)
        extra = [w for product, n in used.items() for w in ("--used", f"{product}={n}")]
        self._row(at, by, "booking", "done", b.name, *more, *extra)

    def _missed(self, at: int, b: Booking, state: str) -> None:
        if state == "opened":
            del self.kits[b.name]
        self._row(at, "SV", "booking", "missed", b.name, "--kit", state)

    def _back(self, at: int, b: Booking) -> None:
        product, lot, _, pull = self.kits.pop(b.name)
        assert self.rules.products[product]["returnable"]
        self.shelf[product, lot, PLACES[product]] += 1
        self._row(at, "MO", "warmup", "back", pull)

    def _discard_out(self, at: int, b: Booking) -> None:
        product, lot, pulled, pull = self.kits.pop(b.name)
        assert at < pulled + 60 * self.rules.products[product]["max_out_hours"]
        why = "out for a booking that was cancelled, and nobody comes within its hours"
        self._row(at, "KE", "stock", "discard", product, lot, "--pull", pull, "--quantity", 1, "--why", why)

    # --- faults ---

    def _hold(self, product: str, fridge: str) -> None:
        self.held |= {k for k, n in self.shelf.items() if k[0] == product and k[2] == fridge and n}

    def _release_tooth(self, at: int) -> None:
        why = "the maker answered in writing on 2026-02-09, letter filed; agreed with SV"
        for key in sorted(k for k in self.held if k[0] == "TOOTH"):
            self.held.remove(key)
            self._row(at, "KE", "stock", "release", "TOOTH", key[1], "--why", why)

    def _discard_arch(self, at: int) -> None:
        for key in sorted(k for k in self.held if k[0] == "ARCH"):
            self.held.remove(key)
            quantity, self.shelf[key] = self.shelf[key], 0
            words = ("stock", "discard", "ARCH", key[1], "--quantity", quantity, "--place", SURGERY)
            self._row(at, "KE", *words, "--why", "warm all night, written off")

    def _move_back(self, at: int) -> None:
        for key in sorted(k for k, n in self.shelf.items() if k[0] == "ARCH" and k[2] == STORE and n):
            quantity, self.shelf[key] = self.shelf[key], 0
            self.shelf[key[0], key[1], SURGERY] += quantity
            words = ("stock", "move", "ARCH", key[1], "--quantity", quantity, "--from", STORE, "--to", SURGERY)
            self._row(at, "MO", *words)


def iso(at: int) -> str:
    """ISO 8601 with the local offset."""
    return local(at).isoformat()
