"""What is still open is read apart from what is finished, and is the same as all of it with the finished left out.

Law (derived: two ways to one answer): after any sequence of events in any order of time, some of them undone, now and as
of every instant at which anything happened.
"""

import random

import pytest
from conftest import Line

from stockroom.core.stock import FOREVER
from stockroom.store import bookings, entries, ledger, orders
from stockroom.store import tables as t
from stockroom.store.engine import Store, opened
from stockroom.store.writing import Book, writing
from stockroom.tasks.rules import rules
from stockroom.tasks.shelves import lots_now, lots_there, pulls_there, stood
from stockroom.tasks.warm_plan import kits_now

START = 1_772_409_600  # 2026-03-02T00:00Z
HOUR = 3600


def scribbled(store: Store, seed: int) -> list[int]:
    """Events at random instants, backdated ones among them; returns the instants."""
    chance = random.Random(seed)
    instants: list[int] = []
    made: list[int] = []
    out: list[tuple[int, int, int]] = []
    events = [_booked, _moved_on, _received, _pulled, _ended, _undone]
    for n in range(60):
        now = START + n * HOUR
        at = now - chance.choice([0, 0, 0, 5, 30]) * HOUR
        instants.append(at)
        with writing(store, "seed", by="AB", at=at, now=now) as book:
            chance.choices(events, (5, 6, 2, 6, 5, 2))[0](book, chance, made, out)
    return instants


def _booked(book: Book, chance: random.Random, made: list[int], out: list[tuple[int, int, int]]) -> None:
    made.append(bookings.booked(book, "", f"X{chance.randrange(9)}" if chance.random() < 0.5 else None))
    _changed(book, chance, made[-1], "booked")


def _changed(book: Book, chance: random.Random, number: int, state: str) -> None:
    start = START + chance.randrange(200) * HOUR
    bookings.changed(book, number, state=state, procedure="white", start=start, patient="P-1", cycles=None)


def _moved_on(book: Book, chance: random.Random, made: list[int], out: list[tuple[int, int, int]]) -> None:
    if made:
        _changed(book, chance, chance.choice(made), chance.choice(["booked", "done", "missed", "cancelled"]))


def _received(book: Book, chance: random.Random, made: list[int], out: list[tuple[int, int, int]]) -> None:
    lot = ledger.lot_key(book, "KIT", f"L{chance.randrange(6)}")
    source, target = ledger.placed(book, "supplier", "outside"), ledger.placed(book, "Cold one", "fridge")
    ledger.moved(book, lot, chance.randrange(1, 3), source, target, "receive")


def _pulled(book: Book, chance: random.Random, made: list[int], out: list[tuple[int, int, int]]) -> None:
    lot, fridge = ledger.lot_key(book, "KIT", f"L{chance.randrange(6)}"), ledger.placed(book, "Cold one", "fridge")
    known = [number for number, x, _ in out if x == lot]
    number, place = ledger.pulled(book, lot, fridge, chance.choice(known) if known and chance.random() < 0.6 else None)
    ledger.moved(book, lot, 1, fridge, place, "pull")
    if made and chance.random() < 0.7:
        ledger.promised(book, number, chance.choice(made))
    out.append((number, lot, place))


def _ended(book: Book, chance: random.Random, made: list[int], out: list[tuple[int, int, int]]) -> None:
    if not out:
        return
    i = chance.randrange(len(out))
    _, lot, place = out[i]
    if chance.random() < 0.5:  # it may go out again, with the hours that it has been out
        ledger.moved(book, lot, 1, place, ledger.placed(book, "Cold one", "fridge"), "back")
    else:
        ledger.moved(book, lot, 1, place, ledger.placed(book, "used", "outside"), "use")
        del out[i]


def _undone(book: Book, chance: random.Random, made: list[int], out: list[tuple[int, int, int]]) -> None:
    entry = chance.randrange(2, book.n)
    known = set(book.conn.execute(t.reversal.select().with_only_columns(t.reversal.c.reverses)).scalars())
    if entry not in known and not book.conn.scalar(t.place.select().where(t.place.c.entry == entry)):
        entries.reverse(book, entry, "not so")


@pytest.mark.parametrize("seed", range(4))
def test_what_is_open_is_all_without_what_is_finished(both: Line, seed: int) -> None:
    store = opened(both.where)
    instants = scribbled(store, seed)
    found = 0
    for until in sorted({*instants, START - 1, START + 1000 * HOUR, FOREVER}):
        with store.reading() as conn:
            open_ones = bookings.bookings(conn, until, standing=True)
            assert open_ones == {n: b for n, b in bookings.bookings(conn, until).items() if b.state == "booked"}
            there = lots_there(conn, until)
            lots = lots_now(conn, until)
            for key, x in lots.items():
                assert (key in there) == bool(x.state.inside() or x.state.unaccounted)
            pulls = ledger.pulls(conn, until)
            assert pulls_there(conn, until) == {n: p for n, p in pulls.items() if p.lot in there}
            for place in ("Cold one", "Cold two", "used", *(p.place for p in pulls.values())):
                assert stood(conn, place, until) == [
                    x for x in lots.values() if any(p.stood_in(place) for p in x.state.parcels)
                ]
            if until < FOREVER:
                rule = rules(conn, until)
                numbers = {k.pull for k in kits_now(conn, rule, until, rule.sites(None)).out}
                held = {n for n, p in pulls.items() if p.lot in lots and lots[p.lot].state.at(p.place)}
                assert numbers <= held
                found += len(open_ones) + len(numbers)
    assert found > 50


def test_what_was_read_once_is_read_again_by_the_next_look(both: Line) -> None:
    store = opened(both.where)
    until = START + 1000 * HOUR
    for n in range(3):
        with store.reading() as conn:
            assert len(bookings.bookings(conn, until, standing=True)) == n
            assert len(orders.orders(conn, until)) == n
        with writing(store, "seed", by="AB", at=START, now=START) as book:
            before = len(bookings.bookings(book.conn, until, standing=True))
            _booked(book, random.Random(n), [], [])
            orders.ordered(book, "Harbour Supplies", until)
            # Whoever writes sees what it has written itself.
            assert len(bookings.bookings(book.conn, until, standing=True)) == before + 1
