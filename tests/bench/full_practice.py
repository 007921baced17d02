"""Databases for the benchmarks: as many coming bookings as kits, written by the program's own appenders.

The practice is made up. ``fridge``: every kit in two fridges, in lots of 50 of various expiry days. ``mixed``: three in
ten out, half of them for a booking, the rest in the fridges. ``out``: all out, taken out in the last two days.
"""

import random
from datetime import date, timedelta
from pathlib import Path

from stockroom.store import bookings, ledger
from stockroom.store.engine import Store
from stockroom.store.writing import Book, writing
from stockroom.tasks.act import Act
from stockroom.tasks.setup import init

HOUR, DAY = 3600, 86_400
NOW = 1_772_442_000  # 2026-03-02T09:00Z, a Monday
PRACTICE = """
[practice]
name = "Bench"
timezone = "Europe/Amsterdam"
currency = "EUR"
closed = [{ from = 2026-12-24, to = 2027-01-01, why = "winter" }]

[practice.hours]
mon = ["08:00-12:30", "13:15-18:00"]
tue = ["08:00-12:30", "13:15-18:00"]
wed = ["08:00-12:30", "13:15-18:00"]
thu = ["08:00-12:30", "13:15-20:00"]
fri = ["08:00-16:00"]
sat = ["09:00-13:00"]

[[fridge]]
name = "Cold one"
low = 2.0
high = 8.0
capacity = 20000

[[fridge]]
name = "Cold two"
low = 2.0
high = 8.0
capacity = 20000

[[supplier]]
name = "Harbour Supplies"
order_days = ["mon"]
lead_days = 2
delivery_days = ["wed"]

[[product]]
code = "KIT"
name = "Cold kit"
supplier = "Harbour Supplies"
kind = "kit"
keep = { low = 2.0, high = 6.5 }
source = "label"
warmup_hours = 24
max_out_hours = 72
pack_size = 1
space = 1

[[procedure]]
code = "white"
minutes = 35
minutes_per_cycle = 10
cycles = 6
max_cycles = 8
uses = [{ product = "KIT", each = 1 }]
"""
"""A kit is out for 72 hours and warm after 24, so it can be used for 48."""


def full_practice(folder: Path, kind: str, n: int) -> Store:
    """A database of ``n`` bookings and ``n`` kits as of ``NOW``."""
    chance = random.Random(1)
    where = str(folder / f"{kind}.db")
    store, _ = init(where, Act("AB", NOW - 90 * DAY, NOW - 90 * DAY), PRACTICE.encode(), "practice.toml")
    out = {"fridge": 0, "mixed": 3 * n // 10, "out": n}[kind]
    with writing(store, "import", by="AB", at=NOW - 10 * DAY, now=NOW - 10 * DAY) as book:
        _book(book, chance, n, 60 if kind == "out" else 365)
    with writing(store, "opening", by="AB", at=NOW - 10 * DAY, now=NOW - 10 * DAY) as book:
        lots = _deliver(book, chance, n)
    with writing(store, "pull", by="AB", at=NOW, now=NOW) as book:
        _take_out(book, chance, lots, out, kind)
    return store


def _book(book: Book, chance: random.Random, n: int, days: int) -> None:
    """Bookings in opening hours from now on, in the order in which they happened to be made."""
    for k in range(n):
        day = date(2026, 3, 2) + timedelta(days=chance.randrange(days))
        while day.weekday() == 6:
            day = date(2026, 3, 2) + timedelta(days=chance.randrange(days))
        minute = chance.randrange(32, 56) * 15 if day.weekday() < 5 else chance.randrange(36, 45) * 15
        start = NOW + (day - date(2026, 3, 2)).days * DAY + (minute - 600) * 60
        number = bookings.booked(book, "", f"X{k}")
        made = {"state": "booked", "procedure": "white", "patient": f"P-{k}", "cycles": chance.choice([5, 6, 7])}
        bookings.changed(book, number, start=max(start, NOW + 900), **made)


def _deliver(book: Book, chance: random.Random, n: int) -> list[tuple[int, int]]:
    """(lot, place) of each kit: lots of 50 that last from two weeks to fifteen months."""
    supplier = ledger.placed(book, "supplier", "outside")
    fridges = [ledger.placed(book, name, "fridge") for name in ("Cold one", "Cold two")]
    found = []
    for k in range(-(-n // 50)):
        lot = ledger.lot_key(book, "KIT", f"L{k}")
        ledger.state_expiry(book, lot, date(2026, 3, 16) + timedelta(days=chance.randrange(450)))
        place, pieces = chance.choice(fridges), min(50, n - 50 * k)
        ledger.moved(book, lot, pieces, supplier, place, "receive")
        found += [(lot, place)] * pieces
    return found


def _take_out(book: Book, chance: random.Random, lots: list[tuple[int, int]], out: int, kind: str) -> None:
    """Kits leave the fridges within the last two days."""
    times = [NOW - 60 * chance.randrange(2880) for _ in range(out)]
    chance.shuffle(lots)
    for k, at in enumerate(sorted(times)):
        lot, place = lots[k]
        book.at = at
        number, outside = ledger.pulled(book, lot, place)
        ledger.moved(book, lot, 1, place, outside, "pull")
        if kind == "mixed" and k % 2:
            ledger.promised(book, number, chance.randrange(1, len(lots)))
    book.at = NOW
