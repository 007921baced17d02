"""Ten years of a group of 40 sites: python tests/bench/ten_years.py [--small] [--keep FOLDER] [--runs N]

``today`` and ``today --site`` against the same on a database of the same practice without any record (at most 1.5), and
on one with the last weeks only, which has as much open; beside them ``reorder list``, which reads the bookings of all
years. Whole processes in turn, medians.

The group is made up, from a seed: 5.2 million readings of 40 fridges, 416,000 bookings with the kits that they used,
orders, deliveries, checks by hand, excursions and the decisions about them. A normal week is open. The rows are put into
the program's own tables in bulk, entries and hash chain with them, so that ``records verify`` finds nothing.
"""

import argparse
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections import deque
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from stockroom.core.excursions import found_spells, logger_event
from stockroom.core.spells import Line
from stockroom.store import chain
from stockroom.store import tables as t
from stockroom.store.engine import closed
from stockroom.store.writing import packed
from stockroom.tasks.act import Act
from stockroom.tasks.rebuild import rebuilt
from stockroom.tasks.setup import init

ZONE = ZoneInfo("Europe/Amsterdam")
LAST = date(2026, 3, 4)  # a Wednesday
NOON = 12 * 3600 + 1800
MINUTE, HOUR = 60, 3600
STEP = 40 * MINUTE
HEAD = """
[practice]
name = "Bench group"
timezone = "Europe/Amsterdam"
currency = "EUR"

[[supplier]]
name = "Harbour Supplies"
order_days = ["mon"]
cutoff = "16:00"
lead_days = 2
delivery_days = ["wed"]

[[product]]
code = "KIT"
name = "Cold kit"
supplier = "Harbour Supplies"
kind = "kit"
keep = { low = 2.0, high = 8.0 }
source = "label"
warmup_hours = 24
max_out_hours = 72
pack_size = 4
pack_price = 80.00
space = 1

[[product]]
code = "SWAB"
name = "Swabs"
supplier = "Harbour Supplies"
kind = "supply"
pack_size = 50
pack_price = 9.00

[[procedure]]
code = "white"
minutes = 35
minutes_per_cycle = 5
cycles = 4
max_cycles = 6
expected_per_week = 20
uses = [{ product = "KIT", each = 1 }, { product = "SWAB", each = 2 }]
"""
SITE = """
[[site]]
name = "Site {n}"
hours = {{ mon = ["08:00-18:00"], tue = ["08:00-18:00"], wed = ["08:00-18:00"], thu = ["08:00-18:00"], fri = ["08:00-16:00"] }}

[[fridge]]
name = "Fridge {n}"
site = "Site {n}"
low = 2.0
high = 8.0
checks = "minmax"
logger_minutes = 40
capacity = 200

[[shelf]]
name = "Shelf {n}"
site = "Site {n}"
"""
STARTS = (9, 10, 11, 14, 15)
"""Full hours at which a booking begins, from Tuesday to Friday: twenty a week. Its kit leaves the fridge the day before."""


def practice_text(sites: int) -> str:
    """The practice file of a group."""
    return HEAD + "".join(SITE.format(n=n) for n in range(1, sites + 1))


class Pen:
    """Entries and rows as the program writes them, put into an SQLite file many at a time."""

    def __init__(self, path: Path) -> None:
        self.link = sqlite3.connect(path, isolation_level=None)
        self.link.executescript("PRAGMA synchronous=OFF; PRAGMA cache_size=-200000; BEGIN")
        entries, hash_ = self.link.execute("SELECT entries, hash FROM head").fetchone()
        self.n, self.before = int(entries), str(hash_)
        self.counters = {"bookings": 0, "excursions": 0, "orders": 0, "pulls": 0}
        self.columns = {x.name: [c.name for c in x.columns] for x in t.RECORDS}
        self.keys: dict[str, int] = {}
        self.waiting: dict[str, list[list[Any]]] = {}
        self.rows: dict[str, list[list[Any]]] = {}
        self.readings: list[tuple[int, bytes]] = []

    def number(self, counter: str) -> int:
        """The next B-, E-, O- or P-number."""
        self.counters[counter] += 1
        return self.counters[counter]

    def add(self, table: str, **values: Any) -> int:
        """A row of the entry that is sealed next; returns its key."""
        key = "n" if "n" in values else "id"
        if key == "id":
            values["id"] = self.keys[table] = self.keys.get(table, 0) + 1
        values["entry"] = self.n + 1
        self.rows.setdefault(table, []).append([values.get(c) for c in self.columns[table]])
        return int(values[key])

    def add_readings(self, fridge: int, at: "np.ndarray[Any, Any]", milli: "np.ndarray[Any, Any]") -> None:
        """A stretch of readings."""
        self.readings.append((fridge, chain.readings_digest(packed(at, milli))))
        rows = zip(at.tolist(), milli.tolist(), strict=True)
        self.waiting.setdefault("reading", []).extend([fridge, a, self.n + 1, m] for a, m in rows)

    def seal(self, kind: str, at: int, site: str, what: str) -> None:
        """Closes the entry."""
        self.n += 1
        body = chain.body_hash(self.rows, self.readings)
        sealed = chain.entry_hash(self.n, kind, at, at, "AB", site, what, body, self.before)
        row = [self.n, kind, at, at, "AB", site, what, body, self.before, sealed]
        self.waiting.setdefault("entry", []).append(row)
        for table, rows in self.rows.items():
            self.waiting.setdefault(table, []).extend(rows)
        self.before, self.rows, self.readings = sealed, {}, []
        if self.n % 20_000 == 0:
            self.flush()

    def flush(self) -> None:
        """Hands over what waits."""
        for table, rows in self.waiting.items():
            marks = ",".join("?" * len(self.columns[table]))
            self.link.executemany(f'INSERT INTO "{table}" VALUES ({marks})', rows)
        self.waiting = {}

    def close(self) -> None:
        """Hands over the rest and moves the head."""
        self.flush()
        c = self.counters
        self.link.execute(
            "UPDATE head SET entries=?, hash=?, bookings=?, excursions=?, orders=?, pulls=?",
            (self.n, self.before, c["bookings"], c["excursions"], c["orders"], c["pulls"]),
        )
        self.link.execute("COMMIT")
        self.link.close()


@dataclass(slots=True)
class Site:
    """A site as it goes: keys of its places, lots with what is left of them, what is booked for which day."""

    name: str
    fridge: int
    shelf: int
    at: "np.ndarray[Any, Any]"
    milli: "np.ndarray[Any, Any]"
    spells: list[Any]
    stock: dict[str, deque[list[int]]] = field(default_factory=lambda: {"KIT": deque(), "SWAB": deque()})
    booked: dict[date, list[tuple[int, int, str]]] = field(default_factory=dict)
    out: dict[int, tuple[int, int, int]] = field(default_factory=dict)
    """B-number -> (lot, key of the place that its kit is, P-number)."""
    order: tuple[int, dict[str, int]] | None = None
    read: int = 0


def series(seed: int, first: int, last: int) -> "tuple[np.ndarray[Any, Any], np.ndarray[Any, Any], list[Any]]":
    """Readings of one fridge every 40 minutes, with a warm Sunday night every quarter, and its spells above 8 °C."""
    chance = np.random.default_rng(seed)
    at = np.arange(first - first % STEP, last, STEP, dtype=np.int64)
    milli = np.round(4500 + 900 * np.sin(at / 7000) + chance.normal(0, 120, len(at)), -1).astype(np.int64)
    # 1970-01-04 was a Sunday.
    night, week = (at - 3 * 86_400) % 604_800, (at - 3 * 86_400) // 604_800
    milli[(night > 2 * HOUR) & (night < 5 * HOUR) & (week % 13 == seed % 13)] += 5000
    line = Line("warm", 8000)
    return at, milli, [logger_event(f, line) for f in found_spells(at, milli, line, 3600, 3600)]


def filled(where: Path, sites: int, days: int, seed: int = 1) -> None:
    """A database of so many days of a group of sites, up to half past twelve of the last day."""
    first = LAST - timedelta(days=days)
    began = instant(first, 8)
    store, _ = init(str(where), Act("AB", began, began), practice_text(sites).encode(), "practice.toml")
    closed(str(where))
    pen, chance = Pen(where), random.Random(seed)
    pen.keys["practice_version"] = 1
    names = {w: pen.add("place", name=w, kind="outside") for w in ("supplier", "used")}
    group = []
    for n in range(1, sites + 1):
        keys = [pen.add("place", name=f"{kind.title()} {n}", kind=kind) for kind in ("fridge", "shelf")]
        group.append(Site(f"Site {n}", *keys, *series(n, began, instant(LAST, 0))))
    pen.seal("opening", began, "", "The places of the group")
    for n in range(days + 1):
        day = first + timedelta(days=n)
        if day.weekday() < 5:
            for site in group:
                for act in (_morning, _orders, _bookings, _kits, _done):
                    act(pen, site, day, names, chance)
    pen.close()
    rebuilt(store, lambda what, done, of: None)


def instant(day: date, hour: float) -> int:
    """A local hour of a day."""
    return int(datetime(day.year, day.month, day.day, tzinfo=ZONE).timestamp()) + int(hour * HOUR)


def _over(day: date, hour: float) -> bool:
    return day == LAST and hour * HOUR > NOON


def _morning(pen: Pen, site: Site, day: date, names: dict[str, int], chance: random.Random) -> None:
    """On Mondays the logger is read out, what it found is held and released; every day the fridge is checked by hand."""
    if day.weekday() == 0:
        end = int(np.searchsorted(site.at, instant(day, 7)))
        part = slice(site.read, end)
        since, site.read = site.at[site.read], end
        pen.add_readings(site.fridge, site.at[part], site.milli[part])
        found = [e for e in site.spells if since <= e.first_out < site.at[end - 1]]
        inside = [x for x in site.stock["KIT"] if x[1]]
        numbers = []
        for e in found:
            number = pen.number("excursions")
            numbers.append(number)
            pen.add(
                "excursion", n=number, fridge=site.fridge, source="logger", direction="warm", limit_milli=8000,
                anchor_at=e.first_out,
            )  # fmt: skip
            for lot, left in inside:
                pen.add("hold", at=e.start, lot=lot, place=site.fridge, quantity=left, cause=f"E-{number}")
        pen.seal("import", instant(day, 7.5), site.name, f"Readings of {site.name}")
        for number, e in zip(numbers, found, strict=True):
            at = instant(day, 7.8)
            why = {"why": "maker asked", "answer": "may be used"}
            pen.add("decision", at=at, excursion=number, verdict="release", figures=e.figures(), **why)
            for lot, left in inside:
                pen.add("release", at=at, lot=lot, place=site.fridge, quantity=left, causes=f"E-{number}", **why)
            pen.seal("decide", at, site.name, f"E-{number} released")
    low, high = 3000 + 10 * chance.randrange(50), 5500 + 10 * chance.randrange(50)
    at = instant(day, 8.1)
    pen.add("hand_check", fridge=site.fridge, at=at, milli=4500, low=low, high=high, doubtful=False)
    pen.seal("check", at, site.name, f"Fridge of {site.name} checked")


def _orders(pen: Pen, site: Site, day: date, names: dict[str, int], chance: random.Random) -> None:
    """What is missing is ordered on Mondays and comes on Wednesdays."""
    if day.weekday() == 0:
        have = {code: sum(left for _, left in lots) for code, lots in site.stock.items()}
        lines = {"KIT": max(0, 44 - have["KIT"]) // 4 * 4, "SWAB": 200 if have["SWAB"] < 120 else 0}
        number = pen.number("orders")
        at, due = instant(day, 15), instant(day + timedelta(days=2), 18)
        site.order = number, {code: n for code, n in lines.items() if n}
        pen.add("supply_order", n=number, at=at, supplier="Harbour Supplies", site=site.name, due=due)
        for code, n in site.order[1].items():
            price = 8000 if code == "KIT" else 900
            pen.add("order_line", supply_order=number, product=code, quantity=n, proposed=n, pack_price=price)
        pen.seal("order", at, site.name, f"O-{number} placed")
    if day.weekday() == 2 and site.order is not None and not _over(day, 11):
        number, lines = site.order
        for code, n in lines.items():
            lot = pen.add("lot", product=code, code=f"{code[0]}{number}")
            pen.add("lot_expiry", lot=lot, expiry=(day + timedelta(days=200 + chance.randrange(200))).isoformat())
            pen.add(
                "movement", at=instant(day, 11), lot=lot, quantity=n, source=names["supplier"],
                target=site.fridge if code == "KIT" else site.shelf, prefer="free", kind="receive", supply_order=number,
            )  # fmt: skip
            site.stock[code].append([lot, n])
            pen.seal("receive", instant(day, 11), site.name, f"{n} x {code} of O-{number}")


def _bookings(pen: Pen, site: Site, day: date, names: dict[str, int], chance: random.Random) -> None:
    """Bookings for two to three weeks ahead; one of twenty is cancelled before its kit is taken out."""
    target = day + timedelta(days=14 + (0 if chance.random() < 0.7 else 7))
    at = instant(day, 8.2)
    if target.weekday():
        for hour in STARTS:
            number = pen.number("bookings")
            start = instant(target, hour)
            pen.add("booking", n=number, site=site.name)
            patient = f"P-{chance.randrange(10**6)}"
            made = {"procedure": "white", "patient": patient, "cycles": 4}
            pen.add("booking_change", at=at, booking=number, state="booked", start=start, **made)
            if chance.random() < 0.05:
                gone = at + chance.randrange(1, 12) * 86_400
                if gone < instant(LAST, 0):
                    pen.add("booking_change", at=gone, booking=number, state="cancelled", start=start, **made)
                    continue
            site.booked.setdefault(target, []).append((number, start, patient))
        pen.seal("import", at, site.name, f"Bookings of {site.name}")


def _kits(pen: Pen, site: Site, day: date, names: dict[str, int], chance: random.Random) -> None:
    """The kits of tomorrow's bookings leave the fridge."""
    at = instant(day, 8.5)
    for number, _, _ in site.booked.get(day + timedelta(days=1), ()):
        lot = taken(site, "KIT", 1)
        if not lot:
            continue
        pull = pen.number("pulls")
        place = pen.add("place", name=f"P-{pull}", kind="pull")
        pen.add("pull", n=pull, at=at, lot=lot[0][0], source=site.fridge)
        pen.add("promise", at=at, pull=pull, booking=number)
        pen.add(
            "movement", at=at, lot=lot[0][0], quantity=1, source=site.fridge, target=place, prefer="free", kind="pull"
        )
        pen.seal("pull", at, site.name, f"P-{pull} taken out for B-{number}")
        site.out[number] = lot[0][0], place, pull


def _done(pen: Pen, site: Site, day: date, names: dict[str, int], chance: random.Random) -> None:
    """Today's bookings are recorded; of those that were missed the kit was opened."""
    for number, start, patient in site.booked.pop(day, ()):
        end = start + 55 * MINUTE
        if day == LAST and end > instant(LAST, 0) + NOON:
            continue
        missed = chance.random() < 0.02
        cycles = None if missed else chance.choice((3, 4, 4, 4, 5))
        pen.add(
            "booking_change", at=end, booking=number, state="missed" if missed else "done", procedure="white", start=start,
            patient=patient, cycles=4, cycles_done=cycles, outcome="opened" if missed else None,
        )  # fmt: skip
        used = [(site.out[number][0], 1, site.out.pop(number)[1])] if number in site.out else []
        used += [(lot, n, site.shelf) for lot, n in taken(site, "SWAB", 2 + (chance.random() < 0.05))]
        for lot, n, place in used:
            pen.add(
                "movement", at=end, lot=lot, quantity=n, source=place, target=names["used"], prefer="free", kind="use",
                booking=number,
            )  # fmt: skip
        pen.seal("missed" if missed else "done", end, site.name, f"B-{number} recorded")


def taken(site: Site, code: str, wanted: int) -> list[tuple[int, int]]:
    """(lot, pieces), first in first out; fewer where there are no more."""
    found = []
    while wanted and site.stock[code]:
        lot = site.stock[code][0]
        n = min(wanted, lot[1])
        lot[1], wanted = lot[1] - n, wanted - n
        found.append((lot[0], n))
        if not lot[1]:
            site.stock[code].popleft()
    return found


def emptied(where: Path, sites: int) -> None:
    """A database of the same practice and nothing else."""
    began = instant(LAST - timedelta(days=3650), 8)
    init(str(where), Act("AB", began, began), practice_text(sites).encode(), "practice.toml")
    closed(str(where))


def timed(db: Path, *words: str) -> float:
    """Seconds of one whole process."""
    program = "from stockroom.cli.main import run; run()"  # as it is installed
    began = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", program, "--db", str(db), *words], capture_output=True, env=os.environ, text=True
    )
    took = time.perf_counter() - began
    if done.returncode not in (0, 1):
        raise SystemExit(f"{words}: {done.stderr}")
    return took


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--small", action="store_true", help="one year instead of ten, to see that it runs")
    parser.add_argument("--keep", type=Path, help="a folder for the databases, which are made once")
    parser.add_argument("--runs", type=int, default=7)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        measure(options.keep or Path(name), 365 if options.small else 3650, options.runs)


def measure(folder: Path, days: int, runs: int) -> None:
    """Fills what is not there yet, measures and prints."""
    sites = 40
    full, young, empty = (folder / f"{kind}{days}.db" for kind in ("full", "young", "empty"))
    for path, make in (
        (full, lambda p: filled(p, sites, days)),
        (young, lambda p: filled(p, sites, 56)),
        (empty, lambda p: emptied(p, sites)),
    ):
        if not path.exists():
            began = time.perf_counter()
            make(path)
            print(f"{path.name}: {time.perf_counter() - began:.0f} s, {path.stat().st_size / 1e6:.0f} MB", flush=True)
    until = f"{LAST.isoformat()}T12:30"
    print(f"{'':34}  seconds    young    empty  : young  : empty")
    for words in (("today",), ("today", "--site", "Site 7"), ("stock", "list"), ("reorder", "list")):
        look = (*words, "--as-of", until)
        rows = [[timed(path, *look) for path in (full, young, empty)] for _ in range(runs)]
        a, b, c = (statistics.median(column) for column in zip(*rows, strict=True))
        to_young, to_empty = (statistics.median(r[0] / r[k] for r in rows) for k in (1, 2))
        print(f"{' '.join(words):34}  {a:7.2f}  {b:7.2f}  {c:7.2f}  {to_young:7.2f}  {to_empty:7.2f}", flush=True)


if __name__ == "__main__":
    main()
